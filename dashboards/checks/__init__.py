"""Texts of check sheets: results from data, and manual items."""
