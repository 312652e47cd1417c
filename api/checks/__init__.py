"""Manual checks: lists of items, entries and photos."""
