"""Convert recent readings between arrays and the packed rows of `recent`."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterator
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.readings import Readings, Samples
from fieldfare.collector.store.merge import overlay
from fieldfare.collector.store.recent import point_numbers, site_number

_EARLIEST, _LATEST = -(1 << 62), 1 << 62
READING = np.dtype([("point", "<u4"), ("value", "<f8")])
"""A moment's readings, one after the other, points ascending."""
Rows = tuple[NDArray[np.int64], NDArray[Any]]
"""Times [ms] (n,), and READING (n,)."""


def put(db: sqlite3.Connection, site: int, known: dict[str, int], readings: Readings, over: bool) -> None:
    """Write readings of a site, replacing those of the same keys.

    known : the points' numbers. over : whether any stored reading lies between the first and the last of them
    """
    texts = {p: s for p, s in readings.items() if s.value.dtype == object}
    numbers = {known[p]: s for p, s in readings.items() if p not in texts}
    for point, (time, value) in texts.items():
        rows = [
            (site, ts, known[point], text) for ts, text in zip(time.tolist(), value.tolist(), strict=True)
        ]
        db.executemany("INSERT OR REPLACE INTO texts VALUES (?, ?, ?, ?)", rows)
    if not numbers:
        return
    new = _concatenated(numbers)
    if over:
        _forget_texts(db, site, *new)
        older = _moments(db, site, int(new[0].min()), int(new[0].max()) + 1)
        beside = np.isin(older[0], new[0])
        new = np.concatenate([new[0], older[0][beside]]), np.concatenate([new[1], older[1][beside]])
    db.executemany("INSERT OR REPLACE INTO moments VALUES (?, ?, ?)", _packed(site, *new))


def _concatenated(numbers: dict[int, Samples]) -> Rows:
    """Readings concatenated by point number."""
    rows = np.empty(sum(len(s.time) for s in numbers.values()), READING)
    rows["point"] = np.repeat(list(numbers), [len(s.time) for s in numbers.values()])
    rows["value"] = np.concatenate([s.value for s in numbers.values()])
    return np.concatenate([s.time for s in numbers.values()]), rows


def _packed(site: int, time: NDArray[np.int64], rows: NDArray[Any]) -> Iterator[tuple[int, int, bytes]]:
    """Pack readings in any order into rows; the first of several with one key wins."""
    order = np.lexsort((rows["point"], time))  # stable
    time, rows = time[order], rows[order]
    other = np.ones(len(time), dtype=bool)
    other[1:] = (time[1:] != time[:-1]) | (rows["point"][1:] != rows["point"][:-1])
    time, rows = time[other], rows[other]
    starts = np.flatnonzero(np.diff(time, prepend=time[0] - 1))
    packed, edges = rows.tobytes(), (np.append(starts, len(time)) * READING.itemsize).tolist()
    for ts, (a, b) in zip(time[starts].tolist(), pairwise(edges), strict=True):
        yield site, ts, packed[a:b]


def _moments(db: sqlite3.Connection, site: int, start: int, end: int) -> Rows:
    """Rows of a site with start <= time < end [ms], by time."""
    found = db.execute(
        "SELECT ts, readings FROM moments WHERE site = ? AND ts >= ? AND ts < ?", (site, start, end)
    ).fetchall()
    if not found:
        return np.empty(0, np.int64), np.empty(0, READING)
    if any(not isinstance(packed, bytes) or len(packed) % READING.itemsize for _, packed in found):
        found = [row for row in found if isinstance(row[1], bytes) and not len(row[1]) % READING.itemsize]
    rows = np.frombuffer(b"".join([packed for _, packed in found]), READING)
    lengths = [len(packed) // READING.itemsize for _, packed in found]
    return np.repeat(np.array([ts for ts, _ in found], np.int64), lengths), rows


def _forget_texts(db: sqlite3.Connection, site: int, time: NDArray[np.int64], rows: NDArray[Any]) -> None:
    """Delete texts that numbers replace."""
    if db.execute("SELECT 1 FROM texts WHERE site = ? LIMIT 1", (site,)).fetchone():
        keys = ((site, ts, point) for ts, point in zip(time.tolist(), rows["point"].tolist(), strict=True))
        db.executemany("DELETE FROM texts WHERE site = ? AND ts = ? AND point = ?", keys)


def pack_rows(db: sqlite3.Connection) -> None:
    """Migrate a file of an earlier release, with one row per number."""
    db.execute("BEGIN IMMEDIATE")
    for (site,) in db.execute("SELECT DISTINCT site FROM numbers").fetchall():
        found = db.execute("SELECT ts, point, value FROM numbers WHERE site = ?", (site,))
        single = np.fromiter(found, [("ts", np.int64), ("point", np.uint32), ("value", np.float64)])
        rows = np.empty(len(single), READING)
        rows["point"], rows["value"] = single["point"], single["value"]
        db.executemany("INSERT INTO moments VALUES (?, ?, ?)", _packed(site, single["ts"].copy(), rows))
    db.execute("DROP TABLE numbers")
    db.execute("COMMIT")


def fetch(
    db: sqlite3.Connection,
    site: str,
    points: Collection[str] | None = None,
    start: int | None = None,
    end: int | None = None,
) -> Readings:
    """Readings of a site with start <= time < end [ms]."""
    number = site_number(db, site)
    if number is None:
        return {}
    names = {num: name for name, num in point_numbers(db, number).items() if points is None or name in points}
    if not names:
        return {}
    return held(db, number, names, _EARLIEST if start is None else start, _LATEST if end is None else end)


def held(db: sqlite3.Connection, site: int, names: dict[int, str], start: int, end: int) -> Readings:
    """Readings of the points with those numbers, start <= time < end [ms]."""
    time, rows = _moments(db, site, start, end)
    out = _samples_by_point(names, time, rows["point"], rows["value"])
    texts = db.execute(
        "SELECT ts, point, value FROM texts WHERE site = ? AND ts >= ? AND ts < ?", (site, start, end)
    ).fetchall()
    if texts:
        told = np.array([t for _, _, t in texts], dtype=object)
        when, whose = (np.array(c, np.int64) for c in zip(*((ts, p) for ts, p, _ in texts), strict=True))
        out = overlay(_samples_by_point(names, when, whose, told), out)
    return out


def _samples_by_point(
    names: dict[int, str], time: NDArray[np.int64], points: NDArray[Any], values: NDArray[Any]
) -> Readings:
    """Samples of the named points, from rows in time order."""
    if not len(time):
        return {}
    points = np.ascontiguousarray(points)  # a strided field: sorting it in place is slower
    order = np.argsort(points, kind="stable")
    points = points[order]
    edges = [0, *(np.flatnonzero(points[1:] != points[:-1]) + 1).tolist(), len(points)]
    return {
        names[number]: Samples(time[order[a:b]], values[order[a:b]])
        for a, b in pairwise(edges)
        if (number := int(points[a])) in names
    }


def spans(
    db: sqlite3.Connection, site: str, without: Collection[str] = ()
) -> dict[str, tuple[int, int, int]]:
    """Point -> number of readings, first and last time [ms], except for the points in `without`."""
    number = site_number(db, site)
    if number is None:
        return {}
    names = {num: name for name, num in point_numbers(db, number).items() if name not in without}
    found = held(db, number, names, _EARLIEST, _LATEST) if names else {}
    return {p: (len(s.time), int(s.time[0]), int(s.time[-1])) for p, s in found.items()}
