"""By day: heat of other sources, each unit of a cascade by its own meters,
and electricity that was bought."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes, build_minutes
from fieldfare.analysis.facts.segments import Segments, total_kwh
from fieldfare.analysis.minutes.cascade import unit_site
from fieldfare.analysis.minutes.operating_state import DEFROST, UNKNOWN
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]

_COARSEST_TO_SPLIT_MIN = 15.0
"""Surplus comes and goes with clouds: readings further apart show no split (common practice)."""


def other_source_columns(site: Site, minutes: Minutes, day: Segments) -> dict[str, object]:
    """Columns of the days table for declared sources and their meters.

    What each means stands in the schema. The heat pump's and the heaters' electricity that was bought rather
    than made at home lies between two columns: the rest of the house used all of the home's own, or none.
    """
    out: dict[str, object] = {}
    other = minutes.balance.other_heat
    if other is not None:
        out |= {
            "heat_other_kwh": total_kwh(day, other),
            "minutes_other_known": day.count(np.isfinite(other)),
        }
    out |= _bought(minutes, day)
    for number, grid in enumerate(minutes.grid.units, 1):
        alone = build_minutes(unit_site(site, number), grid)
        out |= {f"{name}{number}": value for name, value in _unit(alone, day).items()}
    return out


def _bought(minutes: Minutes, day: Segments) -> dict[str, object]:
    grid, used = minutes.grid, minutes.electricity
    made, imported = (grid.energy.get(q) for q in ("pv_output", "house_electricity"))
    spacing = [grid.spacing.get(q, np.inf) for q in ("pv_output", "heat_pump_electricity")]
    if made is None or max(spacing) > _COARSEST_TO_SPLIT_MIN:
        return {}
    least = np.maximum(used - np.maximum(made, 0.0), 0.0)
    most = used
    if imported is not None and grid.spacing["house_electricity"] <= _COARSEST_TO_SPLIT_MIN:
        most = np.where(np.isfinite(imported), np.clip(imported, least, used), used)
    return {
        "electricity_bought_least_kwh": total_kwh(day, least),
        "electricity_bought_most_kwh": total_kwh(day, most),
    }


def _unit(minutes: Minutes, day: Segments) -> dict[str, object]:
    """One unit's sums. minutes : of its own points"""
    use, unit, paired = minutes.use, minutes.balance.heat_pump, minutes.paired
    known = use.code != UNKNOWN
    starts = use.running & ~np.concatenate(([True], use.running[:-1]))
    starts &= np.concatenate(([True], known[:-1]))
    melts = use.code == DEFROST
    out: dict[str, object] = {
        "unit_starts.": day.count(starts),
        "minutes_unit_running.": day.count(use.running),
        "minutes_unit_known.": day.count(known),
        "minutes_unit_paired.": day.count(paired),
        "unit_defrosts.": day.count(melts & ~np.concatenate(([True], melts[:-1]))),
        "unit_running_spacing_min.": np.full(len(day), use.running_spacing),
    }
    nothing = np.full(len(day), np.nan)
    out["unit_used_kwh."] = total_kwh(day, unit) if unit is not None else nothing
    for name, wh in (
        ("unit_heat_kwh.", minutes.heat),
        ("unit_electricity_kwh.", unit),
        ("unit_flow_error_kwh.", minutes.flow_error),
        ("unit_pair_error_kwh.", minutes.pair_error),
    ):
        sums = day.sum(np.where(paired, wh, 0.0)) / 1000.0 if wh is not None else nothing
        out[name] = np.where(out["minutes_unit_paired."] > 0, sums, np.nan)  # type: ignore[operator]
    return out
