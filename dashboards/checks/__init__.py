"""Texts of check sheets: results from data, and items by hand and eye."""
