"""Runs, defrosts and reheats: one row per event."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.event_columns import (
    DEFROST_COLUMNS,
    REHEAT_COLUMNS,
    RUN_COLUMNS,
    dated,
    empty,
)
from fieldfare.analysis.facts.minutes import WATER_ON_ITS_WAY_MIN, Minutes, coldest_room
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.minutes.grid import Grid
from fieldfare.analysis.minutes.operating_state import (
    COOLING,
    DEFROST,
    HEATING,
    HOT_WATER,
    UNKNOWN,
    USE_UNKNOWN,
)
from fieldfare.analysis.minutes.rolling import run_begins
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Sparser readings can't show a run or a defrost. Quarter hours show a lower bound of runs.
COARSEST_FOR_RUNS_MIN = 15.0
COARSEST_FOR_DEFROSTS_MIN = 2.0
COARSEST_SIGNAL_MIN = 5.0
"""A unit's own signal sampled so far apart shows most defrosts, not their length or heat: they last 2 to 10
minutes (common practice)."""
# Without demand, controls show no target or one near the room's; a unit starts 3 to 6 K below
# its target (common practice).
LEAST_ASKED_FLOW_C, SHORT_FLOW_K = 24.0, 6.0
_DAY_MIN = 1440
# Cooling of a full cylinder: once its layers have settled, for half an hour; a quarter shows a leak (common
# practice). Less flow than the last is a meter's unrest.
_SETTLES_MIN, _COOLING_MIN, _LEAST_COOLING_MIN, _LEAST_PAUSE_MIN, _PASSES_M3_H = 10, 30, 15, 6, 0.05
_ROOM_MIN = 5


def runs_table(site: Site, minutes: Minutes) -> Table:
    """Every compressor run.

    start [ms], day, minutes, use (code of most minutes), minutes_heating, minutes_hot_water, minutes_defrost,
    defrosts, heat and electricity [kWh], expected [kWh at the unit's rating], outdoor, flow, flow_start,
    flow_end, flow_max, return, return_start, return_end, lift [K], flow_rate [m3/h], flow_after [m3/h, six to
    ten minutes after the end, nan where the next run has begun], rise [K/min over the first minutes],
    target_flow, speed [%], pause [minutes at rest before], pause_called, pause_flow_short, pause_mode_on [of
    them, with a room's call, with the flow 6 K or more below what is asked for, with a mode that says it
    works; nan where not measured], room_excess [K above target at the end], room_start, room_end [°C, the
    coldest zone, five minutes before the start and the end], ended_by (call, unit, use, unknown), cut (True
    where the data begin or end inside it)
    """
    grid, use = minutes.grid, minutes.use
    segments = Segments.of(use.running)
    if not len(segments) or use.running_spacing > COARSEST_FOR_RUNS_MIN:
        return empty(RUN_COLUMNS)
    heating, water = use.code == HEATING, use.code == HOT_WATER
    defrost = use.code == DEFROST
    flow, back = grid.gauge("flow_temperature"), grid.gauge("return_temperature")
    power = minutes.balance.heat_pump if minutes.balance.heat_pump is not None else minutes.electricity
    expected = np.where(minutes.heat > 0, minutes.heat / minutes.rated_cop, 0.0)
    counts = {"heating": segments.count(heating), "hot_water": segments.count(water)}
    use_unknown = segments.count(use.code == USE_UNKNOWN)
    most = np.where(counts["hot_water"] > counts["heating"], HOT_WATER, HEATING)
    most = np.where(segments.count(use.code == COOLING) > segments.minutes / 2, COOLING, most)
    most = np.where(use_unknown > counts["hot_water"] + counts["heating"], USE_UNKNOWN, most)
    steady = use.running & ~defrost
    lift = flow - back
    columns = {
        "start": grid.time[segments.start],
        "minutes": segments.minutes,
        "use": most.astype(np.int8),
        "minutes_heating": counts["heating"],
        "minutes_hot_water": counts["hot_water"],
        "minutes_defrost": segments.count(defrost),
        "defrosts": segments.count(run_begins(defrost)),
        "heat": segments.sum(minutes.heat) / 1000.0,
        "electricity": segments.sum(power) / 1000.0,
        "expected": segments.sum(expected) / 1000.0,
        "outdoor": segments.mean(grid.gauge("outdoor_temperature")),
        "flow": segments.mean(flow, steady),
        "flow_start": segments.first(flow),
        "flow_end": segments.last(flow),
        "flow_max": segments.greatest(flow),
        "return": segments.mean(back, steady),
        "return_start": segments.first(back),
        "return_end": segments.last(back),
        "lift": segments.mean(lift, steady),
        "flow_rate": segments.mean(grid.gauge("flow_rate"), steady),
        "flow_after": _after(segments, grid.gauge("flow_rate"), grid.spacing.get("flow_rate", 1.0)),
        "rise": _rise(segments, flow),
        "target_flow": segments.mean(grid.gauge("target_flow_temperature"), steady),
        "speed": segments.mean(grid.gauge("compressor_speed"), steady),
        "pause": np.concatenate(([np.nan], (segments.start[1:] - segments.end[:-1]).astype(np.float64))),
        **_demand_before(grid, segments),
        "room_excess": segments.last(grid.gauge("room_temperature") - grid.gauge("target_room_temperature")),
        **_room_about(minutes, segments),
        "ended_by": _ended_by(minutes, segments),
        "cut": _cut(use.code == UNKNOWN, segments, len(grid)),
    }
    return dated(columns, minutes)


def _rise(segments: Segments, flow: Floats) -> Floats:
    """Rate of the flow temperature from the second to the sixth minute [K/min], after the initial dip."""
    return (segments.first(flow, 6) - segments.first(flow, 2)) / 4.0


def _after(segments: Segments, rate: Floats, spacing: float) -> Floats:
    """Flow rate from the sixth to the tenth minute after each end, after the pump overrun.

    Readings more than two minutes apart blur the stop by twice their spacing.
    """
    n = len(rate)
    blur = 0 if spacing <= 2.0 else int(2.0 * spacing)
    begin, end = np.minimum(segments.end + 6 + blur, n), np.minimum(segments.end + 10 + blur, n)
    after = Segments(begin, end).mean(rate)
    following = np.append(segments.start[1:], n)
    return np.where(following > segments.end + 10 + blur, after, np.nan)


def _room_about(minutes: Minutes, segments: Segments) -> dict[str, Floats]:
    """The coldest zone's temperature just before each run begins, and just before it ends [°C]."""
    room = coldest_room(minutes)
    before = Segments(np.maximum(segments.start - _ROOM_MIN, 0), segments.start)
    last = Segments(np.maximum(segments.end - _ROOM_MIN, segments.start), segments.end)
    return {"room_start": before.mean(room), "room_end": last.mean(room)}


def _demand_before(grid: Grid, segments: Segments) -> dict[str, Floats]:
    """Minutes with heat demand in the pause before each run, by each measured sign."""
    before = Segments(segments.end[:-1], segments.start[1:])
    call, target_flow, mode = (
        grid.gauge(q) for q in ("heat_call", "target_flow_temperature", "operating_mode")
    )
    signs = {
        "pause_called": (call > 0.5, call),
        "pause_flow_short": (is_flow_short(grid), target_flow),
        "pause_mode_on": (np.isin(np.round(fill_nan(mode, 0.0)), (HEATING, HOT_WATER)), mode),
    }
    none = np.full(len(segments), np.nan)
    return {
        name: (
            np.concatenate(([np.nan], before.count(flags).astype(np.float64)))
            if np.isfinite(observed).any()
            else none
        )
        for name, (flags, observed) in signs.items()
    }


def is_flow_short(grid: Grid) -> Flags:
    """Minutes with a target flow temperature and water 6 K or more below it."""
    target_flow, flow = grid.gauge("target_flow_temperature"), grid.gauge("flow_temperature")
    is_demanded = fill_nan(target_flow, 0.0) >= LEAST_ASKED_FLOW_C
    return np.asarray(is_demanded & (fill_nan(flow, 99.0) < target_flow - SHORT_FLOW_K))


def _ended_by(minutes: Minutes, segments: Segments) -> NDArray[np.object_]:
    """What ended each run: the end of the room's call, a change of use, or the unit itself."""
    grid = minutes.grid
    code = minutes.use.code
    call = grid.gauge("heat_call")
    n = len(grid)
    # A briefly interrupted call also ends a run: check the minutes around
    # the end.
    reach = 4 + int(grid.spacing.get("heat_call", 0.0))
    about = Segments(np.maximum(segments.end - reach, 0), np.minimum(segments.end + 2, n))
    lowest = about.least(call)
    last_use = code[np.maximum(segments.end - 1, 0)]
    out = np.full(len(segments), "unknown", dtype=object)
    out[lowest > 0.5] = "unit"
    out[lowest <= 0.5] = "call"
    out[last_use == HOT_WATER] = "use"
    return out


def _cut(unknown: Flags, segments: Segments, n: int) -> Flags:
    at_edge = (segments.start == 0) | (segments.end == n)
    before = unknown[np.maximum(segments.start - 1, 0)]
    after = unknown[np.minimum(segments.end, n - 1)]
    return at_edge | before | after


def defrosts_table(minutes: Minutes, frost: Callable[[], dict[str, Floats]]) -> Table:
    """Every defrost.

    start [ms], day, minutes, heat_taken [kWh from the water], electricity [kWh], outdoor, humidity, frosting
    (could the air frost a coil in the hour before), frost_known, since_last [minutes of running since the
    last one, nan where that is more than a day ago], frost_kg [the most frost that can have settled since
    then, or in the day before where the last one is older], frost_usual_kg [what is expected to have
    settled], during (use it interrupted)
    Where only a signal sampled every five minutes shows them, some are missed, minutes is the reading's, and
    heat_taken and electricity are nan.
    """
    grid, use = minutes.grid, minutes.use
    defrost = use.code == DEFROST
    segments = Segments.of(defrost)
    segments = segments.where(segments.minutes >= 1)
    signal = min(grid.spacing.get(q, 99.0) for q in ("defrost_active", "operating_mode"))
    by_heat = min(grid.spacing.get(q, 99.0) for q in ("heat_output", "flow_rate", "flow_temperature"))
    fine = min(signal, by_heat) <= COARSEST_FOR_DEFROSTS_MIN
    if not len(segments) or not (fine or signal <= COARSEST_SIGNAL_MIN):
        return empty(DEFROST_COLUMNS)
    power = minutes.balance.heat_pump if minutes.balance.heat_pump is not None else minutes.electricity
    after = Segments(segments.start, np.minimum(segments.end + WATER_ON_ITS_WAY_MIN, len(grid)))
    hour = Segments(np.maximum(segments.start - 60, 0), segments.start)
    worked = np.cumsum(use.running & ~defrost)
    done = worked[segments.start]
    # A day's facts look one day back: an older defrost does not count.
    near = np.diff(segments.start, prepend=-(10**9)) <= _DAY_MIN
    begin = np.where(near, np.append(0, segments.start[:-1]), np.maximum(segments.start - _DAY_MIN, 0))
    between = Segments(begin, segments.start)
    growth, known = frost(), 1.0 if fine else np.nan
    columns = {
        "start": grid.time[segments.start],
        "minutes": segments.minutes,
        "heat_taken": after.sum(minutes.drawn_back) / 1000.0 * known,
        "electricity": segments.sum(power) / 1000.0 * known,
        "outdoor": segments.mean(grid.gauge("outdoor_temperature")),
        "humidity": segments.mean(grid.gauge("outdoor_humidity")),
        "frosting": hour.count(minutes.frosting) > 0,
        "frost_known": hour.count(minutes.frost_known) > 0,
        "since_last": np.where(near, np.diff(done.astype(np.float64), prepend=np.nan), np.nan),
        "frost_kg": between.total(growth["most"]),
        "frost_usual_kg": np.where(near, between.total(growth["usual"]), np.nan),
        "during": use.serves[segments.start].astype(np.int8),
    }
    return dated(columns, minutes)


def reheats_table(site: Site, minutes: Minutes) -> Table:
    """Every charge of the cylinder by the heat pump or the immersion heater.

    start [ms], day, minutes, from_c, to_c [cylinder], heat, electricity [kWh heat pump], immersion [kWh],
    outdoor, flow, flow_max, flow_end, lift, flow_rate, over_cylinder [K, flow above cylinder in the last ten
    minutes], pause [minutes since the last one ended], rise_end [K/h, cylinder in the last twenty minutes],
    heat_end [kW, last ten minutes], fall_after [K/h, cylinder from the tenth to the fortieth minute after the
    end, or to the next charge; nan where it shows too little], heat_after [share of that time with heating
    water passing],
    flow_after [°C, flow meanwhile], reached (setpoint within 1 K; nan where no sensor), cut
    """
    if site.hot_water is None:
        return empty(REHEAT_COLUMNS)
    grid, use = minutes.grid, minutes.use
    water = use.code == HOT_WATER
    during = (use.code == DEFROST) & (use.serves == HOT_WATER)
    segments = Segments.of(water | during).joined(5)
    segments = segments.where(segments.minutes >= 2)
    if not len(segments):
        return empty(REHEAT_COLUMNS)
    cylinder, flow = grid.gauge("cylinder_temperature"), grid.gauge("flow_temperature")
    n = len(grid)
    # The sensor keeps rising for a while after the pump stops: look five minutes later.
    longer = Segments(segments.start, np.minimum(segments.end + 5, n))
    late = _late(grid, segments)
    immersion = minutes.balance.immersion
    power = minutes.balance.heat_pump if minutes.balance.heat_pump is not None else minutes.electricity
    top = longer.greatest(cylinder)
    columns = {
        "start": grid.time[segments.start],
        "minutes": segments.minutes,
        "from_c": segments.least(cylinder),
        "to_c": top,
        "heat": segments.total(minutes.heat) / 1000.0,
        "electricity": segments.sum(power) / 1000.0,
        "immersion": segments.sum(immersion) / 1000.0 if immersion is not None else np.nan,
        "outdoor": segments.mean(grid.gauge("outdoor_temperature")),
        "flow": segments.mean(flow),
        "flow_max": segments.greatest(flow),
        "flow_end": late.mean(flow),
        "lift": segments.mean(flow - grid.gauge("return_temperature")),
        "flow_rate": segments.mean(grid.gauge("flow_rate"), water),
        "over_cylinder": late.mean(flow - cylinder),
        "pause": np.concatenate(([np.nan], (segments.start[1:] - segments.end[:-1]).astype(np.float64))),
        "rise_end": 3.0 * (segments.last(cylinder) - segments.last(cylinder, 21)),
        "heat_end": late.mean(minutes.heat) * 0.06,
        **_afterwards(minutes, segments, cylinder),
        "reached": np.where(
            np.isfinite(top), (top >= site.hot_water.setpoint_c - 1.0).astype(np.float64), np.nan
        ),
        "cut": _cut(use.code == UNKNOWN, segments, n),
    }
    return dated(columns, minutes)


def _late(grid: Grid, segments: Segments) -> Segments:
    """The last ten minutes of each stretch; for sparse readings, those certainly before its end."""
    quantities = (
        "operating_mode",
        "diverter_to_hot_water",
        "flow_temperature",
        "heat_output",
        "cylinder_temperature",
    )
    spacing = max((grid.spacing[q] for q in quantities if q in grid.spacing), default=1.0)
    lag = int(spacing) if spacing >= 3.0 else 0
    end = np.maximum(segments.end - lag, segments.start)
    return Segments(np.maximum(end - max(10, lag + 1), segments.start), end)


def _afterwards(minutes: Minutes, segments: Segments, cylinder: Floats) -> dict[str, Floats]:
    """Initial cooling of the full cylinder, and whether heating water passes meanwhile."""
    n, grid = len(minutes.grid), minutes.grid
    following = np.append(segments.start[1:], n)
    # A cylinder that is charged again at once has no settled half-hour: its pause as a whole tells then.
    soon = following - segments.end < _SETTLES_MIN + _LEAST_COOLING_MIN
    start = np.minimum(segments.end + np.where(soon, 0, _SETTLES_MIN), n)
    after = Segments(start, np.maximum(np.minimum(start + _COOLING_MIN, following), start))
    charging = minutes.use.code == HOT_WATER
    if minutes.balance.immersion is not None:
        charging = charging | (fill_nan(minutes.balance.immersion, 0.0) * 60.0 > 100.0)
    alone = (after.minutes >= np.where(soon, _LEAST_PAUSE_MIN, _LEAST_COOLING_MIN)) & (after.end < n)
    alone &= Segments(segments.end, after.end).count(charging) == 0
    last = np.maximum(np.minimum(after.end, following) - 1, 0)
    hours = np.maximum(after.minutes - 1, 1) / 60.0
    fall = (cylinder[np.minimum(after.start, n - 1)] - cylinder[last]) / hours
    # A pump that runs on while the unit rests drives heating water past the valve just as well.
    passes = (minutes.use.code == HEATING) | (fill_nan(grid.gauge("flow_rate"), 0.0) > _PASSES_M3_H)
    share = after.count(passes) / np.maximum(after.minutes, 1)
    return {
        "fall_after": np.where(alone, fall, np.nan),
        "heat_after": np.where(alone, share, np.nan),
        "flow_after": np.where(alone, after.mean(grid.gauge("flow_temperature")), np.nan),
    }
