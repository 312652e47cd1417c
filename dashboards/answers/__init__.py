"""Texts of answers for the office and the household, from the codes of `fieldfare.analysis.answers`."""
