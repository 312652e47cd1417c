"""The firm and its people: what they set for themselves."""
