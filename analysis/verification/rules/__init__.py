"""The rules of placing, edges, levels and odd readings, asked of whole traces and reading by reading: no numpy."""
