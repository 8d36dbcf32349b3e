"""Packets in measured runs: what an instrumented run tells of one, and how one followed the furnace."""
