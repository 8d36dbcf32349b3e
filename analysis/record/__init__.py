"""A run in memory: its readings as traces in degC, their rates, the moments in it."""
