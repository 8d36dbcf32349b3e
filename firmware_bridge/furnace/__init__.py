"""Furnace files: what a person writes about instrument, sensors, signals, contacts, limits and alarms."""
