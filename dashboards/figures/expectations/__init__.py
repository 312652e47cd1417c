"""Measured against expected with band: a figure for each model of `fieldfare.analysis.expectation`."""
