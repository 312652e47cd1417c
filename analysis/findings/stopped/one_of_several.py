"""A heat pump of a cascade that is off while the others run nearly all the time."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import MAINS
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.model import Evidence, Finding

_KNOWN = 0.9  # of a day's minutes (common practice)
_NO_DRAW_W = 2.5  # less than any unit's controls draw (common practice)


def one_of_several(context: Context) -> Finding | None:
    """A unit of a cascade that did not run on the newest days, on each of which another hardly rested.

    A cascade's control leaves units at rest in mild weather: only beside one that can't do more alone is a
    unit at rest missed.
    """
    days, count = context.all_days.days, context.site.heat_pump.units
    if count < 2 or not len(days):
        return None
    share = {n: _running(days, n) for n in range(1, count + 1)}
    known = {n: s for n, s in share.items() if np.isfinite(s).any()}
    for number, mine in known.items():
        others = [s for n, s in known.items() if n != number]
        if not others:
            return None
        hardest = np.fmax.reduce(others)
        missed = (mine == 0.0) & (hardest >= context.limit("cascade_busy_share"))
        length = len(missed) - 1 - int(np.flatnonzero(~missed)[-1]) if (~missed).any() else len(missed)
        if length >= context.limit("cascade_rest_days"):
            return _finding(context, number, length, float(hardest[-length:].mean()))
    return None


def _running(days: Table, number: int) -> np.ndarray:
    """Share of each day that a unit ran; nan where too little of the day is known."""
    name = f"minutes_unit_running.{number}"
    if name not in days:
        return np.full(len(days), np.nan)
    known = days.floats(f"minutes_unit_known.{number}")
    enough = known >= _KNOWN * days.floats("minutes_total")
    return np.divide(days.floats(name), known, out=np.full(len(days), np.nan), where=enough & (known > 0))


def _finding(context: Context, number: int, length: int, busy: float) -> Finding:
    days = context.all_days.days
    newest = days.where(slice(-length, None))
    used = newest.floats(f"unit_used_kwh.{number}")
    watts = float(np.nanmean(used)) * 1000.0 / 24.0 if np.isfinite(used).any() else float("nan")
    none = watts < _NO_DRAW_W
    drawn = "it draws nothing" if none else f"it draws {watts:.0f} W" if np.isfinite(watts) else ""
    weights = (0.9, 0.05, 0.05) if none else (0.05, 0.6, 0.35)
    return Finding(
        "unit_stopped",
        "act",
        newest.day(0).isoformat(),
        0.9,
        f"Heat pump {number} has not run for {length} days, while the other ran {busy:.0%} of the time.",
        evidence=(
            context.evidence("running of the other heat pump", round(busy, 2), "-", "cascade_busy_share"),
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
