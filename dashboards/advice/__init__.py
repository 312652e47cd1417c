"""Texts of advice, for pages and the command line."""
