"""Diagnosis of a sensor: which fault its readings look like, and the cheap test that tells."""
