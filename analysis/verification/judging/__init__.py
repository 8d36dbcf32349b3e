"""Judge: each requirement of a hold, a ramp and the quench against what was measured, with the sensor's error."""
