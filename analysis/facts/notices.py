"""Oddities of the data: gaps, resets, stuck values."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings

# A gauge with the very same value for this long while the plant runs has stopped measuring; a room or
# a cylinder may truly stand still for half a day, so they get longer (common practice).
_STUCK_AFTER_H = {
    "flow_temperature": 6.0,
    "return_temperature": 6.0,
    "flow_rate": 0.0,
    "outdoor_temperature": 20.0,
    "room_temperature": 60.0,
    "cylinder_temperature": 20.0,
    "distribution_flow_temperature": 6.0,
    "distribution_return_temperature": 6.0,
    "outdoor_humidity": 30.0,
}
GAP_FROM_MIN = 30


def notices_table(site: Site, minutes: Minutes, readings: Readings) -> Table:
    """Rows: day, time [ms], point, kind, amount.

    kind : gap (amount in minutes, at least 30), reset, rolled_over, stepped_back, jumped (amount in the
        register's unit), dropped_out (readings left out), unlikely (share of the point's readings left out),
        stuck (hours of the day). A gap or a stuck stretch is one row in each day it touches
    """
    grid = minutes.grid
    rows: list[tuple[int, str, str, float]] = [(o.time, o.point, o.kind, o.amount) for o in grid.anomalies]
    for point, has_reading in grid.seen.items():
        gaps = Segments.of(~has_reading)
        for a, length in zip(gaps.start, gaps.minutes, strict=True):
            if length >= GAP_FROM_MIN:
                rows.extend(_gap_by_day(minutes, point, int(a), int(length)))
    for p in site.point:
        longest = _STUCK_AFTER_H.get(p.quantity, 0.0)
        if longest and p.id in readings:
            rows.extend(_stuck(minutes, p.id, readings, longest))
    rows.sort(key=lambda row: row[:2])
    time = np.array([row[0] for row in rows], dtype=np.int64)
    index = (time - grid.time[0]) // 60_000
    day = np.clip(np.searchsorted(grid.day_start, index, side="right") - 1, 0, len(grid.days) - 1)
    return Table(
        {
            "day": grid.local_dates[day],
            "time": time,
            "point": np.array([row[1] for row in rows], dtype=object),
            "kind": np.array([row[2] for row in rows], dtype=object),
            "amount": np.array([row[3] for row in rows], dtype=np.float64),
        }
    )


def _gap_by_day(minutes: Minutes, point: str, start: int, length: int) -> list[tuple[int, str, str, float]]:
    """A gap as one row per local day it touches, so that days can be recomputed independently."""
    grid = minutes.grid
    out = []
    first = int(np.searchsorted(grid.day_start, start, side="right") - 1)
    for day in range(first, len(grid.days)):
        a, b = max(start, int(grid.day_start[day])), min(start + length, int(grid.day_start[day + 1]))
        if a >= b:
            break
        out.append((int(grid.time[a]), point, "gap", float(b - a)))
    return out


def _stuck(
    minutes: Minutes, point: str, readings: Readings, longest: float
) -> list[tuple[int, str, str, float]]:
    """A constant stretch as one row per local day it touches.

    Looks only one day before and after, so that days can be recomputed independently.
    """
    grid = minutes.grid
    samples = readings[point].between(int(grid.time[0]), int(grid.time[-1]) + 60_000)
    if len(samples.time) < 24:
        return []
    time, value = samples.time, samples.value
    new = np.flatnonzero(np.diff(value) != 0.0) + 1
    begins = np.concatenate(([0], new))
    ends = np.concatenate((new, [len(value)]))
    hours = (time[ends - 1] - time[begins]) / 3_600_000.0
    out = []
    for i in np.flatnonzero((hours >= longest) & (ends - begins >= 12)):
        begin = int((time[begins[i]] - grid.time[0]) // 60_000)
        end = int((time[ends[i] - 1] - grid.time[0]) // 60_000) + 1
        first, last = np.searchsorted(grid.day_start, (begin, end - 1), side="right") - 1
        for day in range(int(first), int(last) + 1):
            a = max(begin, int(grid.day_start[max(day - 1, 0)]))
            b = min(end, int(grid.day_start[min(day + 2, len(grid.days))]))
            # Standing water keeps its value; it must change only while the plant runs.
            worked = longest >= 20.0 or minutes.use.running[a:b].sum() >= 30
            if (b - a) / 60.0 >= longest and worked:
                own = max(a, int(grid.day_start[day])), min(b, int(grid.day_start[day + 1]))
                out.append((int(grid.time[own[0]]), point, "stuck", (own[1] - own[0]) / 60.0))
    return out
