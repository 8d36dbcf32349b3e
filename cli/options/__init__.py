"""Options and entries that several commands share."""
