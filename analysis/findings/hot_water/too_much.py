"""Hot-water heat compared with the most that a dwelling can draw and its cylinder lose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.cautions import HOT_WATER, water_caution
from fieldfare.analysis.expectation.excess import Excess
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.model import Evidence, Finding, Severity, rounded
from fieldfare.analysis.findings.yearly_cost import DAYS_A_YEAR, charging_cop
from fieldfare.analysis.statistics.quantiles import nan_median


@dataclass(frozen=True)
class TooMuch:
    """Days whose heat for hot water no dwelling draws.

    kwh : of such a day, middle [kWh]. most : what a dwelling takes at most [kWh]. before : of other days
    [kWh]; nan without any. hours, hours_before : hot-water mode a day. days : how many. is_real : how far
    beyond
    """

    episode: Episode
    kwh: float
    most: float
    before: float
    hours: float
    hours_before: float
    days: int
    is_real: Excess


def most_drawn(context: Context) -> float:
    """Heat for hot water that a home takes on a day at most [kWh]: draws, circulation, standing loss."""
    limit, plant = context.limit, context.site.hot_water
    standing = (plant.standing_loss_kwh_per_day or 0.0) if plant else 0.0
    design = (context.site.design.hot_water_kwh_per_year or 0.0) / DAYS_A_YEAR
    homes = max((context.site.floor_area_m2 or 0.0) / limit("hot_water_home_m2"), 1.0)
    drawn = max(limit("hot_water_most_kwh") * homes, limit("hot_water_over_design") * design)
    return drawn + standing + limit("hot_water_loop_kwh")


def too_much_hot_water(context: Context) -> TooMuch | None:
    """The newest stretch of days with more heat for hot water than a home can take; None without one.

    Heat that neither draws nor the cylinder's losses take went somewhere else: to the rooms, past a diverter
    that does not close.
    """
    days = context.days
    if {"heat_output", "hot_water_heat"} & context.unreliable.keys() or context.site.hot_water is None:
        return None
    heat, most = days.floats("heat_hot_water_kwh"), most_drawn(context)
    known = np.isfinite(heat)
    is_over: Flags = known & (fill_nan(heat, 0.0) > most)
    episode = latest_episode(days["day"], is_over, known, hold_days=3, gone_days=14)
    if episode is None or is_over.sum() < context.limit("hot_water_most_days"):
        return None
    here = is_over & episode.covers(days["day"])
    other = known & ~episode.covers(days["day"])
    hours = days.floats("minutes_hot_water") / 60.0
    kwh = nan_median(heat[here])
    return TooMuch(
        episode,
        kwh,
        most,
        nan_median(heat[other]),
        nan_median(hours[here]),
        nan_median(hours[other]),
        int(here.sum()),
        Excess(kwh - most, context.limit("hot_water_most_error") * most),
    )


def rooms_among_hot_water(context: Context) -> str | None:
    """Why the rooms' heat is not known; None where the heat for hot water is plausible."""
    found = context.once(too_much_hot_water)
    if found is None:
        return None
    return (
        f"{found.kwh:.0f} kWh a day were counted as hot water on {found.days} days, where a home takes"
        f" {found.most:.0f} at most: heat of the rooms is among it"
    )


def more_than_drawn(context: Context, much: TooMuch) -> Finding:
    """More heat is charged than a home can draw: it reaches the heating circuit meanwhile."""
    want = context.figures.expected
    charging = charging_cop(context)
    heating = max(want.measured_space or want.space or charging, charging)
    usual = much.before if np.isfinite(much.before) else much.most
    share = much.days / max(len(context.all_days.days), 1)
    # The rooms get the heat, made as hot as the cylinder needs it.
    kwh = max(much.kwh - usual, 0.0) * (1.0 / charging - 1.0 / heating) * share * DAYS_A_YEAR
    ongoing = much.episode.until is None
    severity: Severity = "note"
    if ongoing:
        severity = "act" if much.kwh >= context.limit("hot_water_most_act") * much.most else "watch"
    return Finding(
        "diverter_passing",
        severity,
        much.episode.since,
        float(np.clip(much.is_real.probability, 0.5, context.limit("surest"))),
        f"Making hot water takes {much.kwh:.0f} kWh of heat a day, more than a home can draw: heat leaks"
        " through the diverter.",
        evidence=(
            Evidence("heat for hot water on such a day", round(much.kwh, 1), "kWh/day"),
            Evidence("what a home takes at most", round(much.most, 1), "kWh/day"),
            Evidence(
                "heat for hot water on other days",
                rounded(much.before),
                "kWh/day",
            ),
            Evidence("hot-water mode on such a day", round(much.hours, 1), "h/day"),
            Evidence(
                "hot-water mode on other days",
                rounded(much.hours_before),
                "h/day",
            ),
            context.evidence("days with it", much.days, "days", "hot_water_most_days"),
        ),
        until=much.episode.until,
        next_step=(
            "Ask whether a pool, a second cylinder or other homes are fed from it. If not, visit: feel the"
            " pipes to the radiators and to the coil in both modes; the one not in use should stay cold."
            " Check the diverter's end position, its actuator and seat, and dirt; where there are two pumps,"
            " the check valves."
        ),
        caution=f"{HOT_WATER} {water_caution(context.site)}",
        home=(
            ""
            if severity == "note"
            else (
                "A valve lets heat leak between the hot water and the heating, so the heat pump makes hot"
                " water for hours. Your installer will check the valve."
            )
        ),
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="drive" if severity != "note" else "none",
        bring=("diverter actuator and cartridge", "clamp thermometer") if severity != "note" else (),
    )
