"""The audit of a bad batch: contrasts, causes, ranking."""
