"""Data quality by day: raw readings and physical limits."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes, without_power
from fieldfare.analysis.facts.segments import Segments, held_for
from fieldfare.analysis.minutes.operating_state import COOLING
from fieldfare.analysis.minutes.resampling import canonical
from fieldfare.analysis.minutes.rolling import running_total
from fieldfare.analysis.physics.second_law import carnot_cop
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.readings import Readings, Samples
from fieldfare.analysis.statistics.quantiles import median

Floats = NDArray[np.float64]

# Too few readings a day to tell whether a value moves.
_FEWEST_READINGS = 12
# Most favourable water and source temperatures without a sensor: the coolest flow that any emitter heats
# with, and the warmest outdoor air in which a house is heated; ground and wells stay below it.
_COOLEST_FLOW_C, _WARMEST_SOURCE_C = 25.0, 20.0


def data_quality_columns(
    site: Site, minutes: Minutes, day: Segments, readings: Readings
) -> dict[str, object]:
    """Columns of the days table, described in `columns/data.py`."""
    out: dict[str, object] = {}
    times = minutes.grid.time
    edges = np.append(times[day.start], times[day.end[-1] - 1] + 60_000)
    for point in site.point:
        samples = readings.get(point.id)
        if samples is None or not len(samples.time) or point.form == "state":
            continue
        raw = canonical(point, samples)
        out[f"raw.{point.id}"] = _typical(point, raw, edges)
        out[f"moves.{point.id}"] = _moves(raw, edges)
    out["water_lift"] = _water_lift(minutes, day)
    out |= _carnot(site, minutes, day)
    out |= _dead(minutes, day)
    return out


def _typical(point: Point, samples: Samples, edges: NDArray[np.int64]) -> Floats:
    if point.form == "register":
        return _mean_rise(samples, edges)
    value = np.asarray(samples.value, dtype=np.float64)
    if point.form == "interval":
        gaps = np.diff(samples.time)
        usual = float(np.median(gaps)) if len(gaps) else 3_600_000.0
        value = value * 3.6e9 / usual
    quantile = 0.95 if point.form in ("power", "interval") or point.quantity == "flow_rate" else 0.5
    time, known = samples.time, np.isfinite(value)
    if not known.all():
        time, value = time[known], value[known]
    at = np.searchsorted(time, edges)
    out, count = np.full(len(edges) - 1, np.nan), np.diff(at)
    for n in np.unique(count[count > 0]):  # most days have as many
        mine = np.flatnonzero(count == n)
        rows = sliding_window_view(value, n)[at[mine]]
        rank = int(quantile * (n - 1))
        out[mine] = np.sort(rows, axis=1)[:, rank]  # a partition is slow where most values are alike
    return out


def _mean_rise(samples: Samples, edges: NDArray[np.int64]) -> Floats:
    """Mean power [W] from a register's rises; nan where known for less than a quarter of the day."""
    if len(samples.time) < 2:
        return np.full(len(edges) - 1, np.nan)
    risen = running_total(np.clip(np.diff(samples.value), 0.0, None))
    inside = np.clip(edges, samples.time[0], samples.time[-1])
    hours = np.diff(inside) / 3_600_000.0
    kwh = np.diff(np.interp(inside, samples.time, risen))
    return np.divide(kwh * 1000.0, hours, out=np.full(len(hours), np.nan), where=hours >= 6.0)


def _moves(samples: Samples, edges: NDArray[np.int64]) -> Floats:
    at = np.searchsorted(samples.time, edges)
    changed = np.zeros(len(samples.value), dtype=bool)
    np.not_equal(samples.value[1:], samples.value[:-1], out=changed[1:])
    total = running_total(changed)
    # The change from the previous day does not count for this day.
    first = np.where(at[:-1] < len(changed), changed[np.clip(at[:-1], 0, len(changed) - 1)], False)
    count = np.diff(at)
    moved = total[at[1:]] - total[at[:-1]] - np.where(count > 0, first, 0)
    return np.where(count >= _FEWEST_READINGS, moved.astype(np.float64), np.nan)


def _water_lift(minutes: Minutes, day: Segments) -> Floats:
    grid = minutes.grid
    lift = grid.gauge("flow_temperature") - grid.gauge("return_temperature")
    use = minutes.use
    steady = held_for(use.running, 5) & (use.code != COOLING) & np.isfinite(lift)
    out = np.full(len(day), np.nan)
    if not steady.any():
        return out
    for i, (a, b) in enumerate(zip(day.start, day.end, strict=True)):
        known = lift[a:b][steady[a:b]]
        if len(known) >= 20:
            out[i] = median(known)
    return out


def _carnot(site: Site, minutes: Minutes, day: Segments) -> dict[str, object]:
    grid, unit, heat = minutes.grid, minutes.balance.heat_pump, minutes.heat
    if unit is None or not np.isfinite(heat).any():
        nothing = np.full(len(day), np.nan)
        return {"carnot_heat_kwh": nothing, "carnot_used_kwh": nothing, "carnot_least_kwh": nothing}
    water = np.fmax(grid.gauge("flow_temperature"), grid.gauge("return_temperature"))
    water = np.where(np.isfinite(water), water, _COOLEST_FLOW_C)
    outdoor = grid.gauge("outdoor_temperature")
    source = np.where(np.isfinite(outdoor), outdoor, _WARMEST_SOURCE_C)
    if site.heat_pump.source != "air":
        source = np.full(len(grid), _WARMEST_SOURCE_C)
    # The ideal COP is meaningless at a lift of a few kelvin; no compressor runs there.
    best = np.asarray(carnot_cop(source, np.maximum(water, source + 5.0)))
    both = minutes.use.running & (minutes.use.code != COOLING) & np.isfinite(heat) & np.isfinite(unit)
    return {
        "carnot_heat_kwh": day.sum(np.where(both, heat, 0.0)) / 1000.0,
        "carnot_used_kwh": day.sum(np.where(both, unit, 0.0)) / 1000.0,
        "carnot_least_kwh": day.sum(np.where(both, heat / best, 0.0)) / 1000.0,
    }


def _dead(minutes: Minutes, day: Segments) -> dict[str, object]:
    unit = minutes.balance.heat_pump
    if unit is None or minutes.grid.spacing.get("heat_pump_electricity", 99.0) > 20.0:
        return {}
    dead = without_power(minutes)
    return {
        "minutes_dead_by_day": Segments(day.start + 7 * 60, np.minimum(day.start + 19 * 60, day.end)).count(
            dead
        ),
    }
