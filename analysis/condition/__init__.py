"""The furnace's own health over many runs."""
