"""What the book has done for it: a process of its own that may load everything."""
