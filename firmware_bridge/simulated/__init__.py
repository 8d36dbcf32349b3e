"""A simulated furnace: physics, controller, instrument, served on a real link."""
