"""Expected starts and run length where the load is below the unit's minimum output.

The unit warms the water in circuit by its switching band and rests until the emitters have cooled it again:

    run = C band / (P - Q)      rest = C band / Q      starts an hour = Q (1 - Q / P) / (C band)

with C the heat capacity of water and metal in circuit, P the least output and Q the load. At half of the
least output the rate is greatest, and follows N = 4 Nmax x (1 - x) with x = Q / P, the cycling law of
thermostats (textbook).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldfare.analysis.expectation.uncertain import Lognormal

Floats = NDArray[np.float64]

KWH_PER_LITRE_K = 0.00116
# Water and metal in circuit a kilowatt of least output: makers ask for 5 to 10 l of free water a kilowatt
# rated, emitters and pipes hold as much again, and the least output is a third of the rated (common
# practice). With it a winter's starts are those of the field, `FIELD_STARTS`.
WATER_L_PER_KW = Lognormal(55.0, 0.45)
# Switching difference about the target, from start to stop (common practice: 4 to 10 K).
BAND_K = Lognormal(6.0, 0.3)


@dataclass(frozen=True)
class Cycle:
    """run, rest : float64 [min]; inf where the unit runs through or never has to. starts_per_hour : float64
    [1/h]"""

    run: Floats
    rest: Floats
    starts_per_hour: Floats


def cycle(load_share: ArrayLike, litres_per_kw: ArrayLike, band_k: ArrayLike) -> Cycle:
    """One cycle of a unit at its least output.

    load_share : float or array [-]. Load over least output; from 1 on the unit runs through
    litres_per_kw : float or array [l/kW]. Water, metal included, a kilowatt of least output
    band_k : float or array [K]. From start to stop
    Returns Cycle of the broadcast shape.
    """
    x = np.asarray(load_share, dtype=np.float64)
    stored_h = (
        np.asarray(litres_per_kw, dtype=np.float64) * KWH_PER_LITRE_K * np.asarray(band_k, dtype=np.float64)
    )
    x, stored_h = np.broadcast_arrays(x, stored_h)
    part = (x > 0.0) & (x < 1.0)
    safe = np.where(part, x, 0.5)
    run = np.where(part, stored_h / (1.0 - safe), np.where(x >= 1.0, np.inf, 0.0)) * 60.0
    rest = np.where(part, stored_h / safe, np.where(x >= 1.0, 0.0, np.inf)) * 60.0
    return Cycle(run, rest, np.where(part, safe * (1.0 - safe) / stored_h, 0.0))


def run_expected(load_share: float) -> Lognormal:
    """Length of a run at a load below minimum output, if water content and switching band are unknown [min].

    load_share : float [-], above 0 and below 1
    """
    middle = float(cycle(load_share, WATER_L_PER_KW.middle, BAND_K.middle).run)
    return Lognormal(middle, float(np.hypot(WATER_L_PER_KW.spread, BAND_K.spread)))


# Set-backs, charges of the cylinder and defrosts end runs that would go on (common practice: some a day).
INTERRUPTED_A_DAY = 4.0
# Sound sizing: least output at most so much of the design heat loss (common practice: inverters turn down to
# a third).
LEAST_OVER_LOSS = 0.4
_OTHERWISE = 0.25  # controls and habits not covered by the two figures above


def starts_due(load_kw: ArrayLike, least_kw: float) -> Lognormal:
    """Starts per day that a healthy plant needs at these loads, mean of the days [1/day].

    load_kw : float or array [kW], daily means of the heating; nan left out
    least_kw : float [kW], least output of the unit
    """
    load = np.asarray(load_kw, dtype=np.float64)
    known = load[np.isfinite(load)]
    spread = float(np.hypot(np.hypot(WATER_L_PER_KW.spread, BAND_K.spread), _OTHERWISE))
    if not len(known):
        rate = float(cycle(0.5, WATER_L_PER_KW.middle, BAND_K.middle).starts_per_hour)
    else:
        rate = float(np.mean(cycle(known / least_kw, WATER_L_PER_KW.middle, BAND_K.middle).starts_per_hour))
    return Lognormal(INTERRUPTED_A_DAY + 24.0 * rate, spread)


# Starts a day of 127 air-source units in the field, as winter means: Brudermueller et al. (2023), Applied
# Energy 350, 121734, by its open data (reference 9.3). Hot water included, readings of a quarter hour: lower
# bounds.
FIELD_STARTS = {0.10: 1.6, 0.25: 4.1, 0.50: 7.5, 0.75: 12.8, 0.90: 17.0, 0.95: 18.9}


def field_rank(starts_a_day: float) -> float:
    """Share of field air-source units with fewer winter starts [0 to 1], interpolated."""
    ranks, starts = list(FIELD_STARTS), list(FIELD_STARTS.values())
    return float(np.interp(starts_a_day, [0.0, *starts, 2.0 * starts[-1]], [0.0, *ranks, 1.0]))
