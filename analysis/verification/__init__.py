"""Verification of a run against its recipe: assignment, edges, soak, decisions, findings."""
