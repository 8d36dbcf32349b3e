"""Soak clock and packet step for the recording process; standard library only."""
