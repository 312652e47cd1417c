"""Flow, return, volume flow and pressure of the heating circuit by day, in relevant minutes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.circuit_pressure import pressure_columns
from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments, held_for
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.operating_state import (
    HEATING,
    HOT_WATER,
    OFF,
    within,
)
from fieldfare.analysis.minutes.rolling import window_mean
from fieldfare.analysis.plant.site import HEAT_QUANTITIES
from fieldfare.analysis.statistics.quantiles import median

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

NO_FLOW_M3_H = 0.03
"""Flow below which nothing circulates: the resolution of usual meters."""
# By then a stopped unit's residual heat is removed (common practice).
_PASSED_MIN = 10
_WATER = ("flow_rate", "flow_temperature", "return_temperature")
# Heat meter reading at a difference of 0.1 to 0.3 K and a usual flow.
_QUIET_W = 400.0
_CALM_K = 0.5


def circuit_columns(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Columns of the days table, described in `columns/water.py`."""
    grid, use = minutes.grid, minutes.use
    flow, back = grid.gauge("flow_temperature"), grid.gauge("return_temperature")
    beyond, beyond_back = (grid.gauge(f"distribution_{q}_temperature") for q in ("flow", "return"))
    rate = grid.gauge("flow_rate")
    steady = held_for(use.code == HEATING, 5)
    hot = held_for(use.code == HOT_WATER, 5)
    outdoor = grid.gauge("outdoor_temperature")
    pressure = grid.gauge("system_pressure")
    weight = np.where(steady & np.isfinite(flow), fill_nan(minutes.heat, 0.0).clip(min=0.0), 0.0)
    total = day.sum(weight)
    by_heat = np.divide(
        day.sum(np.where(weight > 0, weight * flow, 0.0)),
        total,
        out=np.full(len(day), np.nan),
        where=total > 0,
    )
    coldest = np.fmin(flow, back)
    still = (fill_nan(rate, 0.0) < NO_FLOW_M3_H) if grid.has("flow_rate") else ~use.running
    check_meter, check_flow = minutes.balance.metered_heat, minutes.balance.flow_heat
    out: dict[str, object] = {
        "minutes_steady": day.count(steady),
        "flow": day.mean(flow, steady),
        "flow_by_heat": by_heat,
        "return": day.mean(back, steady),
        "lift": day.mean(flow - back, steady),
        "outdoor_steady": day.mean(outdoor, steady),
        "curve": day.mean(minutes.curve, steady),
        "above_curve": day.mean(flow - minutes.curve, steady),
        "target_flow": day.mean(grid.gauge("target_flow_temperature"), use.code == HEATING),
        "target_above_curve": day.mean(
            grid.gauge("target_flow_temperature") - minutes.curve, use.code == HEATING
        ),
        "flow_rate": day.mean(rate, steady),
        "flow_rate_hot_water": day.mean(rate, hot),
        "beyond_flow": day.mean(beyond, steady),
        "buffer_drop": day.mean(flow - beyond, steady),
        "beyond_lift": day.mean(beyond - beyond_back, steady),
        "minutes_beyond": day.count(steady & np.isfinite(flow - beyond)),
        "heat_power": day.mean(minutes.heat * 60.0, steady),
        "heat_power_max": _best_hour(minutes, day),
        "speed": day.mean(grid.gauge("compressor_speed"), steady),
        "minutes_full_speed": day.count(fill_nan(grid.gauge("compressor_speed"), 0.0) > 97.0),
        "pressure": _middle(day, pressure),
        "pressure_min": day.least(pressure),
        **pressure_columns(day, pressure, (flow + back) / 2.0, use.code == HOT_WATER),
        "water_min": day.least(np.where(outdoor < 2.0, coldest, np.nan)),
        "minutes_near_freezing": day.count(
            (fill_nan(coldest, 99.0) < 3.0) & still & (fill_nan(outdoor, 9.0) < 1.0)
        ),
        "flow_in_hot_water": day.mean(beyond, hot),
    }
    if (
        check_meter is not None
        and check_flow is not None
        and check_meter is not check_flow
        and minutes.balance.heat_basis != "flow_product"
    ):
        # Sparse readings can't show which minutes were steady; over whole runs samples and sums agree.
        compared = within(use.running, round(grid.spacing["flow_rate"])) if grid.nearest else (steady | hot)
        both = compared & np.isfinite(check_meter) & np.isfinite(check_flow)
        out["check_meter"] = day.sum(np.where(both, check_meter, 0.0)) / 1000.0
        out["check_flow"] = day.sum(np.where(both, check_flow, 0.0)) / 1000.0
        out["check_volume"] = day.sum(np.where(both, fill_nan(rate, 0.0), 0.0)) / 60.0
        # Far from a start or a stop the flow and the difference stand still between two readings.
        both &= _deep_in_runs(minutes)
        out["core_meter"] = day.sum(np.where(both, check_meter, 0.0)) / 1000.0
        out["core_flow"] = day.sum(np.where(both, check_flow, 0.0)) / 1000.0
        out["core_volume"] = day.sum(np.where(both, fill_nan(rate, 0.0), 0.0)) / 60.0
    if check_flow is not None:
        # Water through a resting unit keeps its temperature: the difference of the two sensors is their
        # offset. While the circuit still cools, the downstream one is warmer.
        quiet = np.abs(flow - np.concatenate((np.full(_PASSED_MIN, np.nan), flow[:-_PASSED_MIN]))) < _CALM_K
        if check_meter is not None and minutes.balance.heat_basis != "flow_product":
            quiet &= np.abs(fill_nan(check_meter, np.inf)) * 60.0 < _QUIET_W
        passing = held_for((use.code == OFF) & quiet, _PASSED_MIN) & (fill_nan(rate, 0.0) > NO_FLOW_M3_H)
        out["pair_offset"] = day.mean(flow - back, passing)
        out["minutes_passing"] = day.count(passing)
    return out


def _deep_in_runs(minutes: Minutes) -> Flags:
    """Minutes of one use throughout, two readings of water and heat after its start and before its end."""
    grid, code = minutes.grid, minutes.use.code
    apart = max(grid.spacing.get(q, 1.0) for q in (*_WATER, *HEAT_QUANTITIES))
    reach = max(_PASSED_MIN, 2 * round(apart))
    out = np.zeros(len(grid), dtype=np.bool_)
    for use in (HEATING, HOT_WATER):
        on = code == use
        out |= held_for(on, reach) & held_for(on[::-1], reach)[::-1]
    return out


def _best_hour(minutes: Minutes, day: Segments) -> Floats:
    """Greatest mean heat over any whole hour that starts in the day and is known throughout [W].

    The compressor runs all through it: an hour with rests shows the load, not what the unit can give.
    """
    heat = np.where(minutes.use.running, minutes.heat * 60.0, np.nan)
    return day.greatest(window_mean(heat, 0, 60, least=60))


def _middle(day: Segments, values: Floats) -> Floats:
    out = np.full(len(day), np.nan)
    if np.isfinite(values).any():
        for i, (a, b) in enumerate(zip(day.start, day.end, strict=True)):
            known = values[a:b][np.isfinite(values[a:b])]
            if len(known):
                out[i] = median(known)
    return out
