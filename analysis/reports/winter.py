"""Pre-winter health check: every check with its verdict. The forecast is in `winter_forecast`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np

from fieldfare.analysis.findings.judge import RULES
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.plant.zone_names import zone_name
from fieldfare.analysis.reports.design_ratios import WHOLE_YEAR_DAYS, measured_days
from fieldfare.analysis.reports.output_basis import output_basis
from fieldfare.analysis.reports.verdict import DATA_CODES, unanswered

Verdict = Literal["in order", "attention", "not in order", "can't tell", "does not apply"]
Day = Mapping[str, Any]


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
    """says : reason of the verdict. codes : findings behind it"""

    key: str
    verdict: Verdict
    says: str
    numbers: tuple[Number, ...] = ()
    codes: tuple[str, ...] = ()
    unanswered: tuple[str, ...] = ()


_LOOKED_AT = frozenset(rule.code for rule in RULES)

CODES: dict[str, tuple[str, ...]] = {
    "design_day": ("capacity_short",),
    "curve": (
        "flow_temperature_above_curve",
        "flow_temperature_below_curve",
        "no_weather_compensation",
    ),
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
    "sensors": DATA_CODES,
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

NAMED: dict[str, tuple[tuple[str, ...], ...]] = {
    "water": (
        ("low_flow", "falling_flow"),
        ("pressure_low", "pressure_falling", "pressure_high", "pressure_swings"),
    ),
    "backup": (("backup_heater_use",), ("frost_risk", "unit_stopped")),
}
"""What a check's title names besides the verdict's questions: one finding of each group must be assessed."""


def winter_checks(site: Site, result: Mapping[str, Any], days: Sequence[Day] = ()) -> list[Check]:
    """Every check of the season from a result document.

    days : rows with `flow_rate` [m3/h] and `pressure` [bar] where known, for the figures beside the check of
        the water

    A check is not in order where one of its findings asks for action, needs attention where one is to be
    watched, and is unknown where a question of the home's verdict that it asks, something that its title
    names, or all that it looks at could not be answered. Where nothing that it looks at is there, it does not
    apply.
    """
    numbers = _numbers(site, result)
    numbers["water"] = _water(site, days)
    return [_check(key, codes, site, result, numbers[key]) for key, codes in CODES.items()]


def _check(
    key: str, codes: tuple[str, ...], site: Site, result: Mapping[str, Any], numbers: tuple[Number, ...]
) -> Check:
    codes = tuple(code for code in codes if code in _LOOKED_AT)
    open_here = [n for n in result["not_assessed"] if n["code"] in codes]
    idle = [n for n in open_here if n.get("reason_code") == "not_applicable"]
    missing = {n["code"]: n["reason"] for n in open_here if n.get("reason_code") != "not_applicable"}
    found = [f for f in result["findings"] if f["code"] in codes and not f["until"]]
    grave = [f for f in found if f["severity"] in ("act", "urgent")]
    watched = [f for f in found if f["severity"] == "watch"]
    unanswered = tuple(f"{code}: {reason}" for code, reason in missing.items())
    named = tuple(f["code"] for f in (*grave, *watched))
    if key != "design_day" and not found and codes and len(idle) == len(codes):
        return Check(key, "does not apply", idle[0]["reason"])
    if key == "design_day" and not grave:
        verdict, says = _holds(site, result, bool(watched), missing)
    elif grave:
        verdict, says = "not in order", grave[0]["headline"]
    elif watched:
        verdict, says = "attention", watched[0]["headline"]
    elif (unknown := _unknown(key, codes, site, result, missing)) is not None:
        verdict, says = "can't tell", unknown
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
    return Check(key, verdict, says, (*evidence, *numbers), named, unanswered)


def _unknown(
    key: str,
    codes: tuple[str, ...],
    site: Site,
    result: Mapping[str, Any],
    missing: Mapping[str, str],
) -> str | None:
    """Reason why a check has no verdict; None if it was assessed."""
    for _matter, question, why in unanswered(site, result["not_assessed"], _LOOKED_AT):
        if why is not None and set(question.codes) & set(codes):
            return str(why["reason"])
    idle = {n["code"] for n in result["not_assessed"]} - missing.keys()
    for group in (codes, *NAMED.get(key, ())):
        applying = [c for c in group if c in _LOOKED_AT and c not in idle]
        if applying and all(c in missing for c in applying):
            return missing[applying[0]]
    return None


def _holds(
    site: Site, result: Mapping[str, Any], watched: bool, missing: Mapping[str, str]
) -> tuple[Verdict, str]:
    """Output against load at the design temperature: in order if the lower end of the interval suffices."""
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
    whole_year = site.design.spf_space is None or measured_days(result) >= WHOLE_YEAR_DAYS
    zones = [
        Number(f"time below target, {zone_name(name)}", _percent(zone["share_below_target"]), "%")
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
            Number("defrosts, at least", _unless(defrost["count"], defrost.get("count_least"))),
            Number("defrosts, at most", _unless(defrost["count"], defrost.get("count_most"))),
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
            _ranged(
                "efficiency, rooms" if whole_year else "efficiency, rooms (design: of a whole year)",
                performance["space_heating"],
                "",
                site.design.spf_space,
                design,
            ),
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
        Number("circuit pressure, median of the newest 30 days", last("pressure"), "bar"),
    )
    return tuple(n for n in numbers if n.value is not None)


def _ranged(
    label: str, estimate: Mapping[str, Any] | None, unit: str, limit: float | None = None, source: str = ""
) -> Number:
    e = estimate or {}
    return Number(
        label, e.get("value"), unit, e.get("low"), e.get("high"), limit, source if limit is not None else ""
    )


def _unless(known: float | None, value: float | None) -> float | None:
    return value if known is None else None


def _percent(share: float | None) -> float | None:
    return None if share is None else 100.0 * share
