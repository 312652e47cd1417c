"""Design and measurement side by side."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.design_ratios import WHOLE_YEAR_DAYS, measured_days
from fieldfare.dashboards.rows.days import Row, known
from fieldfare.dashboards.rows.sources import source_rows
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.promise import promise_remark

_NEAR_K = 3.0  # a day's mean must be this close to a temperature to represent it (common practice)
_LONGEST_YEAR_DAYS = 400  # a year and some weeks: a longer total is not annual


class Side(NamedTuple):
    """One line: name, design value, measured value, remark. is_key : one of the few that come first"""

    what: str
    designed: str
    measured: str
    remark: str
    is_key: bool = False


def two_sides(site: Site, result: dict[str, Any], rows: list[Row]) -> list[Side]:
    """Quantities with both design and measured values; a reason if nothing was measured.

    Annual design figures are compared with a measured year only; a shorter span has a remark instead.
    """
    sides = [
        *_heat(site, result, rows),
        *_performance(site, result),
        *_water(site, result, rows),
        *_hot_water(site, result),
        *(Side(what, "–", text, "") for what, text in source_rows(result)),
    ]
    return [s for s in sides if s.designed != "–" or s.measured not in ("–", "")]


def _coldest(rows: list[Row]) -> float | None:
    """Mean outdoor temperature of the coldest measured day [°C]."""
    return min((float(r["outdoor"]) for r in known(rows, "outdoor")), default=None)


def _carried_on(at: float | None, rows: list[Row]) -> str:
    """Remark that a figure was extrapolated from milder days, with their temperature; empty if not."""
    coldest = _coldest(rows)
    if at is None or coldest is None or coldest <= at + _NEAR_K:
        return ""
    return f"carried on from days of {words.degrees(round(coldest, 1))} and milder, not measured"


def _heat(site: Site, result: dict[str, Any], rows: list[Row]) -> list[Side]:
    loss, capacity, design = result["heat_loss"], result["capacity"], site.design
    at = f" at {words.degrees(design.outdoor_c)}" if design.outdoor_c is not None else ""
    ratio = loss["ratio"]
    remark = (
        f"{words.share(ratio['value'])} of the design"
        if ratio and ratio["value"] is not None
        else loss["reason"] or ""
    )
    heat, water = (result["energy"]["heat_kwh"].get(k) for k in ("space_heating", "hot_water"))
    by_rating = capacity["output_at_design_kw"] is not None and capacity.get("basis") != "measured"
    margin = capacity["margin"]
    if loss["heat_loss_kw"] and (carried := _carried_on(design.outdoor_c, rows)):
        remark = f"{remark}; {carried}" if remark else carried
    output = words.interval(capacity["output_at_design_kw"], "kW", 1)
    times = (
        f"{words.interval(margin, '', 2)} times the load with hot water"
        if margin and margin["value"] is not None
        else ""
    )
    # Do not repeat the reason of the line above.
    reason = capacity["reason"] if capacity["reason"] != loss["reason"] else ""
    rated = f"by its rating {output}, not measured" if by_rating else ""
    out = [
        Side(
            f"Heat loss{at}",
            words.measure(design.heat_loss_kw, "kW", 1),
            words.interval(loss["heat_loss_kw"], "kW", 1),
            remark,
            is_key=True,
        ),
        Side(
            f"Heat pump's output{at}",
            words.measure(site.heat_pump.rated_output_kw, "kW (rated)", 1),
            "–" if by_rating else output,
            "; ".join(filter(None, (rated, times or reason))),
        ),
        Side(
            "Heat to rooms",
            words.measure(design.space_heat_kwh_per_year, "kWh a year", 0),
            words.measure(heat, "kWh", 0),
            _span(design.space_heat_kwh_per_year, result) if heat is not None else "",
        ),
    ]
    if site.hot_water is not None:
        out.append(
            Side(
                "Heat to hot water",
                words.measure(design.hot_water_kwh_per_year, "kWh a year", 0),
                words.measure(water, "kWh", 0),
                _span(design.hot_water_kwh_per_year, result) if water is not None else "",
            )
        )
    return out


def _span(designed: float | None, result: dict[str, Any], *, total: bool = True) -> str:
    """Remark on comparing a figure of these days with an annual one. total : grows with the days"""
    days = measured_days(result)
    if days >= WHOLE_YEAR_DAYS and not (total and days > _LONGEST_YEAR_DAYS):
        return "a full year"
    text = f"{words.span(round(days))} measured"
    return text if designed is None else f"{text}: not comparable with a year's figure"


def mean_outdoor(rows: list[Row]) -> str:
    """Mean outdoor temperature of the days as text; empty if not measured."""
    outdoor = [r["outdoor"] for r in known(rows, "outdoor")]
    return words.measure(sum(outdoor) / len(outdoor), "°C", 1) if outdoor else ""


def _performance(site: Site, result: dict[str, Any]) -> list[Side]:
    p, design = result["performance"], site.design
    out = []
    for name, designed, key in (
        ("Efficiency, rooms", design.spf_space, "space_heating"),
        ("Efficiency, hot water", design.spf_hot_water, "hot_water"),
    ):
        measured = words.interval(p[key], "", 2)
        span = _span(designed, result, total=False) if designed and measured != "–" else ""
        remark = p["reasons"].get(key, "") or promise_remark(result, key) or span
        out.append(Side(name, words.number(designed, 1) if designed else "–", measured, remark))
    expected = p["expected"]
    best = next((b for b in ("H4", "H3", "H2", "H1") if (p[b] or {}).get("value") is not None), None)
    if best:
        rated = f"{words.number(expected['value'], 2)} (by its rating)" if expected else "–"
        # beside a promise that is kept it reads as its contrary
        promised = expected and (design.spf_space or design.spf_hot_water)
        remark = "the rating at the temperatures that occurred, not the promise" if promised else ""
        out.append(
            Side(f"Efficiency, all ({best})", rated, words.interval(p[best], "", 2), remark, is_key=True)
        )
    return out


def _water(site: Site, result: dict[str, Any], rows: list[Row]) -> list[Side]:
    curve = result["heating_curve"]
    out = []
    if site.heating_curve is not None or curve["fitted"]:
        designed = "–"
        if site.heating_curve is not None:
            cold = site.heating_curve.points[0]
            designed = f"{words.degrees(cold[1])} at {words.degrees(cold[0])}"
        fitted = curve["fitted"]
        measured, carried = _measured_flow(fitted, rows) if fitted else ("–", "")
        above = curve["above_design_k"]
        remark = curve["reason"] or ""
        if above is not None:
            remark = (
                f"{words.measure(abs(above), 'K', 1)} {'above' if above >= 0 else 'below'} the curve on"
                " average"
            )
        if curve["compensating"] is False:
            remark += "; does not follow the weather"
        if carried:
            remark = f"{remark}; {carried}" if remark else carried
        out.append(Side("Flow temperature", designed, measured, remark, is_key=True))
    flows = [r["flow_rate"] for r in known(rows, "flow_rate")]
    out.append(
        Side(
            "Water flow",
            words.measure(site.heat_pump.flow_m3_per_h, "m3/h", 2),
            words.measure(sum(flows) / len(flows), "m3/h", 2) if flows else "–",
            "",
            is_key=True,
        )
    )
    cycling = result["cycling"]
    if cycling["median_run_minutes"] is not None:
        out.append(
            Side(
                "Typical run",
                "–",
                words.quantity(cycling["median_run_minutes"], "min", 0),
                f"{words.number(cycling['starts'], 0)} starts",
            )
        )
    return out


def _measured_flow(fitted: list[list[float]], rows: list[Row]) -> tuple[str, str]:
    """Flow temperature at the coldest measured weather, with a remark on the curve's cold end."""
    cold, flow = fitted[0]
    carried = _carried_on(cold, rows)
    coldest = _coldest(rows)
    if not carried or coldest is None:
        return f"{words.measure(flow, '°C', 0)} at {words.degrees(cold)}", ""
    at = round(coldest)
    there = float(curve_at([(float(x), float(y)) for x, y in fitted], np.array([at]))[0])
    remark = f"{words.measure(flow, '°C', 0)} at {words.degrees(cold)} {carried}"
    return f"{words.measure(there, '°C', 0)} at {words.degrees(at)}", remark


def _by_day(result: dict[str, Any]) -> str:
    """Remark that a cylinder loses more outside the measured hours, if a finding says so."""
    found = next(
        (f for f in result["findings"] if f["code"] == "high_standing_loss" and not f["until"]), None
    )
    if found is None:
        return "Between draws, mostly at night"
    return f"Between draws, mostly at night; finding: {words.named(words.small_first(found['headline']))}"


def _hot_water(site: Site, result: dict[str, Any]) -> list[Side]:
    plant, water = site.hot_water, result["hot_water"]
    if plant is None:
        return []
    reasons = water["reasons"]
    out = [
        Side(
            "Cylinder's standing loss, quiet hours",
            words.measure(plant.standing_loss_kwh_per_day, "kWh a day", 2),
            words.measure(water["standing_loss_kwh_per_day"], "kWh a day", 2),
            reasons.get("standing_loss_kwh_per_day", "") or _by_day(result),
        ),
        Side(
            "Water at 40 °C when full",
            (
                f"{words.measure(plant.cylinder_litres, 'l', 0)} at {words.degrees(plant.setpoint_c)}"
                if plant.cylinder_litres
                else "–"
            ),
            words.measure(water["litres_at_40c_when_full"], "l", 0),
            reasons.get("litres_at_40c_when_full", ""),
            is_key=True,
        ),
    ]
    if plant.pasteurise_c is not None:
        out.append(
            Side(
                "Thermal disinfection",
                f"{words.degrees(plant.pasteurise_c)} every {words.span(plant.pasteurise_every_days)}",
                f"last reached {words.day(water['last_pasteurised'])}" if water["last_pasteurised"] else "–",
                reasons.get("last_pasteurised", ""),
            )
        )
    return out
