"""What decides when a unit defrosts: the coat of frost, or its own lock."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_FEWEST = 20
_SHORTEST_MIN, _LEAST_FROST = 5.0, 1.0
# Stops, charges of the cylinder and readings a minute apart move a defrost by some minutes.
_LOCK_MIN = 4.0
_LOCK_QUANTILE = 0.1


class Pattern(NamedTuple):
    """locked : share of the drier half of the defrosts that come as soon as the lock ends [-]. follows :
    slope of log spacing over log frost rate [-]. lock : shortest usual spacing [min]"""

    locked: float
    follows: float
    lock: float


def pattern(spacing: Floats, frost: Floats) -> Pattern | None:
    """How the spacing of defrosts goes with the frost.

    spacing : float64 (n,) [min of running since the last one]. frost : float64 (n,) [g/kW, expected since
        then]; nan left out
    Returns Pattern; None for fewer than 20 defrosts.
    """
    known = np.isfinite(spacing) & np.isfinite(frost) & (spacing > _SHORTEST_MIN)
    gap, laid = spacing[known], np.maximum(frost[known], _LEAST_FROST)
    if len(gap) < _FEWEST:
        return None
    rate = np.log(laid / gap)
    lock = float(np.quantile(gap, _LOCK_QUANTILE))
    dry = rate <= np.median(rate)
    low, high = np.quantile(rate, (0.05, 0.95))
    usual = (rate >= low) & (rate <= high)
    slope = float("nan")
    if float(np.ptp(rate[usual])) > 0.3:
        slope = float(np.polyfit(rate[usual], np.log(gap[usual]), 1)[0])
    return Pattern(float(np.mean(gap[dry] <= lock + _LOCK_MIN)), slope, lock)
