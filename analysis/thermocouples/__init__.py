"""Thermocouples: reference functions, and the tolerance of new wire."""
