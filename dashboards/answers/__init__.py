"""Texts of answers, for the desk and for the household, from the codes of `fieldfare.analysis.answers`."""
