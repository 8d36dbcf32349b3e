"""The process that works for the book: verdicts, thumbnails, entries by the commands themselves."""
