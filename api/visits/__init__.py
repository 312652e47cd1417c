"""Visits: planned by area and drive, booked, and published to calendars."""
