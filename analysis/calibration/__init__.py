"""Calibration against a reference: stable stretches, budget, correction, survey, accuracy test, diagnosis."""
