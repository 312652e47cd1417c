"""What triggers defrosts: the coat of frost, or the unit's minimum interval."""

from __future__ import annotations

from math import hypot, log, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.defrost import COAT_G_PER_KW
from fieldfare.analysis.expectation.frost import UNITS_SPREAD
from fieldfare.analysis.expectation.hypotheses import Spread
from fieldfare.analysis.expectation.uncertain import Lognormal
from fieldfare.analysis.statistics.distributions import GAUSS_95, normal_quantile

Floats = NDArray[np.float64]

_FEWEST = 20
_SHORTEST_MIN, _LEAST_FROST = 5.0, 1.0
# Stops, charges of the cylinder and readings a minute apart move a defrost by some minutes.
_LOCK_MIN = 4.0
_LOCK_QUANTILE = 0.1
# Standard error of the logarithm of a defrost's frost rate beside the next one's: humidity measured at a
# wall, the coil's temperature guessed from the output (common practice: a fifth to a third). It flattens a
# slope over that rate (regression dilution, Fuller 1987).
_RATE_ERROR = 0.25


class Pattern(NamedTuple):
    """locked : share of the defrosts that come as soon as the lock ends [-], in damp air and in dry: a coil
    with little air waits for frost in dry air as a sound one does. due : the same as coats of frost alone
    make it, with what coat, coil and air leave open. follows : slope of log spacing
    over log frost rate [-]. lock : shortest usual spacing [min]. clear : share of the frost rate's variation
    that is real and no error of its estimate [0 to 1]: a slope comes out less steep by it"""

    locked: float
    due: Spread
    follows: float
    lock: float
    clear: float


def pattern(spacing: Floats, frost: Floats, doubt: float) -> Pattern | None:
    """Dependence of the spacing of defrosts on frost.

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
    low, high = np.quantile(rate, (0.05, 0.95))
    usual = (rate >= low) & (rate <= high)
    slope, varies = float("nan"), float(np.var(rate[usual]))
    if float(np.ptp(rate[usual])) > 0.3:
        slope = float(np.polyfit(rate[usual], np.log(gap[usual]), 1)[0])
    locked = float(np.mean(gap <= lock + _LOCK_MIN))
    clear = max(1.0 - _RATE_ERROR**2 / max(varies, 1e-9), 0.0)
    return Pattern(locked, _locked_due(rate + log(lock), doubt), slope, lock, clear)


_GUESSES = np.array([normal_quantile((i + 0.5) / 40.0) for i in range(40)])
"""Forty equally probable values of a standard normal variable."""


def _locked_due(laid: Floats, doubt: float) -> Spread:
    """Share of defrosts whose coat is there when the lock ends.

    laid : float64 (n,), logarithm of the frost of one lock's length [g/kW]. doubt : as `pattern` has it
    One unit has one coil, coat and place, so that all its defrosts err together.
    """
    doubt = hypot(doubt, COAT_G_PER_KW.spread)
    share = np.mean(laid[:, None] + doubt * _GUESSES >= log(COAT_G_PER_KW.middle), axis=0)
    return Spread(float(share.mean()), float(share.std()))


_DRIER = 0.25


def coat_when_dry(usual: Floats, most: Floats) -> Lognormal | None:
    """Frost laid before the drier quarter of the defrosts, over a whole coat.

    A sound unit waits for its coat, so that little frost only makes it wait longer.

    usual, most : float64 (n,) [g/kW]. Frost since the last defrost as expected, and the most there can be
    Returns Lognormal [-] with what coat, coil and air leave open; None for fewer than 20 defrosts.
    Source: GUM (JCGM 100), the guess `most` as in `fieldfare.analysis.expectation.frost.frost_mass`.
    """
    known = np.isfinite(usual) & np.isfinite(most)
    if known.sum() < _FEWEST:
        return None
    middle, high = (max(float(np.quantile(frost[known], _DRIER)), _LEAST_FROST) for frost in (usual, most))
    air = log(max(high, middle) / middle) / GAUSS_95 / sqrt(3.0)
    return Lognormal(middle, hypot(air, UNITS_SPREAD)).over(COAT_G_PER_KW)
