"""Run sheets as HTML and PDF."""
