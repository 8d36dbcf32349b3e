"""Short pages of the guide, and their reader."""
