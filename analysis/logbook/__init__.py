"""The log book database; the only room that opens SQLite."""
