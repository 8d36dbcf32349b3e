"""The survey of a furnace: how evenly warm its work zone is."""
