"""Metallurgy: published heat treatments, hardness readings, and figures that put two treatments side by side."""
