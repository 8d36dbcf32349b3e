"""Runs judged and measured for the log book, one by one or all anew, and what changed by it."""
