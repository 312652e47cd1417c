"""Figures: described once, drawn as vectors for paper and page, and as plotly figures for a closer look."""
