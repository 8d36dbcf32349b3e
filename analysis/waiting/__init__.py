"""What waits for a person: one sentence each, and the command that settles it."""
