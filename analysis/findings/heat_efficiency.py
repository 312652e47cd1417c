"""Is the unit worse than its own rating says at the same temperatures?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import erf

import numpy as np

from analysis.errors import NotAssessed
from analysis.facts.minutes import rated
from analysis.facts.table import Table
from analysis.figures.performance import coarse
from analysis.findings.context import Context, Need, Rule
from analysis.findings.heat_change import sure_drop
from analysis.findings.model import Evidence, Finding, Severity
from analysis.findings.operation_common import heating_year, refrigerant_caution

# One standard deviation. Rating: a unit may be 8 % under its declared figure in a check (Reg. (EU) 813/2013 Table 8),
# taken as two of them. Flow hotter than any rated point, or no rated point at all: how far curves of units lie apart
# (second-law efficiencies of 0.38 to 0.45 in reference 8). Electricity: class B (EN 50470).
_RATING, _BEYOND, _UNRATED, _ELECTRICITY = 0.04, 0.06, 0.10, 0.01
_PART_LOAD = 0.06  # inverters gain, on-off units lose by about so much at part load (EN 14825 tests)
_FULL_HOURS, _FULL_KWH = 4.0, 8.0
_SEES_FULL_MIN = 10.0
_BEFORE_DAYS = 21


@dataclass(frozen=True)
class _Ratio:
    """measured over rated efficiency [-] with its standard deviation, and in which minutes it was seen"""

    value: float
    spread: float
    where: str
    hours: float
    at_full: bool


def efficiency_below_expected(context: Context) -> Finding | None:
    return _judged(context, _before_a_drop(context))


def _before_a_drop(context: Context) -> Context:
    """Only the days before a sure drop of efficiency, where there are enough: the drop is a finding of its own."""
    day = sure_drop(context)
    if day is None or day < _BEFORE_DAYS:
        return context
    days = context.days
    return replace(context, facts=context.facts.between(days.day(0), days.day(day - 1)))


def _judged(whole: Context, context: Context) -> Finding | None:
    days = context.days
    if days.total("xe_space") + days.total("xe_hot_water") < _FULL_KWH:
        raise NotAssessed(
            "needs heat, the unit's electricity, flow and outdoor temperature together, and more of them"
        )
    meter = _meter_error(context)
    overall = _overall(context, meter)
    full = _near_full(context, meter)
    chosen = full or overall
    limit = context.limit
    watch = limit("efficiency_watch") if chosen.at_full else limit("efficiency_overall_watch")
    severity: Severity = "note"
    # It must be beyond what meter and rating explain, and it must cost something over the whole period.
    certain = _below(chosen, 0.97)
    if chosen.value > (limit("efficiency_note") if chosen.at_full else watch) or overall.value > 1.05:
        return None
    if chosen.value <= watch and certain > 0.9:
        severity = "act" if chosen.value <= limit("efficiency_act") else "watch"
    if certain < 0.8:
        return None
    used = whole.days.total("e_heat_pump")
    kwh = max(1.0 - chosen.value, 0.0) * used * heating_year(whole)
    since, until = days.day(0).isoformat(), None
    short = 1.0 - chosen.value
    return Finding(
        "efficiency_below_expected", severity, since, certain,
        f"The heat pump is {short:.0%} less efficient than its own rating at the same temperatures.",
        evidence=(
            Evidence(f"measured efficiency over rated, {chosen.where}", round(chosen.value, 3), "-", watch),
            Evidence("its standard uncertainty", round(chosen.spread, 3), "-"),
            Evidence("hours compared", round(chosen.hours), "h"),
            Evidence("measured over rated, all running", round(overall.value, 3), "-"),
            Evidence("rating", rated(context.site).basis),
        ),
        next_step=(
            "Rule out the meter first: compare heat with flow rate times temperature difference, and the class and place of both meters. "
            "Then visit: coil and air path, fan, water flow, defrosts, oil or quiet modes; have the refrigerant circuit checked by a licensed person."
            if severity != "note" else
            "Within what meters and a rating may be off; keep an eye on it and compare next month."
        ),
        caution=refrigerant_caution(context.site) if severity != "note" else "", until=until,
        home=(
            "" if severity == "note" else
            "The heat pump uses more electricity than it should for the heat it gives. It keeps working; your installer will find out why."
        ),
        cost_kwh=kwh, cost_money=context.money(kwh), visit="none" if severity == "note" else "drive",
        bring=() if severity == "note" else ("clamp thermometer", "power meter", "coil cleaning kit"),
    )  # fmt: skip


def _meter_error(context: Context) -> float:
    """Standard uncertainty of heat over electricity by the meters' classes [-]."""
    days = context.days
    heat = max(days.total("q_total"), 1e-9)
    limit = float(np.hypot(days.total("q_flow_error"), days.total("q_pair_error"))) / heat
    return float(np.hypot(limit / np.sqrt(3.0), _ELECTRICITY))


def _overall(context: Context, meter: float) -> _Ratio:
    days = context.days
    value = (days.total("x_space") + days.total("x_hot_water")) / (
        days.total("xe_space") + days.total("xe_hot_water")
    )
    rating = _UNRATED if not context.site.heat_pump.rating else _RATING
    spread = value * float(np.sqrt(meter**2 + rating**2 + _PART_LOAD**2))
    return _Ratio(value, spread, "all running", days.total("n_running") / 60.0, False)


def _near_full(context: Context, meter: float) -> _Ratio | None:
    """Heating and hot water near full output, where ratings are measured, each weighed by how well it can be told."""
    days, rating = context.days, context.site.heat_pump.rating
    # A quarter hour's mean power against its last temperatures mixes the starts in: full output is not seen there.
    if coarse(days, "heat_pump_electricity", _SEES_FULL_MIN):
        return None
    hottest = max((p.flow_c for p in rating), default=0.0)
    parts = []
    for name, flow in (("full", _flow(days, "flow_by_heat")), ("full_hot", _reheat_flow(context))):
        hours = float(np.nansum(days.floats(f"n_{name}"))) / 60.0
        used, want = (float(np.nansum(days.floats(f"{p}_{name}"))) for p in ("xe", "x"))
        if hours < _FULL_HOURS or used < _FULL_KWH:
            continue
        value = want / used
        known = _UNRATED if not rating else float(np.hypot(_RATING, _BEYOND if flow > hottest + 5.0 else 0.0))
        parts.append((value, value * known, hours))
    if not parts:
        return None
    weight = np.array([1.0 / p[1] ** 2 for p in parts])
    value = float(np.average([p[0] for p in parts], weights=weight))
    # Heating and hot water share the rating's and the meters' error: no gain from having both.
    spread = float(np.hypot(min(p[1] for p in parts), meter * value))
    return _Ratio(value, spread, "near full output", sum(p[2] for p in parts), True)


def _flow(days: Table, name: str) -> float:
    values = days.floats(name)
    return float(np.nanquantile(values, 0.9)) if np.isfinite(values).any() else 45.0


def _reheat_flow(context: Context) -> float:
    reheats = context.facts.reheats
    return reheats.median("flow_end") if reheats.knows("flow_end") else 55.0


def _below(ratio: _Ratio, limit: float) -> float:
    """How sure the true ratio is below a limit."""
    z = (limit - ratio.value) / max(ratio.spread, 1e-6)
    return float(np.clip(0.5 * (1.0 + erf(z / np.sqrt(2.0))), 0.0, 0.99))


RULES = (
    Rule(
        "efficiency_below_expected", efficiency_below_expected,
        (
            Need(("heat_output", "space_heat", "flow_rate"), 60.0, 14),
            Need(("heat_pump_electricity",), 60.0),
            Need(("outdoor_temperature",), 60.0),
            Need(("flow_temperature",), 60.0),
        ),
        frozenset({"heat_output", "space_heat", "hot_water_heat", "heat_pump_electricity", "outdoor_temperature", "flow_temperature"}),
    ),
)  # fmt: skip
