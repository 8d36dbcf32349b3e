"""Photographs as they are kept: made small, and nothing in them but what is seen."""
