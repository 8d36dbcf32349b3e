"""A run, its recipe and the log book's knowledge put together for a command that wants the verdict."""
