"""Registers that were reset."""

from __future__ import annotations

from collections import Counter

import numpy as np

from fieldfare.analysis.cautions import METER_WORK
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.context import Context, Rule
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.findings.phrases import day_text, named
from fieldfare.analysis.plant.site import Point


def register_reset(context: Context) -> Finding | None:
    """Running totals that started again."""
    registers = {p.id: p for p in context.site.point if p.form == "register"}
    if not registers:
        raise NotAssessed("no meter here is read as a running total", "not_applicable")
    notices = context.all_days.notices
    columns = zip(notices["point"], notices["kind"], notices["amount"], strict=True)
    # A last digit that jitters is no reset.
    rows = [
        row
        for row, (point, kind, amount) in enumerate(columns)
        if point in registers
        and (kind in ("reset", "rolled_over") or (kind == "stepped_back" and amount > 1.0))
    ]
    odd = notices.where(np.array(rows, dtype=np.int64))
    if not len(odd):
        return None
    resets = odd.where(odd["kind"] != "rolled_over")
    if not len(resets):
        return _rolled_over(odd, registers)
    (name, count), *_ = Counter(resets["point"].tolist()).most_common(1)
    point, mine = registers[name], resets.where(resets["point"] == name)
    counter = point.kind.unit != "W"
    severity: Severity = (
        "note"
        if counter or count < context.limit("resets_watch")
        else "act"
        if count >= context.limit("resets_act")
        else "watch"
    )
    first, last = mine.day(0), mine.day(-1)
    newest = context.all_days.days.day(-1)
    apart = max(45, 2 * int((last - first).days / max(count - 1, 1)))
    ongoing = count > 1 and (newest - last).days <= apart
    times = "once" if count == 1 else f"{count} times"
    return Finding(
        "register_reset",
        severity,
        first.isoformat(),
        0.95,
        (
            f"The running total of {named(point)} was reset {times}, first on {day_text(first)}; only what it"
            " counted after its last reading before a reset is missing."
        ),
        (
            context.evidence("resets", float(count), "resets", "resets_watch"),
            Evidence(
                "total before the last reset",
                round(float(mine["amount"][-1]), 1),
                point.kind.energy or "count",
            ),
            Evidence("last one", last.isoformat()),
        ),
        next_step=(
            ""
            if severity == "note"
            else (
                "Ask whether the meter or its pulse counter sometimes loses power; have its supply"
                " and battery checked, and set it to keep its total through a power cut."
            )
        ),
        caution="" if severity == "note" else METER_WORK,
        until=None if ongoing else last.isoformat(),
        visit="none" if severity == "note" else "call",
        bring=() if severity == "note" else ("battery for the pulse counter",),
    )


def _rolled_over(odd: Table, registers: dict[str, Point]) -> Finding:
    point, day = registers[odd["point"][-1]], odd.day(-1).isoformat()
    return Finding(
        "register_reset",
        "note",
        day,
        0.9,
        (
            f"The running total of {named(point)} reached the end of its range and restarted at zero;"
            " nothing is lost."
        ),
        (Evidence("counted across it", round(float(odd["amount"][-1]), 2), point.kind.energy or "count"),),
        until=day,
    )


REGISTER_RULES: tuple[Rule, ...] = (Rule("register_reset", register_reset),)
