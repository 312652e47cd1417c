"""A unit that runs without heating the house, where no heat meter shows it."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.model import Evidence, Finding
from fieldfare.analysis.findings.phrases import day_text
from fieldfare.analysis.findings.stopped.texts import barren_home, barren_step, caution

# Days that show how warm the rooms are and how long the unit runs; most of them were before the fall.
_FEWEST_BEFORE, _LOOKED_AT, _USUAL = 3, 21, 0.75
# Rooms vary by less from day to day.
_VARIES_K = 1.0
# It runs on as before: a unit whose rooms are set lower rests while they cool.
_AS_BEFORE = 0.7
_HOUR_MIN = 60.0


def cold_while_running(context: Context) -> Finding | None:
    """Finding where every room cooled far below its usual temperature while the unit ran; else None."""
    days = context.all_days.days
    rooms = {
        name: days.floats(name)
        for name in days.names
        if name.startswith("room_day.") and np.isfinite(days.floats(name)).any()
    }
    if not rooms or "room_temperature" in context.unreliable:
        return None
    warmest = np.fmax.reduce(list(rooms.values()))
    last = int(np.flatnonzero(np.isfinite(warmest))[-1])
    warmest = warmest[: last + 1]
    usual, now = float(np.nanquantile(warmest[-_LOOKED_AT:], _USUAL)), float(warmest[last])
    warm = np.flatnonzero(warmest >= usual - _VARIES_K)
    first = int(warm[-1]) + 1
    if last < len(days) - 2 or first > last or len(warm) < _FEWEST_BEFORE:
        return None
    before = slice(max(last + 1 - _LOOKED_AT, 0), first)
    cold = now < context.limit("stopped_harm_room_c") and usual - now >= context.limit("stopped_collapse_k")
    fall = np.zeros(len(days), dtype=bool)
    fall[first : last + 1] = True
    if not cold or _is_lower_target(days, fall, before) or not _runs_on(context, days, fall, before):
        return None
    return _finding(context, days, first, last, usual, now)


def _is_lower_target(days: Table, fall: Flags, before: slice) -> bool:
    """The rooms are set lower than before, as in an absence."""
    target = days.floats("target")
    known = np.isfinite(target)
    if not known[fall].any():
        return False
    usual = target[before][known[before]]
    level = float(np.median(usual)) if len(usual) else 20.0
    return bool(np.nanmean(target[fall]) <= level - 2.0)


def _runs_on(context: Context, days: Table, fall: Flags, before: slice) -> bool:
    """It ran as long as before on every day of the fall, and no heat meter shows its heat."""
    ran = days.floats("minutes_running")
    usual = ran[before][np.isfinite(ran[before])]
    least = max(4.0 * _HOUR_MIN, _AS_BEFORE * float(np.median(usual)) if len(usual) else np.inf)
    heat, drawn = (days.floats(f"{n}_kwh")[fall] for n in ("heat_total", "electricity_heat_pump"))
    gives = np.isfinite(heat).any() and "heat_output" not in context.unreliable
    gives = gives and float(np.nansum(heat)) >= float(np.nansum(drawn))
    return bool((ran[fall] >= least).all() and not gives)


def _finding(context: Context, days: Table, first: int, last: int, usual: float, now: float) -> Finding:
    outdoor = days.floats("outdoor")[first : last + 1]
    shown = [
        context.evidence("warmest room", round(now, 1), "°C", "stopped_harm_room_c"),
        context.evidence("fall of the warmest room", round(usual - now, 1), "K", "stopped_collapse_k"),
        Evidence(
            "running meanwhile", round(float(days.floats("minutes_running")[last]) / _HOUR_MIN, 1), "h/day"
        ),
    ]
    if np.isfinite(outdoor).any():
        shown.append(Evidence("mean outdoor temperature", round(float(np.nanmean(outdoor)), 1), "°C"))
    return Finding(
        "unit_stopped",
        "urgent",
        days.day(first).isoformat(),
        0.9 if last > first else 0.8,
        (
            f"The heat pump runs as before and the house goes cold: {now:.0f} °C instead of {usual:.0f} °C"
            f" since {day_text(days.day(first))}. It seems to give no heat."
        ),
        evidence=tuple(shown),
        next_step=barren_step(),
        caution=caution(context, "unit"),
        home=barren_home(f"since {day_text(days.day(first))}"),
        visit="drive",
        bring=("multimeter", "the maker's fault list"),
    )
