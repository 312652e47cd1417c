"""A cylinder that began to lose more heat than it did before, at whatever its sensor reads."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.cautions import HOT_WATER
from fieldfare.analysis.expectation.hypotheses import probability_of
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.figures.change import find_change
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.grading import graded, ranked
from fieldfare.analysis.findings.model import Evidence, Finding
from fieldfare.analysis.findings.phrases import day_text
from fieldfare.analysis.findings.yearly_cost import DAYS_A_YEAR, USUAL_CHARGING_COP
from fieldfare.analysis.physics.hot_water import RATED_ROOM_C, WH_PER_LITRE_KELVIN
from fieldfare.analysis.statistics.distributions import normal_probability
from fieldfare.analysis.statistics.quantiles import nan_median, quantile

# Between bare fittings and a loop that runs day and night (common practice: 10 to 20 m of insulated pipe lose
# 7 to 12 W/m at 45 K over the room).
_LOOP_W_PER_K, _LOOP_SPREAD_W_PER_K = 3.0, 0.75
# The fifth of the days on which draws and layers add least, at its upper end.
_CALM_DAYS = 0.2
# Nearer to the room a cylinder's fall is settling layers (common practice).
_LEAST_OVER_K = 12.0


@dataclass(frozen=True)
class LossRise:
    """A step in a cylinder's standing loss.

    at : row of its first day in the days table. before, after : loss [W/K] as its sensor's fall shows it,
        layers included. lost : extra heat [kWh/day]. kwh : extra electricity of a year [kWh]. real :
        probability that the loss has risen so much that it counts [0 to 1]
    """

    at: int
    before: float
    after: float
    lost: float
    kwh: float
    real: float


def loss_rise(context: Context) -> LossRise | None:
    """The step up in the cylinder's standing loss, None where none is sure or it costs little.

    Layers and draws at one sensor hide a cylinder's own loss, but they do so in every week alike: what
    changed is the cylinder, its insulation or a loop.
    """
    plant, days = context.site.hot_water, context.days
    if plant is None or plant.cylinder_litres is None or "standing_k_per_h" not in days:
        return None
    content = plant.cylinder_litres * WH_PER_LITRE_KELVIN
    over, rate = days.floats("standing_over_k"), days.floats("standing_k_per_h")
    rows = np.flatnonzero(np.isfinite(rate) & (fill_nan(over, 0.0) >= _LEAST_OVER_K))
    if not len(rows):
        return None
    loss = rate[rows] * content / over[rows]
    number = days["day"][rows].astype("datetime64[D]").astype(np.int64)
    found = find_change(loss, over[rows][:, np.newaxis], np.ones(len(rows)), number)
    if found is None or not found.is_sure or found.size <= 0.0:
        return None
    before = nan_median(loss[: found.at])
    # Draws and layers add more on one day than on another: the calm days must show the rise too.
    calm_before, calm_after = (quantile(part, _CALM_DAYS) for part in (loss[: found.at], loss[found.at :]))
    if calm_after < (1.0 + context.limit("standing_rise_share")) * max(calm_before, 0.0):
        return None
    late = np.isin(np.arange(len(days)), rows[found.at :])
    warm = nan_median(np.where(late, days.floats("tank_mean") - _room(context), np.nan))
    least = context.limit("standing_rise_share") * max(before, 0.0)
    lost = found.size * max(warm, 0.0) * 24.0 / 1000.0
    kwh = lost * DAYS_A_YEAR / USUAL_CHARGING_COP
    real = normal_probability((found.size - least) / max(found.error, 1e-6))
    if real < context.limit("finding_chance") or kwh < context.limit("standing_rise_kwh"):
        return None
    return LossRise(int(rows[found.at]), before, before + found.size, lost, kwh, real)


def risen(context: Context, rise: LossRise) -> Finding:
    """The finding that a cylinder loses more than it did."""
    limit = context.limit
    loop = probability_of((rise.after - rise.before - _LOOP_W_PER_K) / _LOOP_SPREAD_W_PER_K)
    severity = graded(rise.kwh, limit("standing_rise_kwh"), limit("standing_rise_act_kwh"))
    more = f"it loses {rise.after - rise.before:.1f} W/K more than before"
    return Finding(
        "high_standing_loss",
        severity,
        context.days.day(rise.at).isoformat(),
        min(rise.real, limit("surest")),
        f"The cylinder loses {rise.lost:.1f} kWh a day more than it did before"
        f" {day_text(context.days.day(rise.at).isoformat())}.",
        evidence=(
            context.evidence(
                "standing loss, as the sensor's fall shows it",
                round(rise.after, 1),
                "W/K",
                "standing_rise_share",
                round(rise.before * (1.0 + limit("standing_rise_share")), 1),
            ),
            Evidence("the same before", round(rise.before, 1), "W/K"),
            context.evidence("extra electricity a year", round(rise.kwh), "kWh/year", "standing_rise_kwh"),
        ),
        causes=ranked(
            {
                "secondary_circulation": (loop, f"{more}: a loop of 10 to 20 m loses 2 to 5 W/K"),
                "insulation": (1.0 - loop, f"{more}: bare fittings or wet insulation lose 1 to 3 W/K"),
            }
        ),
        next_step=(
            "Ask what was changed at the cylinder about then. Look for a circulation pump that now runs all"
            " day or a gravity loop (time switch, check valve, local rules on Legionella), a valve that"
            " drips, and insulation that was taken off or is wet."
        ),
        caution=HOT_WATER,
        home=(
            "The hot-water cylinder cools faster than it did, which costs electricity. You don't need to do"
            " anything; your installer will check pipes and pump."
        ),
        cost_kwh=rise.kwh,
        cost_money=context.money(rise.kwh),
        visit="drive",
        bring=("pipe insulation", "check valve"),
    )


def _room(context: Context) -> np.ndarray:
    room = context.days.floats("room")
    return np.where(np.isfinite(room), room, RATED_ROOM_C)
