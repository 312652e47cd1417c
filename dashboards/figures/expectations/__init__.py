"""Measured beside expected with its band: a figure for each model of `fieldfare.analysis.expectation`."""
