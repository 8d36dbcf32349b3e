"""Commands, words, charts, run sheets and the live page."""
