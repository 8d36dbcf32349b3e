"""Readings of a calibration: pairs, the stretches that are steady, the reference and its own error."""
