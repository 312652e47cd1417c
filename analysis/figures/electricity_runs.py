"""Starts (lower bound) and direct electric heat from power levels of one electricity meter."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.cycling import field_rank
from fieldfare.analysis.facts.slots import LEVEL_W, LEVELS
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.figures.electricity_days import filled_with_zeros
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95, inflation

Floats = NDArray[np.float64]

PUBLISHED_MIN = 15.0
"""Interval of the published counts [min]."""
FEWEST_WINTER_DAYS = 60
"""Days of November to March that the published distribution asks for (reference 9.3)."""
FEWEST_DAYS = 14
_WINTER = (11, 12, 1, 2, 3)
_ALL_SHARE = 0.95
# Flow and immersion heaters on the market have steps of 2 to 9 kW (common practice).
LEAST_STEP_W, MOST_STEP_W = 1500.0, 9500.0
# Two modes of power are two loads if fewer than half as many intervals lie between them as in the smaller
# one.
_VALLEY, _FEWEST_MIN, _LEAST_SHARE = 0.5, 120, 0.01
_RUNNING_W = 500.0
# A compressor's own power differs by so much from its usual one at full load (common practice: 20 to 25 %
# over weather).
_COMPRESSOR_SPREAD = 1.25


@dataclass(frozen=True)
class FewStarts:
    """Lower bound of starts: at most one per interval, and shorter rests are missed.

    per_day, winter_per_day : starts a day over all whole days, and of November to March; `high` is None, as
        more can't be excluded. rank : share of the field's air-source units with fewer winter starts; None
        unless intervals are quarter hours
    """

    per_day: Estimate
    winter_per_day: Estimate
    interval_min: float | None = None
    winter_days: int = 0
    rank: float | None = None
    reason: str = ""


@dataclass(frozen=True)
class DirectHeat:
    """Direct electric heat, detected as a step of the heater's rating in the power.

    share : of the electricity [-], with its interval. step_kw : detected rating of the heater; None without a
        step
    """

    share: Estimate
    step_kw: float | None = None
    compressor_kw: float | None = None
    reason: str = ""


def few_starts(days: Table) -> FewStarts:
    """Starts by the published rule: above 0.1 kWh in a quarter hour, after an interval that was not."""
    slot = days.floats("slot_minutes")
    if not np.isfinite(slot).any():
        why = "needs the unit's electricity every hour or closer"
        return FewStarts(Estimate.none(why), Estimate.none(why), reason=why)
    length = float(np.nanmedian(slot))
    whole = fill_nan(days.floats("slots_known"), 0.0) * length >= _ALL_SHARE * days.floats("minutes_total")
    whole &= ~filled_with_zeros(days)
    starts = days.floats("slot_starts")
    month = days["day"].astype("datetime64[M]").astype(int) % 12 + 1
    winter = whole & np.isin(month, _WINTER)
    if whole.sum() < FEWEST_DAYS:
        why = f"needs {FEWEST_DAYS} whole days of electricity, has {int(whole.sum())}"
        return FewStarts(Estimate.none(why), Estimate.none(why), length, reason=why)
    cold = (
        _at_least(starts[winter])
        if winter.sum() >= FEWEST_DAYS
        else Estimate.none(f"needs {FEWEST_DAYS} days of November to March, has {int(winter.sum())}")
    )
    ranked = cold.value is not None and length == PUBLISHED_MIN and winter.sum() >= FEWEST_WINTER_DAYS
    rank = field_rank(cold.value) if ranked and cold.value is not None else None
    return FewStarts(_at_least(starts[whole]), cold, length, int(winter.sum()), rank)


def _at_least(starts: Floats) -> Estimate:
    """Mean of days with the low end of its interval, allowing for autocorrelation."""
    mean, n = float(starts.mean()), len(starts)
    off = starts - mean
    around = float(off @ off)
    rho = float(np.clip(off[1:] @ off[:-1] / around, 0.0, 0.9)) if around > 0.0 else 0.0
    error = float(starts.std(ddof=1)) / sqrt(n / inflation(rho)) if n > 1 else mean
    return Estimate(mean, max(mean - GAUSS_95 * error, 0.0), None)


def direct_heat(site: Site, days: Table) -> DirectHeat:
    """Share of direct electric heat, from a second mode of power one heater rating above the compressor's.

    A heater that runs alone, within the compressor's power range, can't be distinguished from it.
    """
    if not np.isfinite(days.floats("slot_minutes")).any():
        return _no_share("needs electricity every hour or closer")
    minutes = np.array(
        [days.total(f"level.{n:02d}") if f"level.{n:02d}" in days else 0.0 for n in range(LEVELS)]
    )
    watts: Floats = (np.arange(LEVELS, dtype=np.float64) + 0.5) * LEVEL_W
    running = watts > _RUNNING_W
    total = float(np.sum(minutes * watts))
    if total <= 0.0 or minutes[running].sum() < _FEWEST_MIN:
        return _no_share("the unit hardly ran")
    main, full = _compressor_level(site, minutes, running), _full_power(site)
    over = np.clip(watts - watts[main], 0.0, None) * minutes / total
    found = _second_heap(minutes, watts, main)
    # A unit that modulates has two modes of its own: little in mild weather, all of it for the cylinder.
    if found is None or watts[found[1]] <= _COMPRESSOR_SPREAD * full:
        # Energy beyond the compressor's spread, and at least what bursts shorter than an interval may
        # hide.
        compressor = max(float(watts[main]), full)
        beyond = float(over[watts > _COMPRESSOR_SPREAD * compressor].sum())
        return DirectHeat(Estimate(0.0, 0.0, max(beyond, _LEAST_SHARE)), None, compressor / 1000.0)
    valley, top = found
    share, sure = float(over[valley:].sum()), float(over[top:].sum())
    step = float(watts[top] - watts[main]) / 1000.0
    return DirectHeat(Estimate(share, sure, max(float(over.sum()), share)), step, float(watts[main]) / 1000.0)


def _no_share(reason: str) -> DirectHeat:
    return DirectHeat(Estimate.none(reason), reason=reason)


def _full_power(site: Site) -> float:
    """Greatest power of the rating points [W]; 0 without any."""
    powers = [1000.0 * p.output_kw / p.cop for p in site.heat_pump.rating if p.output_kw and p.cop]
    return max(powers, default=0.0)


def _compressor_level(site: Site, minutes: Floats, running: NDArray[np.bool_]) -> int:
    """Most frequent power level of the compressor within its rating."""
    full = _full_power(site)
    most = int(_COMPRESSOR_SPREAD * full // LEVEL_W) + 1 if full > 0.0 else LEVELS
    allowed = np.where(running & (np.arange(LEVELS) < most), minutes, -1.0)
    return int(np.argmax(_smooth(allowed)))


def _second_heap(minutes: Floats, watts: Floats, main: int) -> tuple[int, int] | None:
    """Lowest level between the two modes, and the peak of the upper one; None without an upper mode."""
    smooth = _smooth(minutes)
    reach = np.flatnonzero((watts - watts[main] >= LEAST_STEP_W) & (watts - watts[main] <= MOST_STEP_W))
    if not len(reach):
        return None
    top = int(reach[np.argmax(smooth[reach])])
    between = np.arange(main + 1, top)
    if not len(between) or smooth[top] * 3.0 < _FEWEST_MIN:
        return None
    valley = int(between[np.argmin(smooth[between])])
    if smooth[valley] > _VALLEY * smooth[top]:
        return None
    return valley, top


def _smooth(minutes: Floats) -> Floats:
    """Mean of each level and its neighbours."""
    framed = np.concatenate((minutes[:1], minutes, minutes[-1:]))
    return np.asarray((framed[:-2] + framed[1:-1] + framed[2:]) / 3.0)
