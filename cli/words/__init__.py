"""Findings and results put into sentences."""
