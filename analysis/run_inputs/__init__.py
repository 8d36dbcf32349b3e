"""What is known of one run: gathered in one place for everyone who judges it or watches it."""
