"""Is the unit worse than its own rating says at the same temperatures?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from fieldfare.analysis.cautions import refrigerant_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.efficiency_odds import chance_of_shortfall
from fieldfare.analysis.expectation.part_load import Strength
from fieldfare.analysis.facts.minutes import rated
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.figures.expected import START_MINUTES, learned
from fieldfare.analysis.figures.performance import coarse
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.data.flow_product import (
    flow_spacing,
    is_heat_from_flow,
    mean_lift,
    pair_offset,
)
from fieldfare.analysis.findings.defrost.causes import rated_kw
from fieldfare.analysis.findings.grading import in_doubt
from fieldfare.analysis.findings.heat.efficiency_change import sure_drop
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.findings.yearly_cost import heating_year
from fieldfare.analysis.minutes.balance import HEAT_SEEN_BY
from fieldfare.analysis.physics.metering import combine, electricity_meter_mpe, standard_uncertainty
from fieldfare.analysis.plant.site import HEAT_QUANTITIES
from fieldfare.analysis.statistics.distributions import GAUSS_95, normal_probability

# One standard deviation. Rating: a unit may be 8 % under its declared figure in a check (Reg. (EU) 813/2013
# Table 8), taken as two of them. Flow hotter than any rated point: how far curves of one unit lie apart
# (second-law efficiencies of 0.38 to 0.45 in a published test). No rated point at all: how far units lie
# apart (0.35 to 0.50, common practice). Starts, defrosts and the mix of temperatures in all running: as much
# as what is counted for starts (common practice).
_RATING, _BEYOND, _UNRATED, _RUNNING = 0.04, 0.06, 0.14, 0.025
# Air and water sensors within 1 K, each kelvin of lift worth 2 to 3 % (common practice). Ratings are measured
# with water: antifreeze takes 1 to 3 % in the exchanger (common practice).
_TEMPERATURES, _ANTIFREEZE = 0.015, 0.02
# A charge of the cylinder is never steady: its temperatures rise all along (common practice).
_CHARGING = 0.05
_HOTTER_K, _BLURRED = 5.0, 0.7


@dataclass(frozen=True)
class _View:
    """One way to see measured over expected efficiency: a kind of running.

    value : measured over expected [-], with the usual part of the part-load gain. gain : mean gain of part
    load by the model [-]. plain : measured over rated, without it [-]. own : standard uncertainty of the
    logarithm by what this kind of running alone leaves open, part load apart [-]. doubt : of the share of the
    gain [-]
    """

    name: str
    value: float
    gain: float
    plain: float
    own: float
    doubt: float
    hours: float

    @property
    def spread(self) -> float:
        return float(np.hypot(self.own, self.doubt * np.log(self.gain)))


@dataclass(frozen=True)
class _Ratio:
    """measured over expected efficiency [-] with its standard deviation, and in which minutes it was seen

    gain : mean gain of part load by the model [-]. plain : measured over rated, without it [-]
    """

    value: float
    spread: float
    where: str
    hours: float
    gain: float
    plain: float


def efficiency_below_expected(context: Context) -> Finding | None:
    return _judged(context, _before_a_drop(_without_heater(context)))


def _without_heater(context: Context) -> Context:
    """Only the days too warm for a back-up heater that the unit's meter counts and no other meter shows."""
    site, bivalent = context.site, context.site.design.bivalent_c
    inside = site.includes("heat_pump_electricity", "backup_heater")
    if bivalent is None or not inside or site.measures("backup_heater_electricity"):
        return context
    warm = fill_nan(context.days.floats("outdoor_min"), -99.0) > bivalent
    return replace(context, facts=replace(context.facts, days=context.days.where(warm)))


def _before_a_drop(context: Context) -> Context:
    """Only the days before a certain efficiency drop, which is a separate finding."""
    day = sure_drop(context)
    if day is None or day < context.limit("efficiency_before_days"):
        return context
    days = context.days
    return replace(context, facts=context.facts.between(days.day(0), days.day(day - 1)))


def _judged(whole: Context, context: Context) -> Finding | None:
    days, limit = context.days, context.limit
    if days.total("expected_used_space_kwh") + days.total("expected_used_hot_water_kwh") < limit(
        "efficiency_least_kwh"
    ):
        raise NotAssessed(
            "needs more readings of heat, the unit's electricity, flow and outdoor temperature at the"
            " same time",
            "missing_quantity",
        )
    strength = learned(days)
    meter = _meter_error(context)
    chosen = _joined(context, [_overall(context, strength), *_near_full(context, strength)], meter)
    # Beyond what meter, rating and part-load model explain, and of a size that matters.
    below = normal_probability((limit("efficiency_sound") - chosen.value) / max(chosen.spread, 1e-6))
    if chosen.value > limit("efficiency_note") or below < limit("efficiency_chance_note"):
        return None
    certain = min(chance_of_shortfall(chosen.value, chosen.spread / chosen.value), limit("surest"))
    if chosen.value > limit("efficiency_watch"):
        return _finding(whole, context, chosen, strength, certain, "note")
    if certain < limit("efficiency_chance"):
        return in_doubt(context, _finding(whole, context, chosen, strength, certain, "note"))
    severity: Severity = "act" if chosen.value <= limit("efficiency_act") else "watch"
    return _finding(whole, context, chosen, strength, certain, severity)


def _finding(
    whole: Context, context: Context, chosen: _Ratio, strength: Strength, certain: float, severity: Severity
) -> Finding:
    days = context.days
    used = whole.days.total("electricity_heat_pump_kwh")
    kwh = max(1.0 - chosen.value, 0.0) * used * heating_year(whole)
    short, low, high = (
        1.0 - chosen.value,
        *(chosen.value + side * GAUSS_95 * chosen.spread for side in (-1.0, 1.0)),
    )
    basis = "its own rating" if context.site.heat_pump.rating else "a usual unit of its size"
    loaded = "" if chosen.gain < 1.005 else " and part load"
    return Finding(
        "efficiency_below_expected",
        severity,
        days.day(0).isoformat(),
        certain,
        (
            f"The heat pump is {percent(short)} less efficient than {basis} predicts at the same"
            f" temperatures{loaded}."
        ),
        evidence=(
            context.evidence(
                f"measured efficiency over expected, {chosen.where}",
                round(chosen.value, 3),
                "-",
                "efficiency_watch",
            ),
            Evidence("its 95 % interval", f"{low:.2f} to {high:.2f}", "-"),
            context.evidence(
                "probability of a fault rather than meters, rating and part load",
                round(certain, 2),
                "-",
                "efficiency_chance",
            ),
            Evidence("hours compared", round(chosen.hours), "h"),
            Evidence(
                "part-load gain included in the expected efficiency",
                round(chosen.gain**strength.middle, 3),
                "-",
            ),
            Evidence("measured over rated, without part-load gain", round(chosen.plain, 3), "-"),
            Evidence("rating", rated(context.site).basis),
        ),
        next_step=(
            f"Rule out the meters first: {_check_of(context)} Then visit: coil and air path, fan, water flow,"
            " defrosts, oil or quiet modes; have the refrigerant circuit checked by a licensed person."
            if severity != "note"
            else "Within the tolerance of meters and rating; compare again next month."
        ),
        caution=refrigerant_caution(context.site) if severity != "note" else "",
        home=(
            ""
            if severity == "note"
            else (
                "The heat pump uses more electricity than it should for the heat it gives. Your"
                " installer will find out why."
            )
        ),
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="none" if severity == "note" else "drive",
        bring=() if severity == "note" else ("clamp thermometer", "power meter", "coil cleaning kit"),
    )


def _check_of(context: Context) -> str:
    """How to check the heat that was measured, with what the home has."""
    if is_heat_from_flow(context):
        return (
            "heat is calculated here from flow rate and two temperatures; compare both sensors with contact"
            " thermometers, and check the electricity meter's class and place."
        )
    beside = "compare heat with flow rate times temperature difference, and check"
    return f"{beside if flow_spacing(context.days) else 'check'} the class and place of both meters."


def _meter_error(context: Context) -> float:
    """Standard uncertainty of heat over electricity by the meters' classes [-]."""
    days = context.days
    heat = max(days.total("heat_total_kwh"), 1e-9)
    pair = days.total("heat_pair_error_kwh") / heat
    if (zeroed := context.once(_pair_zeroed)) is not None:
        pair = zeroed.left
    limit = float(np.hypot(days.total("heat_flow_error_kwh") / heat, pair))
    # A meter without a class is no better than the poorest class.
    electricity = max(
        electricity_meter_mpe(p.meter_class if p.meter_class in ("B", "C") else "A")
        for p in context.site.points_of("heat_pump_electricity")
    )
    return float(combine(*standard_uncertainty([limit, electricity])))


class _Zeroed(NamedTuple):
    """offset : of the two water sensors at rest, over their difference in heating [-]. left : what is not
    known of it, likewise"""

    offset: float
    left: float


def _pair_zeroed(context: Context) -> _Zeroed | None:
    """Offset of the two water sensors where heat is calculated from them; None where it is not known, or a
    heat meter has a pair of its own."""
    if not is_heat_from_flow(context):
        return None
    (offset, left), lift = pair_offset(context.all_days.days), mean_lift(context.days)
    if offset is None or not lift > 0.0:
        return None
    return _Zeroed(offset / lift, 2.0**0.5 * left / lift)


def _joined(context: Context, views: list[_View], meter: float) -> _Ratio:
    """Several kinds of running as one ratio, weighted by certainty.

    Meter and rating err alike in all of them, and so does what nobody knows of this unit's part load: only
    what each leaves open by itself grows less.
    Source: GUM (JCGM 100), 5.2: correlated input quantities.
    """
    weight = np.array([1.0 / max(v.spread, 1e-6) ** 2 for v in views])
    weight /= weight.sum()
    rating = _RATING if context.site.heat_pump.rating else _UNRATED
    own = float(np.sqrt(sum((w * v.own) ** 2 for w, v in zip(weight, views, strict=True))))
    part_load = float(sum(w * v.doubt * np.log(v.gain) for w, v in zip(weight, views, strict=True)))
    value, gain, plain = (
        float(np.exp(np.dot(weight, np.log([max(x, 1e-6) for x in each]))))
        for each in ([v.value for v in views], [v.gain for v in views], [v.plain for v in views])
    )
    if (zeroed := context.once(_pair_zeroed)) is not None:
        value, plain = value * (1.0 - zeroed.offset), plain * (1.0 - zeroed.offset)
    fluid = _ANTIFREEZE if context.site.heat_pump.antifreeze != "none" else 0.0
    parts = (own, part_load, meter, rating, _TEMPERATURES, fluid)
    spread = value * float(combine(*parts))
    return _Ratio(value, spread, ", ".join(v.name for v in views), views[0].hours, gain, plain)


def _overall(context: Context, strength: Strength) -> _View:
    """All running: the rating with what part load gains and starts take."""
    days = context.days
    x, part, used = (_both(days, f"expected{part}") for part in ("", "_part_load", "_used"))
    if _mostly_charges(context):
        raise NotAssessed(
            "too little space heating: cylinder charges alone can't be compared fairly with a rating",
            "too_few_days",
        )
    gain = x / part if part > 0.0 else 1.0
    starts = days.total("starts") * START_MINUTES / max(days.total("minutes_running"), 1.0)
    doubt = strength.spread
    if coarse(days, "heat_pump_electricity", context.limit("efficiency_sees_load_min")):
        doubt = max(doubt, _BLURRED)  # means of runs and rests look like part load
    pump = pump_inside_kw(context) * days.total("minutes_running") / 60.0 / used
    value = x / used / gain**strength.middle * (1.0 + starts + pump)
    own = float(np.sqrt(_RUNNING**2 + (starts / 2.0) ** 2 + (pump / 2.0) ** 2))
    hours = days.total("minutes_running") / 60.0
    return _View("all operation", value, gain, x / used, own, doubt, hours)


def _mostly_charges(context: Context) -> bool:
    """Most of the running that is compared charged the cylinder."""
    return bool(
        context.days.total("expected_used_hot_water_kwh")
        > context.limit("efficiency_hot_running") * _both(context.days, "expected_used")
    )


def pump_inside_kw(context: Context) -> float:
    """Usual power of a circulation pump that the unit's meter contains and no other meter shows [kW]; 0
    without one."""
    site = context.site
    inside = site.includes("heat_pump_electricity", "circulation_pump")
    if not inside or site.measures("circulation_pump_electricity"):
        return 0.0
    return context.limit("pump_inside_w_per_kw") * rated_kw(context) / 1000.0


def _both(days: Table, name: str) -> float:
    """Space heating's and hot water's together [kWh], 0 where unknown."""
    return float(
        np.nansum(days.floats(f"{name}_space_kwh")) + np.nansum(days.floats(f"{name}_hot_water_kwh"))
    )


def _near_full(context: Context, strength: Strength) -> list[_View]:
    """Heating and hot water near full output, where ratings are measured and part load says little."""
    days, rating, limit = context.days, context.site.heat_pump.rating, context.limit
    # Readings minutes apart mix the starts in, and the steps of their registers look like full output.
    apart = limit("efficiency_sees_full_min")
    if coarse(days, "heat_pump_electricity", apart) or all(coarse(days, q, apart) for q in HEAT_SEEN_BY):
        return []
    hottest = max((p.flow_c for p in rating), default=0.0)
    views = []
    for name, flow, what, moving in (
        ("full", _flow(days, "flow_by_heat"), "heating near full output", _RUNNING),
        ("full_hot", _reheat_flow(context), "charges near full output", _CHARGING),
    ):
        hours = float(np.nansum(days.floats(f"minutes_{name}"))) / 60.0
        used, want, part = (
            float(np.nansum(days.floats(f"expected_{p}{name}_kwh"))) for p in ("used_", "", "part_load_")
        )
        if hours < limit("efficiency_full_hours") or used < limit("efficiency_least_kwh"):
            continue
        gain = want / part if part > 0.0 else 1.0
        beyond = _BEYOND if rating and flow > hottest + _HOTTER_K else 0.0
        value = want / used / gain**strength.middle
        own = float(np.hypot(beyond, moving))
        views.append(_View(what, value, gain, want / used, own, strength.spread, hours))
    return views


def _flow(days: Table, name: str) -> float:
    values = days.floats(name)
    return float(np.nanquantile(values, 0.9)) if np.isfinite(values).any() else 45.0


def _reheat_flow(context: Context) -> float:
    reheats = context.facts.reheats
    return reheats.median("flow_end") if reheats.knows("flow_end") else 55.0


RULES = (
    Rule(
        "efficiency_below_expected",
        efficiency_below_expected,
        (
            Need(HEAT_SEEN_BY, 60.0, 14),
            Need(("heat_pump_electricity",), 60.0),
            Need(("outdoor_temperature",), 60.0),
            Need(("flow_temperature",), 60.0),
        ),
        frozenset({*HEAT_QUANTITIES, "heat_pump_electricity", "outdoor_temperature", "flow_temperature"}),
    ),
)
