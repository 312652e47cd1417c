"""A simulated plant: readings with known truth, for the demo and for tests."""
