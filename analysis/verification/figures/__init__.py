"""Measure: what each piece got in every hold by each of its sensors, the ramps, and the cooling in the quench."""
