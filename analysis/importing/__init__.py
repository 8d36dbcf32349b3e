"""Foreign logs: finding out how a file is written, reading it in pieces, making a run folder of it."""
