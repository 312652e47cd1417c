"""The tuning diary of a heating season: one setting at a time, each judged by the week after it."""
