"""Uncertainty: its budget, and the rule that decides with it."""
