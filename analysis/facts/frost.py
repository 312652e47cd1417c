"""Frost growth on the outdoor coil by minute, from air humidity and heat extraction."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.frost import (
    FROM_AIR,
    LEAST,
    MOST,
    USUAL,
    Coil,
    frost_rate,
)
from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.operating_state import DEFROST
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]

USUAL_RATED_KW = 6.0
"""Of a unit whose site file gives no rated output (common practice: a house of 150 m2)."""
_UNKNOWN_LOAD = 2.0 / 3.0
_LOAD_RANGE = 0.2, 1.25
GUESSES: dict[str, Coil] = {"least": LEAST, "usual": USUAL, "most": MOST}


def frost_growth(site: Site, minutes: Minutes) -> dict[str, Floats]:
    """Frost that settles on the coil in each minute: low, usual and high estimate.

    Returns a float64 (n,) [kg] for each of GUESSES; 0 where none can settle, nan where unknown.
    """
    grid, use = minutes.grid, minutes.use
    outdoor = grid.gauge("outdoor_temperature")
    working = use.running & (use.code != DEFROST)
    known = np.flatnonzero(working & np.isfinite(outdoor))
    rated = site.heat_pump.rated_output_kw or USUAL_RATED_KW
    load, is_measured = coil_load(minutes, rated * 1000.0 * FROM_AIR)
    humidity = grid.gauge("outdoor_humidity")[known]
    out = {}
    for name, coil in GUESSES.items():
        frost = np.full(len(grid), np.nan)
        frost[np.isfinite(outdoor) & ~working] = 0.0
        # Without measurements, assume up to full load.
        drawn = np.where(is_measured, load, 1.0)[known] if name == "most" else load[known]
        rate = frost_rate(outdoor[known], humidity, drawn, coil)
        frost[known] = fill_nan(rate, 0.0) * rated / 60.0 / 1000.0
        out[name] = frost
    return out


def coil_load(minutes: Minutes, duty_w: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Heat extracted from the air over the rated duty [-], and where it is measured.

    duty_w : float [W]. Heat out of the air at the rated output
    """
    unit = minutes.balance.heat_pump
    if unit is None or not np.isfinite(minutes.heat).any():
        nothing = np.zeros(len(minutes.grid), dtype=np.bool_)
        return np.full(len(nothing), _UNKNOWN_LOAD), nothing
    share = (minutes.heat - unit) * 60.0 / duty_w
    known = np.isfinite(share)
    return np.where(known, np.clip(share, *_LOAD_RANGE), _UNKNOWN_LOAD), known
