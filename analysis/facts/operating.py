"""Operation by day: idle power, idle circulation, and steadiness of the flow."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.load_factor import target_flow_of
from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments, held_for
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.grid import Grid
from fieldfare.analysis.minutes.operating_state import (
    DEFROST,
    HEATING,
    HOT_WATER,
    OFF,
)
from fieldfare.analysis.minutes.rolling import window_mean
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.quantiles import median, quantile

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_NO_FLOW_M3_H = 0.03
_NO_PUMP_W = 4.0
_SETTLED_MIN = 15
# Water that a unit with demand would reheat: far below the target flow temperature, and most of
# the way back to the room. A call starts the compressor before (common practice: 3 to 6 K below).
_BELOW_ASKED_K, _FALLEN_BACK = 6.0, 0.4
_RESTING_MIN = 30
# EN 14825 ends the heating season at 16 °C outdoors; a kelvin for the sensor and the damping. Water so close
# to the room gives it nothing (two sensors' error).
_WARM_C, _DAY_MIN, _NOTHING_GIVEN_K = 17.0, 1440, 3.0
_USUAL_ROOM_C = 20.0
# Controls circulate water for frost protection below about this outdoor temperature; not idle pumping.
_FROST_GUARD_C = 3.0
# Electricity alone gives at most its own energy as heat; twice as much must come from a compressor. Controls
# draw less than 50 W (common practice).
_HEAT_PUMPED, _BEYOND_CONTROLS_W = 2.0, 50.0
# The hour with the lowest power is standby, if the unit rested that long.
_HOUR_MIN = 60


def operating_columns(site: Site, minutes: Minutes, day: Segments) -> dict[str, object]:
    """Columns of the days table, described in `columns/operation.py`."""
    grid, use = minutes.grid, minutes.use
    out: dict[str, object] = {}
    outdoor = grid.gauge("outdoor_temperature")
    rate = grid.gauge("flow_rate")
    unit = minutes.balance.heat_pump
    if unit is not None:
        blur = int(np.ceil(grid.spacing.get("heat_pump_electricity", 1.0)))
        off = (use.code == OFF) & ~_gives_heat(minutes.heat, unit)
        calm = (
            held_for(off, _SETTLED_MIN + 2 * blur) & held_for(off[::-1], blur + 1)[::-1] & np.isfinite(unit)
        )
        still = calm & np.isfinite(rate) & (fill_nan(rate, 0.0) < _NO_FLOW_M3_H)
        # A register that counts in steps shows now none and now several: only their mean is the power.
        middle = Segments.mean if grid.step.get("heat_pump_electricity", 0.0) > 0.0 else _middle
        out["minutes_calm"], out["rest_power"] = day.count(calm), middle(day, unit * 60.0, calm)
        out["minutes_still"], out["still_power"] = day.count(still), middle(day, unit * 60.0, still)
        out["lowest_hour"] = _lowest_hour(unit * 60.0, day)
    heating = (use.code == HEATING) | (use.code == DEFROST)
    warm = heating & (fill_nan(outdoor, -9.0) >= 15.0)
    out["minutes_heating_warm"] = day.count(warm)
    out["heat_heating_warm_kwh"] = day.sum(np.where(warm, fill_nan(minutes.heat, 0.0), 0.0)) / 1000.0
    out |= _unasked(minutes, day, rate, outdoor)
    steady = held_for((use.code == HEATING) | (use.code == HOT_WATER), 5) & np.isfinite(rate)
    if steady.any():
        out["flow_rate_top"] = _top(day, rate, steady)
        lag = max(1, round(grid.spacing.get("flow_rate", 1.0)))
        out["flow_jitter"] = _jitter(day, rate, steady, lag)
    return out


def _gives_heat(heat: Floats, unit: Floats) -> Flags:
    """Minutes with too little power for a run but too much for a rest, such as a heater in the casing.

    Readings blur runs that are shorter than their spacing to a little power.
    """
    drawn = fill_nan(unit, 0.0)
    return np.asarray((drawn * 60.0 > _BEYOND_CONTROLS_W) & (fill_nan(heat, 0.0) > _HEAT_PUMPED * drawn))


def _lowest_hour(power: Floats, day: Segments) -> Floats:
    """Lowest mean over any whole hour that is completely known [W]."""
    return day.least(window_mean(power, 0, _HOUR_MIN, least=_HOUR_MIN))


def _unasked(minutes: Minutes, day: Segments, rate: Floats, outdoor: Floats) -> dict[str, object]:
    grid, use = minutes.grid, minutes.use
    pump = minutes.balance.circulation_pump
    by_power = pump is not None and grid.spacing.get("circulation_pump_electricity", 99.0) <= 10.0
    if not by_power and not (grid.has("flow_rate") and grid.spacing["flow_rate"] <= 10.0):
        return {}
    resting = held_for(use.code == OFF, _RESTING_MIN)
    call = grid.gauge("heat_call")
    if np.isfinite(call).any():
        unasked = resting & held_for(np.isfinite(call) & (call < 0.5), _SETTLED_MIN)
    else:
        flow, target_flow = grid.gauge("flow_temperature"), target_flow_of(minutes)
        room = grid.gauge("room_temperature")
        room = np.where(np.isfinite(room), room, _USUAL_ROOM_C)
        way = np.maximum(target_flow - room, 3.0)
        cooled = (flow - room < _FALLEN_BACK * way) & (target_flow - flow > _BELOW_ASKED_K)
        unasked = resting & np.isfinite(flow) & np.isfinite(target_flow) & cooled
        unasked |= resting & (flow - room < _NOTHING_GIVEN_K) & _too_warm_to_heat(grid, outdoor)
    unasked &= fill_nan(outdoor, 9.0) > _FROST_GUARD_C
    if by_power:
        assert pump is not None
        known, on = np.isfinite(pump), fill_nan(pump, 0.0) * 60.0 > _NO_PUMP_W
    else:
        known, on = np.isfinite(rate), fill_nan(rate, 0.0) > _NO_FLOW_M3_H
    out: dict[str, object] = {
        "minutes_unasked": day.count(unasked & known),
        "minutes_unasked_pumped": day.count(unasked & known & on),
    }
    if by_power:
        assert pump is not None
        out["unasked_pump_power"] = day.mean(pump * 60.0, unasked & on)
    return out


def _too_warm_to_heat(grid: Grid, outdoor: Floats) -> Flags:
    """Days above any heating limit with rooms at set temperature: no heating needed, whatever the curve's
    target flow."""
    room, wish = grid.gauge("room_temperature"), grid.gauge("target_room_temperature")
    wish = np.where(np.isfinite(wish), wish, _USUAL_ROOM_C)
    warm = window_mean(outdoor, _DAY_MIN, 0, least=_DAY_MIN // 2) >= _WARM_C
    return np.asarray(warm & (room >= wish), dtype=np.bool_)


def _middle(day: Segments, values: Floats, where: Flags) -> Floats:
    out = np.full(len(day), np.nan)
    for i, (a, b) in enumerate(zip(day.start, day.end, strict=True)):
        mine = values[a:b][where[a:b]]
        if len(mine):
            out[i] = median(mine)
    return out


def _top(day: Segments, values: Floats, where: Flags) -> Floats:
    out = np.full(len(day), np.nan)
    for i, (a, b) in enumerate(zip(day.start, day.end, strict=True)):
        mine = values[a:b][where[a:b]]
        if len(mine) >= 30:
            out[i] = quantile(mine, 0.9)
    return out


def _jitter(day: Segments, rate: Floats, steady: Flags, lag: int) -> Floats:
    """Usual change between readings `lag` minutes apart over the mean, as standard deviation of one reading.

    Uses the median change, so that circuit changes and opening valves don't count.
    """
    change = np.full(len(rate), np.nan)
    both = steady[lag:] & steady[:-lag]
    change[lag:][both] = np.abs(rate[lag:] - rate[:-lag])[both]
    mean = day.mean(rate, steady)
    spread = 1.4826 / np.sqrt(2.0) * _middle(day, change, np.isfinite(change))
    return np.divide(spread, mean, out=np.full(len(day), np.nan), where=mean > 0.05)
