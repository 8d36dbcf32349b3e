"""Gather: which sensor, or the packet estimate, tells of which piece in every hold, and the hold on each of them."""
