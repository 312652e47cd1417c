"""Performance expected from the unit's rating."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.expectation.part_load import Strength, learned_strength
from fieldfare.analysis.facts.minutes import rated
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.plant.site import Site

# A start costs the heat that warms refrigerant and exchanger: about the first two minutes'
# electricity (common practice).
START_MINUTES = 2.0
_RESOLVED_KWH = 0.2  # electricity of a day below which meter resolution dominates its efficiency


@dataclass(frozen=True)
class ExpectedPerformance:
    """Performance by the rating, and measured in the same minutes.

    value : SPF [-] by the rating at the real outdoor temperatures, with space heat at the designed curve's
        flow temperatures if there is a curve. at_own_flow : the same at the real flow temperatures. space,
        hot_water : at_own_flow by use. measured_* : the unit's own in the very same minutes
    """

    value: float | None
    basis: str
    at_own_flow: float | None
    space: float | None
    hot_water: float | None
    measured_space: float | None
    measured_hot_water: float | None
    reason: str = ""


def expected(site: Site, days: Table) -> ExpectedPerformance:
    """Rated performance over the minutes of real operation."""
    heat = days.total("expected_heat_space_kwh") + days.total("expected_heat_hot_water_kwh")
    electricity = days.total("expected_space_kwh") + days.total("expected_hot_water_kwh")
    if heat <= 0 or electricity <= 0:
        reason = "needs heat_output, heat_pump_electricity, flow_temperature and outdoor_temperature"
        return ExpectedPerformance(None, "", None, None, None, None, None, reason)
    at_curve = electricity - above_curve(days)
    flow = (
        "the designed curve's flow temperatures"
        if days.total("expected_curve_space_kwh")
        else "the flow temperatures that occurred"
    )
    return ExpectedPerformance(
        heat / at_curve,
        f"{rated(site).basis}, at the outdoor temperatures that occurred and {flow}",
        heat / electricity,
        _ratio(days, "expected_heat_space_kwh", "expected_space_kwh"),
        _ratio(days, "expected_heat_hot_water_kwh", "expected_hot_water_kwh"),
        _ratio(days, "expected_heat_space_kwh", "expected_used_space_kwh"),
        _ratio(days, "expected_heat_hot_water_kwh", "expected_used_hot_water_kwh"),
    )


def above_curve(days: Table) -> float:
    """Electricity for flow temperatures above the designed curve, by the rating [kWh]; negative below."""
    return days.total("expected_curve_actual_kwh") - days.total("expected_curve_space_kwh")


def learned(days: Table) -> Strength:
    """Share of the modelled part-load gain that this unit shows on its heating days."""
    x, part, used = (days.floats(f"expected_{name}space_kwh") for name in ("", "part_load_", "used_"))
    good = (x > _RESOLVED_KWH) & (part > _RESOLVED_KWH) & (used > _RESOLVED_KWH)
    level = np.log(np.divide(x, used, out=np.full(len(days), np.nan), where=good))
    gain = np.log(np.divide(x, part, out=np.full(len(days), np.nan), where=good))
    return learned_strength(level, gain, np.where(good, used, np.nan))


def _ratio(days: Table, above: str, below: str) -> float | None:
    used = days.total(below)
    return days.total(above) / used if used > 0.5 else None
