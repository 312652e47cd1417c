"""A heat pump of a cascade that is off while the others run nearly all the time."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import MAINS
from fieldfare.analysis.facts.minutes import rated
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.model import Evidence, Finding

_KNOWN = 0.9  # of a day's minutes (common practice)
_AT_PART = 0.6  # that one that runs all day has no reserve, where its heat is not known (common practice)
_USUAL_FLOW_C = 40.0  # where it is not read; output hardly depends on it (common practice)
_NO_DRAW_W = 2.5  # less than any unit's controls draw (common practice)


def one_of_several(context: Context) -> Finding | None:
    """A unit of a cascade that did not run on the newest days, on each of which another hardly rested.

    A cascade's control leaves units at rest in mild weather: only beside one that can't do more alone is a
    unit at rest missed. One that runs all day at a part of its output can do more.
    """
    days, count = context.all_days.days, context.site.heat_pump.units
    if count < 2 or not len(days):
        return None
    share = {n: _running(days, n) for n in range(1, count + 1)}
    known = {n: s for n, s in share.items() if np.isfinite(s).any()}
    busy = {
        n: (s >= context.limit("cascade_busy_share"))
        & ~(_given(context, n) < context.limit("cascade_full_share"))
        for n, s in known.items()
    }
    for number, mine in known.items():
        others = [n for n in known if n != number]
        if not others:
            return None
        missed = (mine == 0.0) & np.logical_or.reduce([busy[n] for n in others])
        length = len(missed) - 1 - int(np.flatnonzero(~missed)[-1]) if (~missed).any() else len(missed)
        if length >= context.limit("cascade_rest_days"):
            hardest = np.fmax.reduce([known[n][-length:] for n in others])
            full = np.fmax.reduce([_given(context, n)[-length:] for n in others])
            return _finding(context, number, length, float(hardest.mean()), float(np.mean(full)))
    return None


def _given(context: Context, number: int) -> np.ndarray:
    """What a unit gave while it ran over its part of the rating at the day's temperatures; nan where its heat
    or the rating is not known."""
    days, count = context.all_days.days, context.site.heat_pump.units
    names = (f"unit_heat_kwh.{number}", f"minutes_unit_paired.{number}", "outdoor")
    if any(name not in days for name in names):
        return np.full(len(days), np.nan)
    heat, minutes, outdoor = (days.floats(name) for name in names)
    flow = fill_nan(days.floats("flow") if "flow" in days else np.full(len(days), np.nan), _USUAL_FLOW_C)
    hours = minutes / 60.0 * _running(days, number)
    most = np.asarray(rated(context.site).capacity_kw(outdoor, flow), dtype=np.float64) / count
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(heat / hours / most)


def _running(days: Table, number: int) -> np.ndarray:
    """Share of each day that a unit ran; nan where too little of the day is known."""
    name = f"minutes_unit_running.{number}"
    if name not in days:
        return np.full(len(days), np.nan)
    known = days.floats(f"minutes_unit_known.{number}")
    enough = known >= _KNOWN * days.floats("minutes_total")
    return np.divide(days.floats(name), known, out=np.full(len(days), np.nan), where=enough & (known > 0))


def _finding(context: Context, number: int, length: int, busy: float, full: float) -> Finding:
    days = context.all_days.days
    newest = days.where(slice(-length, None))
    used = newest.floats(f"unit_used_kwh.{number}")
    watts = float(np.nanmean(used)) * 1000.0 / 24.0 if np.isfinite(used).any() else float("nan")
    none = watts < _NO_DRAW_W
    drawn = "it draws nothing" if none else f"it draws {watts:.0f} W" if np.isfinite(watts) else ""
    weights = (0.9, 0.05, 0.05) if none else (0.05, 0.6, 0.35)
    shown = np.isfinite(full) or none
    return Finding(
        "unit_stopped",
        "act" if shown else "watch",
        newest.day(0).isoformat(),
        0.9 if shown else _AT_PART,
        f"Heat pump {number} has not run for {length} days, while the other ran {busy:.0%} of the time.",
        evidence=(
            context.evidence("running of the other heat pump", round(busy, 2), "-", "cascade_busy_share"),
            context.evidence(
                "its output over its part of the rating",
                None if np.isnan(full) else round(full, 2),
                "-",
                "cascade_full_share",
            ),
            context.evidence("days without a run", float(length), "days", "cascade_rest_days"),
            Evidence(f"electricity of heat pump {number}", None if np.isnan(watts) else round(watts, 1), "W"),
        ),
        causes=ranked(
            dict(zip(("no_power", "locked_out", "switched_off"), ((w, drawn) for w in weights), strict=True))
        ),
        next_step=(
            f"Ring: what does the display of heat pump {number} show, and does the cascade's control release"
            " it? If it shows a fault or nothing, go there."
        ),
        caution=MAINS,
        home="One of your heat pumps stands still. Your installer is looking into it.",
        visit="call",
        bring=("multimeter", "the maker's fault list"),
    )
