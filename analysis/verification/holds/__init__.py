"""Place: which stretch of a trace is which hold of the recipe, and where it begins and ends."""
