"""What runs in the terminal beside the furnace: recording, watching, marks by key, the soak clock."""
