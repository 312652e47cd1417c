"""Probability that an outdoor sensor reads too high day and night.

Two facts tell together. A house needs no heat from some kelvin below its rooms on, by its free heat; and the
controls, which have a sensor of their own, make water for the true air. A sensor that reads too warm moves
both by the same amount; a house with little free heat moves the one alone, a curve set high the other.
"""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.expectation.hypotheses import Spread, log_odds, probability_of

# Base temperatures lie 2 to 5 K below the rooms (CIBSE TM41): half of that width over the root of three,
# rounded up.
_FREE_SD = 1.0
# Curves are set at hand-over and by hand later to within this, as kelvin outdoors (common practice: 1 to 2 K
# of flow).
_CURVE_SD = 1.5
OFF_SHARE, OFF_BY = 0.05, Spread(3.0, 1.5)
"""Share of sensors that hang in the wrong place or are of the wrong type, and by how much they are off [K]
(common practice)."""


def offset_chance(free: Spread, shift: Spread, usual_free_k: float) -> float:
    """Probability that the sensor reads too high [0 to 1].

    free : rooms above the reading at which no heat is needed [K]. shift : flow above the designed curve, as
        kelvin outdoors [K]; both with their standard uncertainty. usual_free_k : float [K]
    Source: Bayes' rule; under the offset both facts share it, so that they are correlated.
    """
    observed = np.array([usual_free_k - free.mean, shift.mean])
    own = np.diag([free.sd**2 + _FREE_SD**2, shift.sd**2 + _CURVE_SD**2])
    odds = log_odds(OFF_SHARE)
    odds += _log_density(observed - OFF_BY.mean, own + OFF_BY.sd**2) - _log_density(observed, own)
    return probability_of(odds)


def _log_density(off: np.ndarray, covariance: np.ndarray) -> float:
    """Logarithm of a normal density about zero, up to a constant."""
    _, log_volume = np.linalg.slogdet(covariance)
    return float(-0.5 * (off @ np.linalg.solve(covariance, off) + log_volume))
