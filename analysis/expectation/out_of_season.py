"""Heating hours of a healthy plant on days too warm to need heat."""

from __future__ import annotations

from fieldfare.analysis.expectation.excess import Expected

UNNEEDED_HOURS = Expected(0.25, 0.35)
"""Hours a day: valves are exercised, a charge of the cylinder ends in the heating circuit, a cool morning
calls (common
practice: a quarter of an hour, seldom an hour)."""
