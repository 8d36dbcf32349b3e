"""The live page."""
