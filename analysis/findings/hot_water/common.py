"""What the findings about hot water share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta

import numpy as np

from fieldfare.analysis.cautions import HOT_WATER
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.model import Evidence

HOT_WATER_CAUTION = HOT_WATER

# Kinds of unusual days that do not affect the cylinder, or the circuit's pressure, and how many days after
# them fieldfare.analysis.findings.exclusions leaves out too: cold weather does not make a cylinder cool
# faster, an absence does not make a circuit leak.
_CYLINDER_AS_USUAL = {"cold_snap": 1}
_CIRCUIT_AS_USUAL = {"cold_snap": 1, "away": 2, "party": 1}
_LONGEST_AFTER_DAYS = 2


def needs_hot_water(context: Context) -> None:
    """Raises NotAssessed where the site makes no hot water."""
    if context.site.hot_water is None:
        raise NotAssessed("the system makes no hot water", "not_applicable")


def cylinder_context(context: Context) -> Context:
    """The context with the days that were left out for a reason that does not touch the cylinder.

    A cold snap excuses rooms and capacity, not a cylinder that cools too fast.
    """
    return _with_days_of(context, _CYLINDER_AS_USUAL)


def circuit_context(context: Context) -> Context:
    """The context with the days that were left out for a reason that does not touch the circuit's
    pressure."""
    return _with_days_of(context, _CIRCUIT_AS_USUAL)


def _with_days_of(context: Context, kinds: Mapping[str, int]) -> Context:
    whole = context.whole
    kept = np.isin(whole.days["day"], context.days["day"])
    back = _covered(context, whole.days, kinds, inside=True) & ~_covered(
        context, whole.days, kinds, inside=False
    )
    if not (back & ~kept).any():
        return context
    chosen = whole.days["day"][kept | back]
    facts = Facts(
        whole.days.where(kept | back),
        *(
            table.where(np.isin(table["day"], chosen)) if len(table) else table
            for table in (whole.runs, whole.defrosts, whole.reheats, whole.notices)
        ),
    )
    return replace(context, facts=facts)


def _covered(context: Context, days: Table, kinds: Mapping[str, int], *, inside: bool) -> np.ndarray:
    """Days that spells of these kinds cover, with the days after; not inside: of every other kind that
    leaves days out."""
    out = np.zeros(len(days), dtype=np.bool_)
    for spell in context.recognised:
        if (spell.kind in kinds) is not inside or spell.kind == "summer":
            continue
        after = kinds.get(spell.kind, _LONGEST_AFTER_DAYS)
        last = np.datetime64(spell.until) + np.timedelta64(timedelta(days=after))
        out |= (days["day"] >= np.datetime64(spell.since)) & (days["day"] <= last)
    return out


def hot_water_days(context: Context) -> Table:
    """The days on which the cylinder can be judged."""
    return context.once(cylinder_context).days


def passed(
    context: Context, label: str, value: float | None, unit: str, name: str, limit: float | None = None
) -> Evidence:
    """A number beside the limit of that name where it passes it, else the number alone.

    A number on the sound side of its limit is a fact worth showing, but no evidence against the plant.
    """
    evidence = context.evidence(label, value, unit, name, limit)
    if value is None or evidence.limit is None or not np.isfinite(value):
        return Evidence(label, None if value is None or not np.isfinite(value) else value, unit)
    passes = value >= evidence.limit if evidence.side == "above" else value <= evidence.limit
    return evidence if passes else Evidence(label, value, unit)
