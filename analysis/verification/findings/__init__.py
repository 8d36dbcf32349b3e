"""Findings of one run: each module looks for its own few codes."""
