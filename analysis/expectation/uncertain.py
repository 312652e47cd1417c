"""Values with uncertainty, and the probability that a measured one exceeds an expected one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import exp, hypot, log, sqrt

from fieldfare.analysis.statistics.distributions import GAUSS_95


@dataclass(frozen=True)
class Lognormal:
    """A positive figure with its uncertainty. middle : median. spread : standard deviation of its logarithm
    [-]"""

    middle: float
    spread: float

    @property
    def low(self) -> float:
        """Lower end of the 95 % interval."""
        return self.middle * exp(-GAUSS_95 * self.spread)

    @property
    def high(self) -> float:
        """Upper end of the 95 % interval."""
        return self.middle * exp(GAUSS_95 * self.spread)

    def over(self, other: Lognormal) -> Lognormal:
        """This figure divided by an independent one."""
        return Lognormal(self.middle / other.middle, hypot(self.spread, other.spread))

    def score(self, measured: float) -> float:
        """Deviation of a measured figure above this expectation, in standard deviations [-]."""
        return log(max(measured, 1e-12) / self.middle) / max(self.spread, 1e-6)


def joint_score(scores: Iterable[float], correlation: float = 0.0) -> float:
    """Combine several scores of the same deviation (Stouffer's method).

    scores : float, standard deviations above the expectation. correlation : of each with each other [-]
    Returns float; nan without any score. Source: Stouffer et al. (1949); the variance of a sum of correlated
    figures.
    """
    given = list(scores)
    n = len(given)
    return sum(given) / sqrt(n + n * (n - 1) * correlation) if n else float("nan")
