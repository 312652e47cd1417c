"""Confidence of a finding from the size and length of a departure."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.statistics.distributions import ONE_SIDED_95, t_probability

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


# How far plants, meters and rules of thumb behind a limit differ, and one day from the next (common
# practice).
_SPREAD, _DAY_SPREAD = 0.25, 0.5
# Consecutive days that count as one: weather and habits persist (a correlation of 0.6 from day to day).
_DAYS_ALIKE = 4.0
# A limit stands where 19 of 20 sound plants stay below it.
_LIMIT_SCORE = ONE_SIDED_95
_SUREST = 0.97


def confidence_of(over: float, days: float, share: float = 1.0, spread: float = _SPREAD) -> float:
    """Probability that a measured figure exceeds what is expected of a sound plant [0 to 1].

    The measured figure less the expected one, over the uncertainty of both, as logarithms: Student's
    distribution with the days that are independent of each other. A limit is taken to stand `_LIMIT_SCORE`
    spreads above the expected figure.

    over : value over its limit [-], above 0. days : on which it was seen. share : of the judged days on which
        it was so
    spread : standard uncertainty of the logarithm of the expected figure [-]
    Source: GUM (JCGM 100), annex G; serial correlation by the effective number of days.
    """
    independent = max(days * share, 1.0) / _DAYS_ALIKE
    scale = math.hypot(spread, _DAY_SPREAD / math.sqrt(independent))
    score = (math.log(max(over, 1e-6)) + _LIMIT_SCORE * spread) / scale
    return float(min(t_probability(score, 2.0 + independent), _SUREST))
