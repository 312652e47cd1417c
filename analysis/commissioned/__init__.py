"""Commissioning values compared with today's readings."""
