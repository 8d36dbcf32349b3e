"""Measure one hold on one trace: time in the band, overshoot, what was too hot, dips."""
