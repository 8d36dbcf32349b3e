"""From a furnace file to an open link."""
