"""What the plant does otherwise than it did, at like weather, whatever the reason.

Rules know kinds of trouble; a plant finds others. While nobody has asked why it works otherwise than before,
its home can't be called in order.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.figures.change import find_change
from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.model import CHANGED_HABIT, Recognised
from fieldfare.analysis.findings.phrases import day_text
from fieldfare.analysis.statistics.quantiles import nan_median, robust_sd


@dataclass(frozen=True)
class _Habit:
    """of : its value by day. words : what it is. least : name of the limit of a change that matters"""

    of: Callable[[Table], Floats]
    words: str
    unit: str
    least: str


def _hours(minutes: str, known: str | None = None) -> Callable[[Table], Floats]:
    def of(days: Table) -> Floats:
        if known is None:
            return days.floats(minutes) / 60.0
        seen = days.floats(known)
        part = np.divide(days.floats(minutes), seen, out=np.full(len(days), np.nan), where=seen >= 60.0)
        return part * days.floats("minutes_rest") / 60.0

    return of


def _greatest_kw(days: Table) -> Floats:
    return days.floats("heat_power_max") / 1000.0


def _dip(days: Table) -> Floats:
    return days.floats("room") - days.floats("room_min")


HABITS: tuple[_Habit, ...] = (
    _Habit(
        _hours("minutes_pump_idle", "minutes_pump_known"),
        "water flows while the unit rests, hours a day",
        "h",
        "habit_hours",
    ),
    _Habit(_hours("minutes_running"), "the unit runs, hours a day", "h", "habit_hours"),
    _Habit(_greatest_kw, "the greatest heat of a day", "kW", "habit_kw"),
    _Habit(_dip, "the rooms' dip below their mean of the day", "K", "habit_room_k"),
)


def changed_habits(context: Context) -> tuple[Recognised, ...]:
    """Steps in how the plant works at like weather, each from its first day to the last."""
    days, limit = context.days, context.limit
    air = days.floats("outdoor")
    heats = fill_nan(days.floats("minutes_heating"), 0.0) >= limit("heated_day_minutes")
    cold = heats & (fill_nan(air, 99.0) <= limit("habit_air_c"))
    found = []
    for habit in HABITS:
        value = habit.of(days)
        rows = np.flatnonzero(cold & np.isfinite(value))
        if len(rows) < limit("habit_days"):
            continue
        like = np.column_stack([air[rows], air[rows] ** 2])
        number = days["day"][rows].astype("datetime64[D]").astype(np.int64)
        step = find_change(value[rows], like, np.ones(len(rows)), number, slides=False)
        if step is None or step.score < limit("habit_score"):
            continue
        scatter = _scatter(value[rows], like, step.at)
        if abs(step.size) < max(limit(habit.least), limit("habit_scatter") * scatter):
            continue
        since = days.day(int(rows[step.at])).isoformat()
        before, after = nan_median(value[rows[: step.at]]), nan_median(value[rows[step.at :]])
        found.append(
            Recognised(
                CHANGED_HABIT,
                since,
                days.day(len(days) - 1).isoformat(),
                f"Since {day_text(since)} something is not as before at like weather: {habit.words} went from"
                f" {before:.1f} to {after:.1f} {habit.unit}. Ask what was changed.",
            )
        )
    return tuple(found)


def _scatter(value: Floats, like: Floats, at: int) -> float:
    """Standard deviation of single days about weather and step, robust."""
    late = (np.arange(len(value)) >= at).astype(np.float64)
    terms = np.column_stack([np.ones(len(value)), like, late])
    return robust_sd(value - terms @ np.linalg.lstsq(terms, value, rcond=None)[0])
