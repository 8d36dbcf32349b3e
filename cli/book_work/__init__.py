"""The process that works for the book: verdicts, sheets, estimates, entries by the commands themselves."""
