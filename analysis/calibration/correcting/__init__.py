"""The correction of a sensor: from reference differences to a curve with its uncertainty, and how exact that is."""
