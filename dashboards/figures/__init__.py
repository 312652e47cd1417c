"""Figures: described once, drawn as SVG for papers and pages, and as plotly figures for zooming."""
