"""Running totals that begin anew."""

from __future__ import annotations

import pandas as pd

from analysis.errors import NotAssessed
from analysis.findings.context import Context, Rule
from analysis.findings.model import Evidence, Finding, Severity
from analysis.findings.telling import METER_CAUTION, named
from analysis.plant.site import Point

_RESETS = ("reset", "stepped_back")


def register_reset(context: Context) -> Finding | None:
    """Running totals that began anew."""
    registers = {p.id: p for p in context.site.point if p.form == "register"}
    if not registers:
        raise NotAssessed("no meter here is read as a running total")
    notices = context.whole.notices
    odd = notices[notices["point"].isin(list(registers)) & notices["kind"].isin([*_RESETS, "rolled_over"])]
    # A last digit that jitters is no reset.
    odd = odd[(odd["kind"] != "stepped_back") | (odd["amount"] > 1.0)]
    if odd.empty:
        return None
    resets = odd[odd["kind"] != "rolled_over"]
    counts = resets["point"].value_counts()
    if counts.empty:
        return _rolled_over(odd, registers)
    point = registers[str(counts.index[0])]
    mine = resets[resets["point"] == point.id]
    count = len(mine)
    counter = point.kind.unit != "W"
    severity: Severity = (
        "note" if counter or count < context.limit("resets_watch")
        else "act" if count >= context.limit("resets_act") else "watch"
    )  # fmt: skip
    first, last = mine["day"].min(), mine["day"].max()
    newest = context.whole.days["day"].iloc[-1]
    apart = max(45, 2 * int((last - first).days / max(count - 1, 1)))
    ongoing = count > 1 and (newest - last).days <= apart
    times = "once" if count == 1 else f"{count} times"
    return Finding(
        "register_reset",
        severity,
        f"{first:%Y-%m-%d}",
        0.95,
        f"The running total of {named(point)} fell back {times}, first on {first:%Y-%m-%d}; what was counted is kept whole.",
        (
            Evidence("resets", float(count), "resets", context.limit("resets_watch")),
            Evidence("total before the last reset", round(float(mine["amount"].iloc[-1]), 1), point.kind.energy or "count"),
            Evidence("last one", f"{last:%Y-%m-%d}"),
        ),
        next_step="" if severity == "note" else (
            "Ask whether the meter or its pulse counter loses power now and then; have its supply and battery seen to, "
            "and let it keep its total through a power cut."
        ),
        caution="" if severity == "note" else METER_CAUTION,
        until=None if ongoing else f"{last:%Y-%m-%d}",
        visit="none" if severity == "note" else "call",
        bring=() if severity == "note" else ("battery for the pulse counter",),
    )  # fmt: skip


def _rolled_over(odd: pd.DataFrame, registers: dict[str, Point]) -> Finding:
    row = odd.iloc[-1]
    point = registers[str(row["point"])]
    return Finding(
        "register_reset", "note", f"{row['day']:%Y-%m-%d}", 0.9,
        f"The running total of {named(point)} reached the end of its range and began again at nothing; nothing is lost.",
        (Evidence("counted across it", round(float(row["amount"]), 2), point.kind.energy or "count"),),
        until=f"{row['day']:%Y-%m-%d}",
    )  # fmt: skip


REGISTER_RULES: tuple[Rule, ...] = (Rule("register_reset", register_reset),)
