"""What to set, and what it would do to the rooms and the bill."""
