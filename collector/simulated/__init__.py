"""Simulated heat pump systems: readings with known truth, for the demo and for tests."""
