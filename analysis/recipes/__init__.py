"""Recipes: reading, checking, expanding, and the program typed into the controller."""
