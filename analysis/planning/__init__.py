"""Before the run: what to type, how long, when to load and when to take out."""
