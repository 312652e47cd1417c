"""Checks by hand and eye: lists of items, what was entered, and photos."""
