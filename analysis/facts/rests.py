"""Rests: stretches in which the unit gives no heat, with evidence whether heat was needed.

The evidence is independent of the unit: weather, calls, targets, room and cylinder temperatures. Further
columns describe the unit meanwhile: power, mode, faults, direct electric heat.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.events import LEAST_ASKED_FLOW_C, is_flow_short
from fieldfare.analysis.facts.faults import fault_minutes
from fieldfare.analysis.facts.minutes import Minutes, coldest_room
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.minutes.operating_state import (
    BEST_COP,
    COOLING,
    HEATING,
    HOT_WATER,
    OFF,
    UNKNOWN,
    USE_UNKNOWN,
    least_running_w,
)
from fieldfare.analysis.minutes.resampling import canonical, on_minutes, sampling_interval
from fieldfare.analysis.minutes.rolling import run_begins, running_total, true_runs, window_mean
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

LEAST_MINUTES = {"unit": 90, "tries": 180, "heating": 360, "hot_water": 720}
"""Shorter rests are pauses of every day and are not kept; the newest one is kept from OPEN_MINUTES on."""
OPEN_MINUTES = 20
# A data gap of up to this length does not end a rest.
_BRIDGED_MIN = 120
# Standby, a crankcase heater and a base-tray heater together stay below (common practice); readings far
# apart mix a
# short run with a long rest, so a slot of theirs must stay lower to be a rest.
_REST_W, _REST_FAR_APART_W, _FAR_APART_MIN, _COARSE_MIN = 120.0, 60.0, 360.0, 10.0
# A stepping register shows a rest only when the minimum running power would have moved it twice.
_STEPS_TO_SHOW = 2.0
# Less than any unit's controls draw; about their minimum.
_NOTHING_W, _CONTROLS_W = 1.0, 5.0
_SHORT_ROOM_K = 1.0
_WHOLE_HOUSE = "house"
# Heat over electricity of a direct heater beside standby and meter errors; the least that such a heater
# draws.
_DIRECT_RATIO, _HEATER_W, _HOUR_SHOWN_MIN = (0.8, 1.15), 700.0, 15.0
# Controls, and a crankcase heater, draw less over an hour (common practice); standing water cools to a few
# kelvin above its room within hours.
_WEAK_W, _WEAK_WINDOW_MIN, _WARM_WATER_K, _NO_ROOM_C = 60.0, 60, 8.0, 20.0
_PUMPED_M3_H, _ABOUT_END_MIN = 0.05, 30
# Makers' least run times are 6 to 10 minutes: a run that the unit breaks off before is a try to start. Units
# wait for a quarter of an hour and more after one (common practice).
_TRY_MIN, _TRY_APART_MIN, _TRY_SHOWN_MIN = 6, 15, 2.5
# Flow and return of one pair differ by less in standing water.
_COOLED_K = 0.3
# A unit that works gives at least as much heat as it draws; below this share of it there is none. The window
# outlasts a defrost and the steps of a coarse heat register (common practice).
_BARREN_SHARE, _BARREN_WINDOW_MIN = 0.1, 180
# A gateway that repeats its last words: not one of several gauges moves, for so long that by their habit at
# rest they would have moved forty times between them (Poisson, in clusters of four: below 1 in 10 000).
_FROZEN_POINTS, _FROZEN_MIN, _MISSING_CHANGES, _DAY_MIN = 3, 45, 40.0, 1440


def rests_table(site: Site, minutes: Minutes, readings: Readings) -> Table:
    """One row per rest and local day it touches.

    day, start, end [ms], kind (unit: the compressor rests; tries: it starts now and then and warms nothing;
        heating, hot_water: it gives none for that use)
    begun : the row begins right after the unit worked. ended : it worked again right after. open : the
    newest that is known
    minutes, minutes_known, minutes_working (for the other use), minutes_barren (it draws power as if it
    worked, and the heat meter shows no heat), minutes_frozen (of the newest rests: no gauge moved, though
    readings came)
    outdoor_mean_c, outdoor_lowest_c, minutes_frost
    room_first_c, room_last_c (coldest zone), room_short_last_k (most below its target), minutes_room_short
    (1 K or more), target_mean_c
    tank_first_c, tank_last_c, tank_highest_c, minutes_tank_cold (colder than a reheat starts at)
    minutes_called, minutes_call_known, minutes_flow_asked (a flow temperature is asked for),
    minutes_flow_short (and the flow is 6 K or more below), minutes_flow_known, minutes_mode_on,
    minutes_mode_known
    flow_last_c, minutes_pumped, minutes_pump_known
    power_mean_w, minutes_powerless, minutes_power_known, minutes_fault
    backup_kwh, immersion_kwh, cooled_kwh (taken out of the water by runs); starts: runs that begin in it
    """
    works, known = _works(site, minutes)
    tried, cooled = _wasted(minutes, works)
    barren = _barren(minutes, works)
    kinds = {
        "unit": works,
        "tries": works & ~tried & ~cooled & ~barren,
        "heating": works & ~cooled & _is_for(minutes, HEATING),
    }
    if site.hot_water is not None or site.measures("hot_water_heat"):
        kinds["hot_water"] = works & _is_for(minutes, HOT_WATER)
    blur = _blur_minutes(site, minutes, readings)
    parts = [
        _rows(minutes, name, active, known, max(LEAST_MINUTES[name], blur), max(OPEN_MINUTES, blur))
        for name, active in kinds.items()
    ]
    start, end, day = (np.concatenate([p[i] for p in parts]).astype(np.int64) for i in range(3))
    marks = {name: np.concatenate([p[3][name] for p in parts]) for name in ("begun", "ended", "open", "kind")}
    order = np.lexsort((start, day))
    rows = Segments(start[order], end[order])
    columns: dict[str, object] = {
        "day": minutes.grid.local_dates[day[order]],
        "start": minutes.grid.time[rows.start] if len(rows) else np.empty(0, dtype=np.int64),
        "end": minutes.grid.time[rows.end - 1] + 60_000 if len(rows) else np.empty(0, dtype=np.int64),
        **{name: values[order] for name, values in marks.items()},
    }
    columns |= _demand_columns(site, minutes, readings, rows, works, known)
    columns["minutes_working"] = rows.count(works & ~barren)
    columns["minutes_barren"] = rows.count(barren)
    newest = rows.start[marks["open"][order]]  # of older rests it decides nothing
    first = int(newest.min()) if len(newest) else len(works)
    columns["minutes_frozen"] = rows.count(_frozen(site, minutes, readings, works, first))
    columns["cooled_kwh"] = -rows.sum(np.where(cooled, fill_nan(minutes.heat, 0.0), 0.0)) / 1000.0
    return Table(columns)


def direct_columns(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Columns of the days table, described in `columns/energy.py`; only where both meters show an hour."""
    unit, grid = minutes.balance.heat_pump, minutes.grid
    close = max(grid.spacing.get(q, 99.0) for q in ("heat_pump_electricity", "heat_output"))
    if unit is None or close > _HOUR_SHOWN_MIN:
        return {}
    drawn, given = (window_mean(v, 30, 30, least=30) * 60.0 for v in (unit, minutes.heat))
    ratio = np.divide(given, drawn, out=np.full(len(grid), np.nan), where=fill_nan(drawn, 0.0) > _HEATER_W)
    low, high = _DIRECT_RATIO
    return {"minutes_direct": day.count(minutes.use.running & (ratio > low) & (ratio < high))}


def _works(site: Site, minutes: Minutes) -> tuple[Flags, Flags]:
    """Whether the compressor runs in each minute, and whether that is known."""
    use, grid = minutes.use, minutes.grid
    known = use.code != UNKNOWN
    works = use.running.copy()
    unit = minutes.balance.heat_pump
    apart = grid.spacing.get("heat_pump_electricity", 0.0)
    by_speed = grid.spacing.get("compressor_speed", 99.0) <= 5.0
    if unit is not None and apart > _COARSE_MIN and not by_speed:
        most = _REST_FAR_APART_W if apart >= _FAR_APART_MIN else _REST_W
        works |= known & (fill_nan(unit, 0.0) * 60.0 > most)
    # What a register counted while nothing was read says that the unit worked, and not when.
    power = fill_nan(unit, 0.0) * 60.0 if unit is not None else np.zeros(len(grid))
    known = known & (works | ~_unread(site, minutes) | (power <= _REST_W))
    # A unit without power may stop reporting its power while the heat meter continues: use the heat.
    heat = minutes.heat * 60.0
    heat_known = ~known & np.isfinite(heat)
    works |= heat_known & (fill_nan(heat, 0.0) > least_running_w(site))
    works |= known & _works_weakly(minutes)
    return works, known | heat_known


def _works_weakly(minutes: Minutes) -> Flags:
    """Minutes of work below a run's least power: both meters show it, and the water stays warm.

    Short runs that a meter averages look so, as where valves are shut. Heat that is a pair of sensors' error
    is beyond any unit's efficiency, or goes into cold water.
    """
    unit, grid = minutes.balance.heat_pump, minutes.grid
    close = max(grid.spacing.get(q, 99.0) for q in ("heat_pump_electricity", "heat_output"))
    nothing = np.zeros(len(grid), dtype=np.bool_)
    if unit is None or close > _HOUR_SHOWN_MIN:
        return nothing
    rests = ~minutes.use.running
    half = _WEAK_WINDOW_MIN // 2
    drawn, given = (
        window_mean(np.where(rests, wh, np.nan), half, half, least=half) * 60.0 for wh in (unit, minutes.heat)
    )
    room = coldest_room(minutes)
    cold = grid.gauge("flow_temperature") < np.where(np.isfinite(room), room, _NO_ROOM_C) + _WARM_WATER_K
    ratio = np.divide(given, drawn, out=np.full(len(grid), np.nan), where=fill_nan(drawn, 0.0) > _WEAK_W)
    return np.asarray(
        rests & (ratio > _DIRECT_RATIO[1]) & (ratio < BEST_COP) & ~cold & grid.has("flow_temperature"),
        dtype=np.bool_,
    )


def _unread(site: Site, minutes: Minutes) -> Flags:
    """Minutes in which no meter of the unit's electricity was read."""
    seen = [
        minutes.grid.seen[p.id] for p in site.points_of("heat_pump_electricity") if p.id in minutes.grid.seen
    ]
    return ~np.logical_or.reduce(seen) if seen else np.zeros(len(minutes.grid), dtype=np.bool_)


def _wasted(minutes: Minutes, works: Flags) -> tuple[Flags, Flags]:
    """Working minutes of tries to start, and those of runs that cool the water: bool (n,) each."""
    tried, cooled = np.zeros_like(works), np.zeros_like(works)
    begins, ends = true_runs(works)
    if not len(begins):
        return tried, cooled
    before, after = np.concatenate(([0], ends[:-1])), np.append(begins[1:], len(works))
    apart = np.minimum(after - ends, begins - before)
    fine = min(minutes.use.running_spacing, minutes.grid.spacing.get("heat_pump_electricity", 99.0))
    tries = (ends - begins <= _TRY_MIN) & (apart >= _TRY_APART_MIN) & (fine <= _TRY_SHOWN_MIN)
    runs = Segments(begins, ends)
    lift = minutes.grid.gauge("flow_temperature") - minutes.grid.gauge("return_temperature")
    cools = (runs.sum(minutes.heat) < 0.0) & ~(runs.mean(lift) > -_COOLED_K)
    for flags, mine in ((tried, tries), (cooled, cools)):
        for a, b in zip(begins[mine], ends[mine], strict=True):
            flags[a:b] = True
    return tried, cooled


def _barren(minutes: Minutes, works: Flags) -> Flags:
    """Working minutes about which the heat meter shows no heat for what was drawn: bool (n,)."""
    unit, spacing = minutes.balance.heat_pump, minutes.grid.spacing
    close = max(spacing.get(q, 99.0) for q in ("heat_pump_electricity", "heat_output"))
    if unit is None or close > _HOUR_SHOWN_MIN:
        return np.zeros_like(works)
    half = _BARREN_WINDOW_MIN // 2
    drawn, given = (window_mean(v, half, half, least=half) for v in (unit, minutes.heat))
    return np.asarray(works & (given < _BARREN_SHARE * drawn), dtype=np.bool_)


def _frozen(site: Site, minutes: Minutes, readings: Readings, works: Flags, first: int) -> Flags:
    """Minutes from `first` on in which readings come and nothing moves: bool (n,)."""
    low = max(first - _DAY_MIN, 0)
    time, rests = minutes.grid.time[low:], ~works[low:]
    n, out = len(time), np.zeros(len(works), dtype=bool)
    gauges = [p for p in site.point if p.form == "gauge" and not p.quantity.startswith("target_")]
    gauges = [p for p in gauges if p.id in readings and len(readings[p.id].time) > 1]
    if len(gauges) < _FROZEN_POINTS or not n:
        return out
    changes, heard = np.zeros(n), np.zeros(n, dtype=bool)
    for point in gauges:
        samples = readings[point.id].between(int(time[0]), int(time[-1]) + 60_000)
        at = np.searchsorted(time, samples.time, side="right") - 1
        moved = np.diff(samples.value.astype(np.float64), prepend=np.nan) != 0.0
        heard[at] = True
        changes += np.bincount(at[moved], minlength=n)
    for a, b in zip(*true_runs(changes == 0.0), strict=True):
        if b - a < _FROZEN_MIN or not heard[a:b].any():
            continue
        last = a + int(np.flatnonzero(heard[a:b])[-1]) + 1  # what follows the newest reading is no word
        # A day's facts depend on one day around it.
        near = slice(max(a - _DAY_MIN, 0), min(b + _DAY_MIN, n))
        others = rests[near] & ((np.arange(n)[near] < a) | (np.arange(n)[near] >= b))
        usual = float(changes[near][others].mean()) if others.any() else 0.0
        out[low + a : low + last] = last - a >= _FROZEN_MIN and usual * (last - a) >= _MISSING_CHANGES
    return out


def _is_for(minutes: Minutes, use: int) -> Flags:
    """Minutes whose heat goes to that use, or may."""
    served = minutes.serving
    # Work too weak for a run (`_works`) is told as off: nothing says what it is for.
    return np.isin(served, (use, USE_UNKNOWN, COOLING, UNKNOWN, OFF))


def _blur_minutes(site: Site, minutes: Minutes, readings: Readings) -> int:
    """Longest pause of a coarse register during a run at minimum power [min]; 0 with power readings."""
    longest = 0.0
    points = list(site.points_of("heat_pump_electricity"))
    if any(p.form != "register" for p in points if p.id in readings):
        return 0
    for point in points:
        samples = readings.get(point.id)
        if samples is None or len(samples.time) < 3:
            continue
        rises = np.diff(canonical(point, samples).value)
        rises = rises[rises > 0]
        if len(rises):
            step = float(np.quantile(rises, 0.02)) * 1000.0
            longest = max(longest, _STEPS_TO_SHOW * 60.0 * step / least_running_w(site))
    spacing = minutes.grid.spacing.get("heat_pump_electricity", 0.0)
    # Between far-apart readings the register is a straight line: its step says nothing more than the spacing
    # does.
    return int(min(longest, 3 * 1440.0)) if spacing < 60.0 else 0


def _rows(
    minutes: Minutes, kind: str, active: Flags, known: Flags, least: int, least_open: int
) -> tuple[Ints, Ints, Ints, dict[str, NDArray[np.generic]]]:
    """Rests of one kind, cut at local midnights: start, end, day number, and flags."""
    grid, n = minutes.grid, len(active)
    holes = np.zeros(n, dtype=bool)
    for a, b in zip(*true_runs(~known), strict=True):
        holes[a:b] = b - a > _BRIDGED_MIN
    places, worked = np.flatnonzero(known), active & known
    start, end = true_runs(~worked & ~holes)
    low, high = np.searchsorted(places, start), np.searchsorted(places, end)
    start, end, low, high = (bound[low < high] for bound in (start, end, low, high))
    begun = (start > 0) & worked[np.maximum(start - 1, 0)]
    ended = (end < n) & worked[np.minimum(end, n - 1)]
    first, last = np.where(begun, start, places[low]), places[high - 1] + 1
    is_open = (high == len(places)) & ~ended
    lasts = last - first >= np.where(is_open, least_open, least)
    day = np.searchsorted(grid.day_start, first, side="right") - 1
    found: list[tuple[int, int, int, bool, bool, bool]] = []
    for a, b, at, began, stops, newest in zip(
        *(column[lasts].tolist() for column in (first, last, day, begun, ended, is_open)), strict=True
    ):
        while a < b:
            cut = min(b, int(grid.day_start[at + 1]))
            # Readings are held for some minutes: the newest may seem to reach a little beyond
            # midnight.
            found.append((a, cut, at, began, stops and cut == b, newest and b - cut <= _BRIDGED_MIN))
            a, began, at = cut, False, at + 1
    cells = list(zip(*found, strict=True)) if found else [()] * 6
    whole = [np.array(c, dtype=np.int64) for c in cells[:3]]
    flags = [np.array(c, dtype=bool) for c in cells[3:]]
    kinds = np.full(len(found), kind, dtype=object)
    return (
        whole[0],
        whole[1],
        whole[2],
        {"begun": flags[0], "ended": flags[1], "open": flags[2], "kind": kinds},
    )


def _demand_columns(
    site: Site,
    minutes: Minutes,
    readings: Readings,
    rows: Segments,
    works: Flags,
    known: Flags,
) -> dict[str, object]:
    """Columns with the evidence for heat demand, and the state of the unit."""
    grid = minutes.grid
    outdoor, tank, flow = (grid.gauge(f"{q}_temperature") for q in ("outdoor", "cylinder", "flow"))
    target_flow, mode, call = (
        grid.gauge(q) for q in ("target_flow_temperature", "operating_mode", "heat_call")
    )
    rate = grid.gauge("flow_rate")
    room, short = _rooms(minutes)
    begin = Segments(rows.start, np.minimum(rows.start + _ABOUT_END_MIN, rows.end))
    finish = Segments(np.maximum(rows.end - _ABOUT_END_MIN, rows.start), rows.end)
    asks = fill_nan(target_flow, 0.0) >= LEAST_ASKED_FLOW_C
    plant = minutes.balance
    power = plant.heat_pump * 60.0 if plant.heat_pump is not None else np.full(len(grid), np.nan)
    reheats_below = site.hot_water.reheats_below_c if site.hot_water is not None else -np.inf
    mode_on = np.isin(np.round(fill_nan(mode, 0.0)), (HEATING, HOT_WATER))
    return {
        "minutes": rows.minutes,
        "minutes_known": rows.count(known),
        "outdoor_mean_c": rows.mean(outdoor),
        "outdoor_lowest_c": rows.least(outdoor),
        "minutes_frost": rows.count(fill_nan(outdoor, 9.0) < 0.0),
        "room_first_c": begin.mean(room),
        "room_last_c": finish.mean(room),
        "room_short_last_k": finish.mean(short),
        "minutes_room_short": rows.count(fill_nan(short, -9.0) >= _SHORT_ROOM_K),
        "target_mean_c": rows.mean(grid.gauge("target_room_temperature")),
        "tank_first_c": begin.mean(tank),
        "tank_last_c": finish.mean(tank),
        "tank_highest_c": rows.greatest(tank),
        "minutes_tank_cold": rows.count(fill_nan(tank, np.inf) < reheats_below),
        "minutes_called": rows.count(fill_nan(call, 0.0) > 0.5),
        "minutes_call_known": rows.count(np.isfinite(call)),
        "minutes_flow_asked": rows.count(asks),
        "minutes_flow_short": rows.count(is_flow_short(grid)),
        "minutes_flow_known": rows.count(np.isfinite(target_flow)),
        "minutes_mode_on": rows.count(mode_on & ~works),
        "minutes_mode_known": rows.count(np.isfinite(mode)),
        "flow_last_c": finish.mean(flow),
        "minutes_pumped": rows.count(fill_nan(rate, 0.0) > _PUMPED_M3_H),
        "minutes_pump_known": rows.count(np.isfinite(rate)),
        "power_mean_w": rows.mean(power),
        "minutes_power_known": rows.count(np.isfinite(power)),
        "minutes_powerless": rows.count(_powerless(site, minutes, readings, power)),
        "minutes_fault": rows.count(fault_minutes(site, grid, readings)),
        "backup_kwh": _kwh(rows, plant.backup_heater),
        "immersion_kwh": _kwh(rows, plant.immersion),
        "starts": rows.count(run_begins(works)),
    }


def _kwh(rows: Segments, wh: Floats | None) -> Floats:
    return rows.total(wh) / 1000.0 if wh is not None else np.full(len(rows), np.nan)


def _rooms(minutes: Minutes) -> tuple[Floats, Floats]:
    """The coldest zone's temperature [°C], and how far the worst zone lies below its target [K]."""
    grid = minutes.grid
    rooms = grid.zones.get("room_temperature", {})
    nothing = np.full(len(grid), np.nan)
    if not rooms:
        return nothing, nothing
    targets = grid.zones.get("target_room_temperature", {})
    # A target of the whole house holds for each room; one zone's target says nothing about another.
    whole = targets.get(_WHOLE_HOUSE, nothing) if len(targets) == 1 else nothing
    short = [targets.get(zone, whole) - values for zone, values in rooms.items()]
    return coldest_room(minutes), np.fmax.reduce(short)


def _powerless(site: Site, minutes: Minutes, readings: Readings, power: Floats) -> Flags:
    """Minutes without any electricity of the unit, not even for its controls.

    Power readings show it directly; a register only if it stays constant for longer than 5 W of controls
    would need for two steps.
    """
    read = [p for p in site.points_of("heat_pump_electricity") if p.form == "power" and p.id in readings]
    if read:
        parts = []
        for point in read:
            samples = canonical(point, readings[point.id])
            parts.append(
                on_minutes(minutes.grid.time, samples, sampling_interval(samples.time)[1], between="nearest")[
                    0
                ]
            )
        power = np.sum(parts, axis=0)
    nothing = np.isfinite(power) & (fill_nan(power, 9.0) < _NOTHING_W)
    blur = _blur_minutes(site, minutes, readings) * least_running_w(site) / _CONTROLS_W
    if not read:
        step_wh = minutes.grid.step.get("heat_pump_electricity", 0.0) * 1000.0
        blur = max(blur, _STEPS_TO_SHOW * 60.0 * step_wh / _CONTROLS_W)
    if blur:
        starts, ends = true_runs(nothing)
        keep = ends - starts > blur
        marks = np.zeros(len(power) + 1, dtype=np.int64)
        np.add.at(marks, starts[keep], 1)
        np.add.at(marks, ends[keep], -1)
        nothing = running_total(marks)[1:-1] > 0
    return np.asarray(nothing, dtype=np.bool_)
