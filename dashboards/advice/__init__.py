"""Advice in words, for pages and the command line."""
