"""Evidence for one suspected defect: figures, alternative explanations, and what rules them out.

Nothing here says that a defect is proved: readings are consistent with one, or not.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from types import MappingProxyType
from typing import Any, Literal

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.findings.limits import LIMITS, limit_of
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.alternative_findings import ALTERNATIVE_FINDINGS
from fieldfare.analysis.reports.figure_rows import figure_rows

State = Literal["named", "not_named", "found", "not_found", "open"]
"""named, not_named : a cause that the finding names, or can name and does not. found : another finding is
there too, so it is not ruled out. not_found : its check ran and found nothing. open : it could not be checked
"""
_ALWAYS = ("data_gap", "sensor_stuck", "unit_mismatch", "clock_offset")
_HEAT = ("heat_meter_disagrees", "implausible_efficiency", "meter_misplaced")
_METERS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "heat_output": _HEAT,
        "space_heat": _HEAT,
        "hot_water_heat": _HEAT,
        "heat_pump_electricity": ("implausible_efficiency", "meter_misplaced", "register_reset"),
        "flow_temperature": ("flow_return_swapped", "heat_meter_disagrees"),
        "return_temperature": ("flow_return_swapped", "heat_meter_disagrees"),
        "flow_rate": ("heat_meter_disagrees",),
        "outdoor_temperature": ("outdoor_sensor_biased",),
    }
)
"""Quantity -> findings about the data that would say that its readings are wrong."""
SHOWN_BY: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "short_cycling": ("cycling.starts_per_running_hour", "cycling.median_run_minutes"),
        "excessive_defrost": ("defrost.per_frost_hour", "defrost.share_of_heat"),
        "defrost_without_frost": ("defrost.count", "defrost.median_minutes"),
        "flow_temperature_above_curve": ("heating_curve.above_design_k",),
        "flow_temperature_below_curve": ("heating_curve.above_design_k",),
        "no_weather_compensation": ("heating_curve.slope",),
        "backup_heater_use": ("energy.electricity_kwh.backup_heater",),
        "immersion_use": ("energy.electricity_kwh.immersion",),
        "high_standby": ("energy.electricity_kwh.idle",),
        "pump_always_on": ("energy.electricity_kwh.circulation_pump",),
        "efficiency_below_expected": ("performance.space_heating", "performance.hot_water"),
        "efficiency_fell": ("performance.space_heating", "performance.hot_water"),
        "performance_below_promise": ("performance.H4", "performance.H3", "performance.H2"),
        "electricity_above_expected": ("energy.electricity_kwh.total",),
        "heat_loss_above_design": ("heat_loss.ratio",),
        "heat_loss_below_design": ("heat_loss.ratio",),
        "capacity_short": ("capacity.margin",),
        "slow_reheat": ("hot_water.median_reheat_minutes",),
        "hot_water_shortfall": ("hot_water.minutes_below_40c_per_week",),
        "high_standing_loss": ("hot_water.standing_loss_kwh_per_day",),
        "data_gap": ("coverage.share",),
    }
)
"""Finding -> figures that show how far from it a home is."""


@dataclass(frozen=True)
class Alternative:
    """Something else that could explain the readings.

    kind : cause, finding, meter, days or source (another heat source, a cascade). state : of State. because :
    in words. figures : names of figures (figure_rows) that show it. weight : of a named cause. source : where
    it is published that the two look alike
    """

    kind: Literal["cause", "finding", "meter", "days", "source"]
    code: str
    state: State
    because: str = ""
    figures: tuple[str, ...] = ()
    weight: float | None = None
    source: str = ""


def finding_of(site: Site, result: Mapping[str, Any], code: str) -> dict[str, Any]:
    """The finding of a result by its code. Raises InputError that names those there are."""
    for finding in result["findings"]:
        if finding["code"] == code:
            return dict(finding)
    days = f"{result['period']['from']} to {result['period']['to']}"
    there = ", ".join(f["code"] for f in result["findings"]) or "none"
    why = next((n["reason"] for n in result["not_assessed"] if n["code"] == code), "")
    message = f"{site.id} has no finding {code[:60]!r} in {days}; found there: {there}"
    raise InputError(f"{message}; {code} was not assessed: {why}" if why else message)


def alternatives(
    result: Mapping[str, Any], finding: Mapping[str, Any], reads: Iterable[str], causes: Iterable[str]
) -> list[Alternative]:
    """What else could explain a finding, and whether the readings rule it out.

    reads : quantities that the finding rests on. causes : that it can tell apart
    """
    named = {c["cause"]: c for c in finding["causes"]}
    out = [Alternative("cause", c, "named", named[c]["because"], (), named[c]["weight"]) for c in named]
    out += [Alternative("cause", c, "not_named") for c in causes if c not in named]
    checks: list[tuple[Literal["finding", "meter"], str]] = [
        ("finding", code) for code in ALTERNATIVE_FINDINGS.get(finding["code"], ())
    ]
    meters = dict.fromkeys((*_ALWAYS, *(code for q in sorted(reads) for code in _METERS.get(q, ()))))
    checks += [("meter", code) for code in meters if code != finding["code"]]
    known = {row["name"] for row in figure_rows(result) if row["value"] is not None}
    for kind, code in checks:
        state, because = _checked(result, code)
        figures = tuple(name for name in SHOWN_BY.get(code, ()) if name in known)
        source = ALTERNATIVE_FINDINGS[finding["code"]][code] if kind == "finding" else ""
        out.append(Alternative(kind, code, state, because, figures, source=source))
    for r in result["recognised"]:
        out.append(Alternative("days", r["kind"], "not_found", f"{r['since']} to {r['until']}: {r['words']}"))
    return out + _sources(result)


def _sources(result: Mapping[str, Any]) -> list[Alternative]:
    """Other heat sources and further units, as the site file has them: what they do may be the readings'."""
    out = []
    for s in (result.get("other_heat") or {}).get("sources", ()):
        heat = result["other_heat"]["heat_kwh"]
        amount = f"it gave {heat:.0f} kWh of heat" if heat is not None else "its heat is not metered"
        out.append(Alternative("source", s["kind"], "open", f"serves {', '.join(s['serves'])}; {amount}"))
    if units := result.get("units"):
        out.append(
            Alternative(
                "source", "cascade", "open", f"{len(units)} heat pumps share the load; each one's own figures"
            )
        )
    return out


def _checked(result: Mapping[str, Any], code: str) -> tuple[State, str]:
    """Whether another finding is there, and in what words."""
    for finding in result["findings"]:
        if finding["code"] == code:
            return "found", finding["headline"]
    for missing in result["not_assessed"]:
        if missing["code"] == code:
            return "open", missing["reason"]
    return "not_found", ""


def evidence_rows(site: Site, finding: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The numbers behind a finding, each with its limit by name and where that comes from."""
    rows = []
    for e in finding["evidence"]:
        limit = LIMITS.get(e.get("limit_name") or "")
        source = limit.source if limit is not None else ""
        if limit is not None and e["limit_name"] in site.limits:
            source = f"set for this home; else {limit.default:g}, {limit.source}"
        rows.append({**e, "source": source})
    return rows


def limit_rows(site: Site, names: Iterable[str]) -> list[dict[str, Any]]:
    """Limits by name: the value that holds at this home, unit, meaning and source."""
    return [
        {
            "name": name,
            "value": limit_of(site, name),
            "default": LIMITS[name].default,
            "unit": LIMITS[name].unit,
            "trouble": LIMITS[name].side,
            "meaning": LIMITS[name].meaning,
            "source": LIMITS[name].source,
        }
        for name in names
    ]


def as_rows(found: Iterable[Alternative]) -> list[dict[str, Any]]:
    """Alternatives as plain rows."""
    return [asdict(a) | {"figures": list(a.figures)} for a in found]
