"""Faults reported by the unit: code, begin, end, and operation meanwhile."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.minutes.grid import Grid
from fieldfare.analysis.minutes.operating_state import UNKNOWN
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import MS_PER_MINUTE, Readings, Samples

Flags = NDArray[np.bool_]

NO_FAULT = frozenset(
    {"", "ok", "okay", "none", "no", "nan", "null", "nil", "false", "normal", "n/a", "na"}
    | {"no fault", "no error", "no alarm", "no faults", "no errors", "fault free", "healthy"}
)
"""Words for "no fault", in lower case; digits of nothing but zero and rows of hyphens or dots count as
well.
"""
# Maximum hold time of a change-driven code (as for other states).
_LONGEST_MIN = 24 * 60
# Number of usual intervals that may be missing from a repeated code.
_MISSING, _LEAST_HOLD_MIN = 3.0, 20.0


def is_fault(word: object) -> bool:
    """Whether a reported word or number is a fault. word : str, or a number as sent by the gateway"""
    text = str(word).strip().lower().replace("_", " ")
    return text not in NO_FAULT and bool(text.strip("-. 0x:"))


def fault_minutes(site: Site, grid: Grid, readings: Readings) -> Flags:
    """Minutes in which a fault is reported: bool (n,)."""
    out = np.zeros(len(grid), dtype=bool)
    for _, a, b in _fault_stretches(site, grid, readings):
        out[a:b] = True
    return out


def faults_table(site: Site, minutes: Minutes, readings: Readings) -> Table:
    """One row per reported fault and local day it touches.

    day, start, end [ms], code (the unit's own word), begun : the fault begins in this row. ended : another
    word follows it
    minutes, minutes_running, minutes_known : of it, with the unit running, and with that known
    outdoor_mean_c : meanwhile
    """
    grid, use = minutes.grid, minutes.use
    rows = []
    for code, a, b in _fault_stretches(site, grid, readings):
        day, first = int(np.searchsorted(grid.day_start, a, side="right") - 1), a
        while first < b:
            cut = min(b, int(grid.day_start[day + 1]))
            rows.append((first, cut, day, code, first == a, cut == b < len(grid)))
            first, day = cut, day + 1
    rows.sort(key=lambda row: (row[2], row[0]))
    start = np.array([r[0] for r in rows], dtype=np.int64)
    end = np.array([r[1] for r in rows], dtype=np.int64)
    outdoor = grid.gauge("outdoor_temperature")
    use_known, works = use.code != UNKNOWN, use.running
    return Table(
        {
            "day": grid.local_dates[[r[2] for r in rows]] if rows else np.empty(0, dtype="datetime64[us]"),
            "start": grid.time[start] if rows else start,
            "end": grid.time[end - 1] + MS_PER_MINUTE if rows else end,
            "code": np.array([r[3] for r in rows], dtype=object),
            "begun": np.array([r[4] for r in rows], dtype=bool),
            "ended": np.array([r[5] for r in rows], dtype=bool),
            "minutes": end - start,
            "minutes_running": np.array(
                [works[a:b].sum() for a, b in zip(start, end, strict=True)], dtype=np.int64
            ),
            "minutes_known": np.array(
                [use_known[a:b].sum() for a, b in zip(start, end, strict=True)], dtype=np.int64
            ),
            "outdoor_mean_c": np.array([_mean(outdoor[a:b]) for a, b in zip(start, end, strict=True)]),
        }
    )


def _mean(values: NDArray[np.float64]) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else float("nan")


def _fault_stretches(site: Site, grid: Grid, readings: Readings) -> list[tuple[str, int, int]]:
    """Reported faults as (code, first minute, end), in order of time for each point."""
    found: list[tuple[str, int, int]] = []
    for point in site.points_of("fault_code"):
        samples = readings.get(point.id)
        if samples is not None and len(samples.time):
            found += _stretches_of_point(grid, samples, dict(point.values))
    return found


def _stretches_of_point(grid: Grid, samples: Samples, words: dict[str, str]) -> list[tuple[str, int, int]]:
    n = len(grid)
    held = _hold_minutes(samples.time)
    index = (samples.time - grid.time[0]) // MS_PER_MINUTE
    change = _changes(samples.value, np.diff(index) > held, words)
    found = []
    for k, (i, text) in enumerate(change):
        if not is_fault(text):
            continue
        last = (change[k + 1][0] if k + 1 < len(change) else len(index)) - 1
        following = int(index[last + 1]) if last + 1 < len(index) else n
        a, b = max(int(index[i]), 0), min(int(index[last]) + held, following, n)
        b = min(max(b, a + 1), n)
        if a < b:
            found.append((text, a, b))
    return found


def _changes(value: NDArray[Any], silent: Flags, words: dict[str, str]) -> list[tuple[int, str]]:
    """Where another word begins, or the same one after a silence: (index, the unit's word).

    silent : bool (n - 1,), a silence before each value but the first
    """
    found: list[tuple[int, str]] = []
    for i in (0, *(np.flatnonzero(silent | (value[1:] != value[:-1])) + 1).tolist()):
        said = str(value[i]).strip()
        text = words.get(said, said)
        if not found or text != found[-1][1] or silent[i - 1]:
            found.append((i, text))
    return found


def _hold_minutes(time: NDArray[np.int64]) -> int:
    """How long a word holds: a few usual intervals; a day if only changes are reported."""
    if len(time) < 8:
        return _LONGEST_MIN
    usual = float(np.median(np.diff(time))) / MS_PER_MINUTE
    if usual > 120.0:
        return _LONGEST_MIN
    return int(max(_MISSING * usual, _LEAST_HOLD_MIN))
