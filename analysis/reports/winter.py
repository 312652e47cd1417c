"""The coming winter from what is known: every check with its verdict, and the energy, cost and coldest day to
expect."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np

from fieldfare.analysis.expectation.reference_weather import reference_weather
from fieldfare.analysis.figures.estimate import Estimate, robust_fit
from fieldfare.analysis.findings.judge import RULES
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.output_basis import output_basis

Verdict = Literal["in order", "attention", "not in order", "can't tell"]
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


class Number(NamedTuple):
    """A figure of a check with its interval, the limit it is held against and where that comes from.

    limit_name, side : as in a finding's evidence
    """

    label: str
    value: float | str | None
    unit: str = ""
    low: float | None = None
    high: float | None = None
    limit: float | None = None
    source: str = ""
    limit_name: str | None = None
    side: str | None = None


@dataclass(frozen=True)
class Check:
    """says : the verdict's reason in a sentence. codes : findings that speak for it"""

    key: str
    verdict: Verdict
    says: str
    numbers: tuple[Number, ...] = ()
    codes: tuple[str, ...] = ()
    unanswered: tuple[str, ...] = ()


_LOOKED_AT = frozenset(rule.code for rule in RULES)

CODES: dict[str, tuple[str, ...]] = {
    "design_day": ("capacity_short",),
    "curve": ("flow_temperature_above_curve", "no_weather_compensation"),
    "water": (
        "low_flow",
        "falling_flow",
        "buffer_mixing",
        "pressure_falling",
        "pressure_low",
        "pressure_high",
        "pressure_swings",
    ),
    "defrost": ("excessive_defrost", "defrost_without_frost"),
    "hot_water": (
        "pasteurisation_missed",
        "hot_water_shortfall",
        "slow_reheat",
        "reheat_incomplete",
        "immersion_use",
        "high_standing_loss",
        "diverter_passing",
        "water_too_hot",
        "disinfection_lacking",
    ),
    "backup": ("backup_heater_use", "frost_risk", "unit_stopped", "fault_reported"),
    "sensors": (
        "data_gap",
        "sensor_stuck",
        "register_reset",
        "unit_mismatch",
        "flow_return_swapped",
        "clock_offset",
        "implausible_efficiency",
        "heat_meter_disagrees",
        "outdoor_sensor_biased",
        "meter_misplaced",
    ),
    "cycling": ("short_cycling",),
    "controls": ("room_below_target", "heating_out_of_season", "pump_always_on", "high_standby"),
    "efficiency": (
        "efficiency_below_expected",
        "efficiency_fell",
        "performance_below_promise",
        "electricity_above_expected",
    ),
}
"""Checks in the order in which an engineer goes through them, and the findings that decide each."""


def winter_checks(site: Site, result: Mapping[str, Any], days: Sequence[Day] = ()) -> list[Check]:
    """Every check of the season from a result document.

    days : rows with `flow_rate` [m3/h] and `pressure` [bar] where known, for the figures beside the check of
        the water

    A check is not in order where one of its findings asks for action, needs attention where one is to be
    watched, and can't be told where none of its questions could be answered.
    """
    numbers = _numbers(site, result)
    numbers["water"] = _water(site, days)
    return [_check(key, codes, site, result, numbers[key]) for key, codes in CODES.items()]


def _check(
    key: str, codes: tuple[str, ...], site: Site, result: Mapping[str, Any], numbers: tuple[Number, ...]
) -> Check:
    codes = tuple(code for code in codes if code in _LOOKED_AT)
    missing = {
        n["code"]: n["reason"]
        for n in result["not_assessed"]
        if n["code"] in codes and n.get("reason_code") != "not_applicable"
    }
    found = [f for f in result["findings"] if f["code"] in codes and not f["until"]]
    grave = [f for f in found if f["severity"] in ("act", "urgent")]
    watched = [f for f in found if f["severity"] == "watch"]
    unanswered = tuple(f"{code}: {reason}" for code, reason in missing.items())
    named = tuple(f["code"] for f in (*grave, *watched))
    if key == "design_day" and not grave:
        verdict, says = _holds(site, result, bool(watched), missing)
    elif grave:
        verdict, says = "not in order", grave[0]["headline"]
    elif watched:
        verdict, says = "attention", watched[0]["headline"]
    elif len(missing) == len(codes):
        verdict, says = "can't tell", next(iter(missing.values()))
    else:
        verdict, says = "in order", found[0]["headline"] if found else ""
    evidence = tuple(
        Number(
            e["label"],
            e["value"],
            e["unit"],
            limit=e["limit"],
            limit_name=e.get("limit_name"),
            side=e.get("side"),
        )
        for f in (*grave, *watched)
        for e in f["evidence"]
    )
    return Check(key, verdict, says, (*evidence, *numbers), named, unanswered)  # type: ignore[arg-type]


def _holds(
    site: Site, result: Mapping[str, Any], watched: bool, missing: Mapping[str, str]
) -> tuple[Verdict, str]:
    """Output at the design temperature against the load: in order where even the interval's low end carries
    it."""
    margin = result["capacity"]["margin"]
    helped = site.design.bivalent_c is not None and (site.design.outdoor_c or -99.0) < site.design.bivalent_c
    if not margin or margin.get("value") is None:
        return "can't tell", result["capacity"]["reason"] or missing.get(
            "capacity_short", "no margin is known"
        )
    measured = result["capacity"].get("basis") == "measured"
    if margin["low"] is not None and margin["low"] >= 1.0 and not watched:
        if measured:
            return "in order", "the measured output at the design temperature covers the load with certainty"
        return "in order", "by its rating the output covers the load; full output was never measured here"
    if helped and not watched:
        return "in order", "the back-up heater is meant to help on the coldest days"
    if margin["high"] is not None and margin["high"] < 1.0:
        return "not in order", "the output at the design temperature is below the load"
    if margin["value"] >= 1.0:
        return (
            "attention",
            f"{'' if measured else 'by its rating '}the output covers the load, but not with certainty",
        )
    return "attention", "the output may fall short of the load"


def _numbers(site: Site, result: Mapping[str, Any]) -> dict[str, tuple[Number, ...]]:
    """The season's own figures beside each check."""
    design = "the design (site file)"
    cycling, defrost, water = result["cycling"], result["defrost"], result["hot_water"]
    curve, electricity = result["heating_curve"], result["energy"]["electricity_kwh"]
    plant = site.hot_water
    share = result["coverage"]["share"]
    performance = result["performance"]
    expected = performance["expected"] or {}
    zones = [
        Number(f"time below target, {name}", _percent(zone["share_below_target"]), "%")
        for name, zone in result["comfort"]["zones"].items()
    ]
    listed: dict[str, list[Number]] = {
        "design_day": [
            _ranged(
                f"output at the design temperature, {output_basis(result)}",
                result["capacity"]["output_at_design_kw"],
                "kW",
            ),
            _ranged("load on the design day", result["capacity"]["load_kw"], "kW"),
            _ranged(
                "output over load with hot water",
                result["capacity"]["margin"],
                "",
                1.0,
                "it must carry the load",
            ),
            _ranged(
                "heat loss of the house",
                result["heat_loss"]["heat_loss_kw"],
                "kW",
                site.design.heat_loss_kw,
                design,
            ),
        ],
        "curve": [
            Number("flow above the designed curve", curve["above_design_k"], "K"),
            _ranged(
                "fall of flow for each kelvin outdoors",
                curve["slope"],
                "K/K",
                curve["designed_slope"],
                design,
            ),
        ],
        "water": [],
        "defrost": [
            Number("defrosts", defrost["count"]),
            Number("defrosts for each hour in frosting air", defrost["per_frost_hour"]),
            Number("usual length", defrost["median_minutes"], "min"),
            Number("share of heat taken", _percent(defrost["share_of_heat"]), "%"),
        ],
        "hot_water": [
            Number(
                "disinfection last reached",
                water["last_pasteurised"],
                source=design if plant and plant.pasteurise_c else "",
            ),
            Number("usual reheat", water["median_reheat_minutes"], "min"),
            Number("water at 40 °C from a full cylinder", water["litres_at_40c_when_full"], "l"),
            Number(
                "standing loss",
                water["standing_loss_kwh_per_day"],
                "kWh/day",
                limit=plant.standing_loss_kwh_per_day if plant else None,
                source=design,
            ),
        ],
        "backup": [
            Number("back-up heater", electricity["backup_heater"], "kWh"),
            Number("immersion heater", electricity["immersion"], "kWh"),
        ],
        "sensors": [Number("minutes with usable data", _percent(share), "%")],
        "cycling": [
            Number("starts for each running hour", cycling["starts_per_running_hour"]),
            Number("usual run", cycling["median_run_minutes"], "min"),
            Number("runs under ten minutes", _percent(cycling["short_run_share"]), "%"),
        ],
        "controls": [*zones, Number("electricity while idle", electricity["idle"], "kWh")],
        "efficiency": [
            _ranged("efficiency, rooms", performance["space_heating"], "", site.design.spf_space, design),
            Number(
                "in the minutes that can be rated",
                expected.get("measured_space_heating"),
                "",
                limit=expected.get("space_heating"),
                source="its rating at the same temperatures",
            ),
        ],
    }
    return {key: tuple(n for n in listed[key] if n.value is not None) for key in CODES}


def _water(site: Site, days: Sequence[Day]) -> tuple[Number, ...]:
    """Water flow and pressure of the last month that knows them."""

    def last(name: str) -> float | None:
        known = [d[name] for d in days if d.get(name) is not None][-30:]
        return float(np.median(known)) if known else None

    nominal = site.heat_pump.flow_m3_per_h
    numbers = (
        Number(
            "water flow while heating",
            last("flow_rate"),
            "m3/h",
            limit=nominal,
            source="the design (site file)",
        ),
        Number("circuit pressure", last("pressure"), "bar"),
    )
    return tuple(n for n in numbers if n.value is not None)


def _ranged(
    label: str, estimate: Mapping[str, Any] | None, unit: str, limit: float | None = None, source: str = ""
) -> Number:
    e = estimate or {}
    return Number(
        label, e.get("value"), unit, e.get("low"), e.get("high"), limit, source if limit is not None else ""
    )


def _percent(share: float | None) -> float | None:
    return None if share is None else 100.0 * share


@dataclass(frozen=True)
class Forecast:
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
    """The design day. None where a part of it can't be told."""

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


def forecast(site: Site, result: Mapping[str, Any], days: Sequence[Day]) -> Forecast:
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
    heat = Estimate.around(total, total * math.hypot(loss_share, 1.96 * WINTERS_VARY), 0.0)
    efficiency = _efficiency(result, days)
    if efficiency is None:
        nothing = Estimate.none("needs heat and electricity of the rooms")
        return Forecast(heat, nothing, nothing, degree_days, weather, _coldest(site, result, None), _METHOD)
    curve, spread = efficiency
    rooms = float(np.sum(heat_by_day / curve(temperature)))
    water = _per_day(result, "hot_water") * WINTER_DAYS
    half = math.hypot(rooms * math.hypot(loss_share, 1.96 * WINTERS_VARY, spread), 0.2 * water)
    electricity = Estimate.around(rooms + water, half, 0.0)
    price = result["cost"]["mean_price"]
    standing = (site.cost.standing_charge_per_day if site.cost else 0.0) * WINTER_DAYS
    cost = Estimate.none("needs [cost] in the site file")
    if price is not None:
        cost = Estimate.around((rooms + water) * price + standing, half * price, 0.0)
    return Forecast(heat, electricity, cost, degree_days, weather, _coldest(site, result, curve), _METHOD)


def _none(reason: str, weather: str) -> Forecast:
    nothing = Estimate.none(reason)
    return Forecast(nothing, nothing, nothing, None, weather, None, _METHOD)


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
        kept = np.array(own[-WINTER_DAYS:], dtype=np.float64)
        return (
            kept,
            np.full(len(kept), WINTER_DAYS / len(kept)),
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
        (x1, y1), (x2, y2) = fitted
        flow = y1 + (design - x1) * (y2 - y1) / (x2 - x1)
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
        cost = electricity.times(price) if price else Estimate.none("needs [cost] in the site file")
    return Coldest(design, load, output, backup, flow, electricity, cost)


def _estimate(given: Mapping[str, Any] | None) -> Estimate:
    if not given or given.get("value") is None:
        return Estimate.none("not known")
    return Estimate(given["value"], given.get("low"), given.get("high"))
