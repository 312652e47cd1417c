"""Decreased heat transfer of the cylinder's coil.

The water in the coil stands over the cylinder by what the coil needs to pass the heat. At equal heat and flow
a coil that scales or fills with air needs more, and the unit works at a hotter flow for the same hot water,
whether or not its control lets the charge take longer. A coil that was too small, or scaled, from the first
day shows no change: it is compared with what coils are laid out for.
"""

from __future__ import annotations

import math

import numpy as np

from fieldfare.analysis.cautions import HOT_WATER
from fieldfare.analysis.expectation.reheat import COIL_OVER_K, U_COIL
from fieldfare.analysis.expectation.uncertain import Lognormal
from fieldfare.analysis.facts.table import Table, fill_nan, group_by_day
from fieldfare.analysis.figures.change import DetectedChange, find_change
from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.model import Cause, Evidence, Finding, Severity
from fieldfare.analysis.findings.phrases import day_text, percent
from fieldfare.analysis.findings.yearly_cost import per_year, share_spared
from fieldfare.analysis.statistics.distributions import normal_probability
from fieldfare.analysis.statistics.quantiles import nan_median

_FEWEST_CHARGES = 6
# A cylinder's sensor sits above the coil and reads this much else than the water about it (common practice).
_SENSOR_K = 1.5
# Less heat is the end of a charge; more than that from the immersion heater warms the sensor by itself.
_LEAST_KW, _HELPED_KWH = 0.5, 0.1
# A cylinder's sensor that moved in its pocket changes at once, as air does; scale grows (common practice).
_COIL_AT_ONCE, _COIL_SLOWLY = 0.7, 0.9


def coil_changed(context: Context, reheats: Table) -> Finding | None:
    """Certain and relevant rise of coil water above cylinder temperature at equal heat; else None.

    reheats : whole charges
    """
    day, over, conditions = _by_day(context, reheats)
    found = find_change(over, conditions, np.ones(len(over)), day)
    watch = context.limit("coil_rise_k")
    if found is None or not found.is_sure or found.size < watch:
        return None
    if float(np.median(over[: found.at])) < _SENSOR_K:
        return None  # less than the sensor can tell is no baseline: no coil passes its heat at that
    if _flow_fell(context, reheats, day, found):
        return None  # with less flow the inlet is hotter, which is due to the flow
    return _finding(context, found, day, over)


def coil_poor(context: Context, reheats: Table, approach: Floats) -> Finding | None:
    """Coil water far more above the cylinder temperature than a coil sized for this unit needs; else None.

    reheats : whole charges. approach : float64 (n,) [K], mean coil water over the cylinder at rated output
    """
    limit, over = context.limit, reheats.floats("over_cylinder")
    usable = np.isfinite(approach) & (reheats.floats("heat_end") > _LEAST_KW)
    usable &= fill_nan(over, 0.0) >= limit("coil_least_difference_k")
    share = reheats.floats("flow_rate") / (context.site.heat_pump.flow_m3_per_h or np.nan)
    usable &= ~(share < limit("reheat_flow_share"))
    if "immersion" in reheats:
        usable &= ~(reheats.floats("immersion") > _HELPED_KWH)
    if usable.sum() < _FEWEST_CHARGES:
        return None
    seen = nan_median(approach[usable])
    if seen < limit("coil_approach_watch"):
        return None
    measured = nan_median((over - reheats.floats("lift") / 2.0)[usable])
    usual = Lognormal(COIL_OVER_K, math.hypot(U_COIL, _SENSOR_K / max(measured, _SENSOR_K)))
    spared = share_spared(measured * (1.0 - COIL_OVER_K / seen))
    kwh = per_year(context.days.total("electricity_hot_water_kwh") * spared, len(context.days))
    severity: Severity = "watch" if kwh >= limit("coil_rise_kwh") else "note"
    why = f"the coil's water stands {measured:.0f} K over the cylinder with the flow as it should be"
    return Finding(
        "slow_reheat",
        severity,
        np.datetime_as_string(reheats["day"][usable][0], unit="D").item(),
        min(normal_probability(usual.score(seen)), limit("surest")),
        f"The cylinder's coil passes little heat: at full output its water would stand {seen:.0f} K over the"
        f" cylinder; {usual.low:.0f} to {usual.high:.0f} K are expected.",
        evidence=(
            context.evidence(
                "coil water over the cylinder, at rated output", round(seen, 1), "K", "coil_approach_watch"
            ),
            Evidence("expected, 95 % interval", f"{usual.low:.0f} to {usual.high:.0f}", "K"),
            Evidence("coil water over the cylinder, as measured", round(measured, 1), "K"),
            context.evidence(
                "flow while charging over nominal", nan_median(share[usable]), "-", "reheat_flow_share"
            ),
            Evidence("electricity of hot water more by it", percent(spared)),
            Evidence("charges compared", int(usable.sum()), "reheats"),
        ),
        causes=_causes(why, _COIL_SLOWLY),
        next_step=(
            "Visit: vent the coil, check that the cylinder's sensor sits in its pocket, measure flow and"
            " return at the cylinder; compare the coil's area with the unit's output, and descale it if the"
            " water is hard."
        ),
        caution=HOT_WATER,
        home=(
            ""
            if severity == "note"
            else "Heating the hot water takes more electricity than it should. Your installer will check the"
            " cylinder."
        ),
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="drive" if severity != "note" else "none",
        bring=("descaler and pump", "thermometer pair") if severity != "note" else (),
    )


def _by_day(context: Context, reheats: Table) -> tuple[np.ndarray, Floats, Floats]:
    """Day numbers, mean coil water over the cylinder at the charges' ends [K], and heat, flow, weather and
    end."""
    power = reheats.floats("heat_end")
    over = reheats.floats("over_cylinder") - reheats.floats("lift") / 2.0
    # Heat leaves the coil only where its water is the hotter one: a sensor hotter than that sits in another
    # layer, or the unit had stopped, and the charge says nothing about the coil.
    usable = (fill_nan(over, -1.0) > 0.0) & (power > _LEAST_KW)
    if "immersion" in reheats:
        usable &= ~(reheats.floats("immersion") > _HELPED_KWH)
    mine = reheats.where(usable)
    days = context.days["day"]
    columns = [
        group_by_day(days, mine["day"], values, "median")
        for values in (over[usable], mine.floats("heat_end"), mine.floats("outdoor"), mine.floats("to_c"))
    ]
    known = np.isfinite(np.column_stack(columns)).all(axis=1)
    number = (days - np.datetime64(0, "D")) // np.timedelta64(1, "D")
    return number[known], columns[0][known], np.column_stack([c[known] for c in columns[1:]])


def _flow_fell(context: Context, reheats: Table, day: np.ndarray, found: DetectedChange) -> bool:
    began = np.datetime64(int(day[found.at]), "D")
    flow, late = reheats.floats("flow_rate"), reheats["day"] >= began
    before, after = nan_median(flow[~late]), nan_median(flow[late])
    return bool(after < context.limit("reheat_flow_share") * before)


def _finding(context: Context, found: DetectedChange, day: np.ndarray, over: Floats) -> Finding:
    limit, days = context.limit, context.days
    since = str(np.datetime64(int(day[found.at]), "D"))
    later = days["day"] >= np.datetime64(since)
    used = float(np.nansum(days.floats("electricity_hot_water_kwh")[later]))
    kwh = per_year(used * share_spared(found.size), int(later.sum()))
    severity: Severity = "watch" if kwh >= limit("coil_rise_kwh") else "note"
    slides = found.kind == "slide"
    why = f"at equal heat the coil's water stands {found.size:.0f} K hotter over the cylinder, " + (
        f"come over {found.days} days"
        if slides
        else "from one day to the next, as with air or a moved sensor"
    )
    weight = _COIL_SLOWLY if slides else _COIL_AT_ONCE
    real = normal_probability((found.size - limit("coil_rise_k") / 2.0) / max(found.error, 1e-9))
    return Finding(
        "slow_reheat",
        severity,
        since,
        min(real * weight if not slides else real, limit("surest")),
        f"Since about {day_text(since)} a reheat needs water {found.size:.0f} K hotter for the same heat.",
        evidence=(
            context.evidence(
                "rise of the coil's water over the cylinder, at equal heat",
                round(found.size, 1),
                "K",
                "coil_rise_k",
            ),
            Evidence("its standard uncertainty", round(found.error, 1), "K"),
            Evidence(
                "coil's water over the cylinder before", round(float(np.median(over[: found.at])), 1), "K"
            ),
            Evidence("electricity of hot water more by it", percent(share_spared(found.size))),
        ),
        causes=_causes(why, weight),
        next_step=(
            "Visit: vent the coil, check that the cylinder's sensor sits in its pocket, measure flow and"
            " return at the cylinder; descale coil or plate exchanger if the water is hard."
        ),
        caution=HOT_WATER,
        home=(
            ""
            if severity == "note"
            else "Heating the hot water takes more electricity than it used to. Your installer will check the"
            " cylinder."
        ),
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="drive" if severity != "note" else "none",
        bring=("descaler and pump", "thermometer pair") if severity != "note" else (),
    )


def _causes(why: str, weight: float) -> tuple[Cause, ...]:
    return ranked(
        {"coil_or_scale": (weight, why), "flow_low": (1.0 - weight, "the flow is not known to be as before")}
    )
