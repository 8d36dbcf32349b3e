"""Marks: which charges they tell of, and what they leave to be asked."""
