"""Causes of too many, too long or needless defrosts, from performance, output and spacing."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.expectation.defrost_cause import refrigerant_chance
from fieldfare.analysis.expectation.hypotheses import probability_of
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.figures.expected import learned
from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.model import Cause
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.statistics.quantiles import nan_median

_LOCK_MIN = 3.0
# A wrong sensor costs no efficiency; a circuit short of refrigerant has lost a tenth and more (common
# practice).
_SOUND = 0.94
_FEWEST_GAPS, _FEWEST_TOPS, _OFTEN_LOCKED = 20, 20, 0.5
# If the unit's efficiency is unknown.
_AS_RATED = 1.0


def rated_kw(context: Context) -> float:
    return context.site.heat_pump.rated_output_kw or 6.0


def drawn_share(defrosts: Table, rated: float) -> Floats:
    """Heat power drawn from the water over rated output [-]."""
    return defrosts["heat_taken"] / defrosts["minutes"] * 60.0 / rated


def used_wh(defrosts: Table, rated: float) -> Floats:
    """What a defrost had to melt and warm with [Wh a kilowatt rated]."""
    return (defrosts["heat_taken"] + defrosts["electricity"]) * 1000.0 / rated


def efficiency(context: Context) -> float:
    """Steady heating performance over that expected from rating and part load [-].

    As expected where it is not known.
    """
    measured = measured_efficiency(context)
    return measured if np.isfinite(measured) else _AS_RATED


def measured_efficiency(context: Context) -> float:
    """Steady heating performance over that expected from rating and part load [-]; nan where not known."""
    days = context.days
    used, want, part = (
        float(np.nansum(days.floats(f"expected_{n}steady_kwh"))) for n in ("used_", "", "part_load_")
    )
    if used < context.limit("efficiency_least_kwh") or want <= 0.0:
        return float("nan")
    gain = want / part if part > 0.0 else 1.0
    return want / used / gain ** learned(days).middle


def _top_output(context: Context) -> float:
    """Highest hourly output over the rating [-]; nan where full output was never called for."""
    top = context.days.floats("load_share_top")
    return float(np.nanquantile(top, 0.98)) if np.isfinite(top).sum() >= _FEWEST_TOPS else float("nan")


def defrost_causes(
    context: Context, here: Table, *, slow: bool, sooner: float, fell: float = np.nan
) -> tuple[Cause, ...]:
    """Slow melting: too little heat. Also low output and efficiency: refrigerant. Otherwise: air flow.

    context : of the days since it began. fell : logarithm of the efficiency over its own before [-], where
        that is known: a unit's own sound days say more than its rating
    """
    lost = np.isfinite(fell)
    share, top = float(np.exp(fell)) if lost else measured_efficiency(context), _top_output(context)
    gaps = here.floats("since_last")
    gaps = gaps[np.isfinite(gaps)]
    lock = float(np.mean(gaps <= np.quantile(gaps, 0.1) + _LOCK_MIN)) if len(gaps) >= _FEWEST_GAPS else 0.0
    refrigerant = refrigerant_chance(share, top)
    reaches = (
        f"reaches {percent(share)} of {'its own earlier' if lost else 'the expected'} performance"
        if np.isfinite(share)
        else "is not measured"
    )
    words = f"steady heating {reaches}"
    if np.isfinite(top):
        words += f" and its best hour {percent(top)} of the rated output"
    if lock > _OFTEN_LOCKED:
        words += (
            f"; {percent(lock)} of the defrosts start as soon as the unit's minimum interval ends,"
            " however little frost there is"
        )
    if slow:
        drawn = nan_median(drawn_share(here, rated_kw(context)))
        takes = f"a defrost takes {nan_median(here.floats('minutes')):.0f} minutes"
        how = (
            f" and draws only {percent(drawn)} of the rated output from the water"
            if np.isfinite(drawn)
            else ""
        )
        blocked = 0.3 if sooner <= 1.0 else 1.0
        return ranked(
            {
                "insufficient_defrost_heat": (3.0, takes + how),
                "coil_airflow": (blocked, "residual ice also blocks the air"),
                "low_refrigerant_symptom": (0.3 * refrigerant, words),
            }
        )
    near = "its own earlier" if lost else "the expected"
    sound = f"with a blocked coil, steady heating between defrosts stays near {near} performance;" + (
        f" here it reaches {percent(share)}" if np.isfinite(share) else " here it is not measured"
    )
    return ranked(
        {"low_refrigerant_symptom": (refrigerant, words), "coil_airflow": (1.0 - refrigerant, sound)}
    )


def dry_causes(context: Context, energy: float) -> tuple[Cause, ...]:
    """A wrong sensor ends a defrost almost at once and costs no efficiency; a starved coil has ice of its own
    making."""
    share, limit = efficiency(context), context.limit("defrost_coil_wh_per_kw")
    sensor = float(np.clip((limit - energy) / 4.0, -2.5, 2.5)) if np.isfinite(energy) else 0.0
    sensor += float(np.clip((share - _SOUND) / 0.06, -2.0, 2.0))
    chance = probability_of(1.3 * sensor)
    melted = "the heat used by defrosts is not measured"
    if np.isfinite(energy):
        like = (
            "little more than warming the bare coil takes"
            if energy < limit
            else "as if there were ice to melt"
        )
        melted = f"a defrost uses {energy:.0f} Wh a kilowatt rated, {like}"
    words = (
        f"a low refrigerant charge lowers performance; steady heating reaches {percent(share)} of the"
        " expected one"
    )
    return ranked({"sensor_fault": (chance, melted), "low_refrigerant_symptom": (1.0 - chance, words)})
