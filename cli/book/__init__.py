"""The book: one web server for one log book, in a process of its own."""
