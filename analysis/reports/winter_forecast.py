"""The energy, cost and coldest day to expect of a coming winter."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldfare.analysis.expectation.reference_weather import reference_weather
from fieldfare.analysis.figures.estimate import Estimate, robust_fit
from fieldfare.analysis.plant.curve import curve_beyond
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95

Day = Mapping[str, Any]

WINTER_MONTHS = (10, 11, 12, 1, 2, 3, 4)
WINTER_DAYS = 212
WHOLE_WINTER_DAYS = 190
"""Days of October to April that must be known for the site's own winter to stand for one."""
LEAST_SPREAD_K = 5.0
"""Outdoor temperatures must differ by so much before efficiency is drawn as a line over them (common
practice)."""
WINTERS_VARY = 0.08
"""One standard deviation of a winter's degree-days from year to year, relative (common practice: 6 to 10
%)."""


@dataclass(frozen=True)
class WinterForecast:
    """A coming winter, October to April; every Estimate carries its reason where it can't be had.

    heat_kwh to the rooms; electricity_kwh for rooms and hot water; cost in the site's currency, standing
    charge included degree_days [K d] to the house's own base; weather : whose winter it is
    coldest : the design day: load, output and back-up [kW], flow [°C], electricity [kWh], cost
    """

    heat_kwh: Estimate
    electricity_kwh: Estimate
    cost: Estimate
    degree_days: float | None
    weather: str
    coldest: Coldest | None
    method: str


@dataclass(frozen=True)
class Coldest:
    """The design day. None where a part of it is not known."""

    outdoor_c: float
    load_kw: Estimate
    output_kw: Estimate
    backup_kwh: Estimate
    flow_c: float | None
    electricity_kwh: Estimate
    cost: Estimate


_METHOD = (
    "the house's own heat loss and base temperature over a winter's days, divided by the heating efficiency"
    " that this unit showed at each outdoor temperature; hot water as in the last months. Interval: heat"
    f" loss, efficiency, and a year-to-year spread of winters of {WINTERS_VARY:.0%}"
)


def forecast(site: Site, result: Mapping[str, Any], days: Sequence[Day]) -> WinterForecast:
    """Energy, cost and coldest day of a winter to come.

    days : rows with `day` (ISO text), `outdoor` [°C] and, where known, `spf_space` [-]
    """
    loss = result["heat_loss"]
    fit, base = loss["coefficient_w_per_k"], loss["base_temperature_c"]
    winter, weather = _winter(site, days)
    if not fit or fit.get("value") is None or base is None:
        return _none(loss["reason"] or "the house's heat loss is not known", weather)
    if winter is None:
        return _none("needs a winter's outdoor temperatures or design.outdoor_c", weather)
    temperature, weight = winter
    below = np.maximum(base - temperature, 0.0)
    degree_days = float(np.sum(below * weight))
    heat_by_day = fit["value"] * below * weight * 24.0 / 1000.0
    total = float(heat_by_day.sum())
    loss_share = _half(fit) / fit["value"]
    heat = Estimate.around(total, total * math.hypot(loss_share, GAUSS_95 * WINTERS_VARY), 0.0)
    efficiency = _efficiency(result, days)
    beside = site.other_heat_for("space_heating")
    if efficiency is None or beside:
        reason = "needs heat and electricity of the rooms"
        if beside:
            reason = f"a {beside[0].name} gives part of a winter's heat: how much is not known beforehand"
        nothing = Estimate.none(reason)
        return WinterForecast(
            heat, nothing, nothing, degree_days, weather, _coldest(site, result, None), _METHOD
        )
    curve, spread = efficiency
    rooms = float(np.sum(heat_by_day / curve(temperature)))
    water = _per_day(result, "hot_water") * WINTER_DAYS
    half = math.hypot(rooms * math.hypot(loss_share, GAUSS_95 * WINTERS_VARY, spread), 0.2 * water)
    electricity = Estimate.around(rooms + water, half, 0.0)
    price = result["cost"]["mean_price"]
    standing = (site.cost.standing_charge_per_day if site.cost else 0.0) * WINTER_DAYS
    cost = Estimate.none(_no_price(result))
    if price is not None:
        cost = Estimate.around((rooms + water) * price + standing, half * price, 0.0)
    return WinterForecast(
        heat, electricity, cost, degree_days, weather, _coldest(site, result, curve), _METHOD
    )


def _no_price(result: Mapping[str, Any]) -> str:
    return str((result["cost"].get("reasons") or {}).get("mean_price") or "needs [cost] in the site file")


def _none(reason: str, weather: str) -> WinterForecast:
    nothing = Estimate.none(reason)
    return WinterForecast(nothing, nothing, nothing, None, weather, None, _METHOD)


def _half(estimate: Mapping[str, Any]) -> float:
    low, high = estimate.get("low"), estimate.get("high")
    return 0.0 if low is None or high is None else (high - low) / 2.0


def _per_day(result: Mapping[str, Any], use: str) -> float:
    used = result["energy"]["electricity_kwh"].get(use) or 0.0
    days = max(len(result["performance"]["by_day"]), 1)
    return float(used) / days


def _winter(site: Site, days: Sequence[Day]) -> tuple[tuple[np.ndarray, np.ndarray] | None, str]:
    """Outdoor temperatures of a winter's days and how many days each stands for."""
    own = [d["outdoor"] for d in days if d.get("outdoor") is not None and int(d["day"][5:7]) in WINTER_MONTHS]
    if len(own) >= WHOLE_WINTER_DAYS:
        own_days = np.array(own[-WINTER_DAYS:], dtype=np.float64)
        return (
            own_days,
            np.full(len(own_days), WINTER_DAYS / len(own_days)),
        ), "the last winter measured here, as a standard one"
    if site.design.outdoor_c is None:
        return None, ""
    season, temperatures, each = reference_weather(site.design.outdoor_c)
    named = f"EN 14825's {season.name} reference season, set to the design temperature of this place"
    return (temperatures, each), named


def _efficiency(result: Mapping[str, Any], days: Sequence[Day]) -> tuple[Any, float] | None:
    """Heating efficiency by outdoor temperature as this unit showed it, and its relative half interval."""
    known = [
        (d["outdoor"], d["spf_space"]) for d in days if d.get("outdoor") is not None and d.get("spf_space")
    ]
    measured = result["performance"]["space_heating"]
    if not measured or measured.get("value") is None:
        whole = next(
            (
                result["performance"][b]
                for b in ("H4", "H3", "H2")
                if (result["performance"].get(b) or {}).get("value")
            ),
            None,
        )
        if whole is None:
            return None
        return (lambda t: np.full(len(t), whole["value"])), _half(whole) / whole["value"]
    spread = _half(measured) / measured["value"]
    if len(known) < 30 or float(np.ptp([t for t, _ in known])) < LEAST_SPREAD_K:
        return (lambda t: np.full(len(t), measured["value"])), spread
    x, y = np.array(known, dtype=np.float64).T
    fit = robust_fit(np.column_stack([x, np.ones(len(x))]), y)
    least, most = float(np.quantile(y, 0.02)) * 0.85, float(np.quantile(y, 0.98))
    slope, level = (float(c) for c in fit.coefficients)
    return (lambda t: np.clip(slope * t + level, least, most)), spread


def _coldest(site: Site, result: Mapping[str, Any], curve: Any) -> Coldest | None:
    design = site.design.outdoor_c
    if design is None:
        return None
    load = _estimate(result["capacity"]["load_kw"])
    output = _estimate(result["capacity"]["output_at_design_kw"])
    flow = None
    if (fitted := result["heating_curve"]["fitted"]) is not None:
        flow = float(curve_beyond(fitted, np.array([design]))[0])
    backup = Estimate.none("needs output and load at the design temperature")
    if load and output and load.value is not None and output.value is not None:
        short = max(load.value - output.value, 0.0) * 24.0
        backup = Estimate.around(short, 24.0 * math.hypot(load.half, output.half) if short else 0.0, 0.0)
    electricity = cost = Estimate.none("needs the load and the heating efficiency")
    if load and curve is not None and load.value is not None:
        used = (load.value * 24.0 - (backup.value or 0.0)) / float(curve(np.array([design]))[0]) + (
            backup.value or 0.0
        )
        used += _per_day(result, "hot_water")
        electricity = Estimate.around(used, used * (load.half / load.value if load.value else 0.0), 0.0)
        price = result["cost"]["mean_price"]
        cost = electricity.times(price) if price else Estimate.none(_no_price(result))
    return Coldest(design, load, output, backup, flow, electricity, cost)


def _estimate(given: Mapping[str, Any] | None) -> Estimate:
    if not given or given.get("value") is None:
        return Estimate.none("not known")
    return Estimate(given["value"], given.get("low"), given.get("high"))
