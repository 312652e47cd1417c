"""Measured minus expected, and the probability that the excess is real."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from fieldfare.analysis.statistics.distributions import normal_probability


@dataclass(frozen=True)
class Expected:
    """An expectation and its standard uncertainty (GUM, k = 1), in one unit."""

    value: float
    uncertainty: float


@dataclass(frozen=True)
class Excess:
    """Measured minus expected, with the standard uncertainty of the difference."""

    value: float
    uncertainty: float

    @property
    def probability(self) -> float:
        """Probability that the true excess is above zero [0 to 1], the difference normally distributed."""
        return normal_probability(self.value / self.uncertainty)

    def probability_above(self, least: float) -> float:
        """Probability that the true excess is above a size that matters [0 to 1]."""
        return Excess(self.value - least, self.uncertainty).probability


def excess(measured: float, measured_uncertainty: float, expected: Expected) -> Excess:
    """Measured minus expected.

    measured, measured_uncertainty : in the unit of `expected`
    Returns Excess. Raises ValueError where neither side has an uncertainty.
    Source: GUM (JCGM 100:2008) 5.1.2, independent contributions.
    """
    spread = hypot(measured_uncertainty, expected.uncertainty)
    if not spread > 0.0:
        raise ValueError("measured and expected are both without uncertainty")
    return Excess(measured - expected.value, spread)
