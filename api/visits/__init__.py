"""Visits: planned by area and drive, booked, and told to calendars."""
