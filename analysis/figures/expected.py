"""What the unit's own rating would have given, and where the rest went."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.facts.minutes import rated
from analysis.facts.table import Table
from analysis.facts.tables import Facts
from analysis.figures.money import mean_price
from analysis.plant.site import Site
from analysis.use import HEATING

CAUSES = (
    "flow_temperature_above_curve", "cycling", "defrost", "hot_water", "direct_electric_heat", "pumps_and_standby",
    "unexplained",
)  # fmt: skip
# A start costs the heat that warms the refrigerant and the exchanger anew: about the first two minutes' electricity
# (common practice).
START_MINUTES = 2.0


@dataclass(frozen=True)
class Expected:
    """value : SPF [-] by the rating at the outdoor temperatures that occurred, space heat at the designed curve's flow
    temperatures where a curve is given. at_own_flow : the same at the flow temperatures that occurred.
    space, hot_water : at_own_flow by use. measured_* : the unit's own in the very same minutes"""

    value: float | None
    basis: str
    at_own_flow: float | None
    space: float | None
    hot_water: float | None
    measured_space: float | None
    measured_hot_water: float | None
    reason: str = ""


@dataclass(frozen=True)
class Loss:
    cause: str
    electricity_kwh: float
    cost: float | None


def expected(site: Site, days: Table) -> Expected:
    """Rated performance over the minutes that really ran."""
    heat = days.total("xq_space") + days.total("xq_hot_water")
    electricity = days.total("x_space") + days.total("x_hot_water")
    if heat <= 0 or electricity <= 0:
        reason = "needs heat_output, heat_pump_electricity, flow_temperature and outdoor_temperature"
        return Expected(None, "", None, None, None, None, None, reason)
    at_curve = electricity - _above_curve(days)
    flow = (
        "the designed curve's flow temperatures"
        if days.total("xc_space")
        else "the flow temperatures that occurred"
    )
    return Expected(
        heat / at_curve,
        f"{rated(site).basis}, at the outdoor temperatures that occurred and {flow}",
        heat / electricity,
        _ratio(days, "xq_space", "x_space"),
        _ratio(days, "xq_hot_water", "x_hot_water"),
        _ratio(days, "xq_space", "xe_space"),
        _ratio(days, "xq_hot_water", "xe_hot_water"),
    )


def _ratio(days: Table, above: str, below: str) -> float | None:
    used = days.total(below)
    return days.total(above) / used if used > 0.5 else None


def losses(site: Site, facts: Facts) -> list[Loss]:
    """The way from what the rating would have drawn for the heat given to what was metered, in exact steps.

    Returns one Loss for each of CAUSES; empty where nothing can be expected. Total heat over `expected().value`, plus
    the steps, is the metered electricity.
    """
    days = facts.days
    want = expected(site, days)
    if want.value is None:
        return []
    price = mean_price(site, days)
    total = days.total("e_total")
    floor = days.total("q_total") / want.value
    steps = dict.fromkeys(CAUSES, 0.0)
    steps["flow_temperature_above_curve"] = _above_curve(days)
    steps["cycling"] = _cycling(facts)
    steps["defrost"] = days.total("e_defrost") + _defrost_heat_cost(days)
    steps["hot_water"] = days.total("xe_hot_water") - days.total("x_hot_water")
    steps["direct_electric_heat"] = days.total("e_backup") + days.total("e_immersion")
    pumps = days.total("e_pump")
    steps["pumps_and_standby"] = days.total("e_idle") + max(pumps - _idle_pumps(days), 0.0)
    steps["unexplained"] = total - floor - sum(v for k, v in steps.items() if k != "unexplained")
    return [Loss(c, steps[c], None if price is None else steps[c] * price) for c in CAUSES]


def _above_curve(days: Table) -> float:
    return days.total("xc_space_actual") - days.total("xc_space")


def _idle_pumps(days: Table) -> float:
    """Pump electricity already counted in idle minutes [kWh]."""
    if "pump_idle_power" not in days:
        return 0.0
    return float(np.nansum(days["pump_idle_power"] * days["n_rest"]) / 60_000.0)


def _defrost_heat_cost(days: Table) -> float:
    """Electricity to give again the heat that defrosts drew back [kWh], at each day's own space performance."""
    taken = np.nan_to_num(days["q_defrost_taken"])
    heat, used = days["xq_space"], days["xe_space"]
    cop = np.divide(heat, used, out=np.full(len(days), np.nan), where=used > 0.5)
    overall = heat.sum() / used.sum() if used.sum() > 0 else np.nan
    return float(np.nansum(taken / np.where(np.isfinite(cop) & (cop > 0.5), cop, overall)))


def _cycling(facts: Facts) -> float:
    """Electricity of starts beyond what a long-running unit would need [kWh]."""
    runs = facts.runs
    if not len(runs):
        return 0.0
    heating = runs.where(runs["use"] == HEATING)
    power = np.divide(
        heating["electricity"] * 60.0, heating["minutes"], out=np.zeros(len(heating)),
        where=heating["minutes"] > 0,
    )  # fmt: skip
    return float(np.nansum(power) * START_MINUTES / 60.0)
