"""What a recording process tells the book, and how it finds it; standard library only."""
