"""Convert recent readings between arrays and the packed rows of `recent`.

Each row begins with a reading of no point, whose value is the CRC-32 of its site, its time and its other
readings, so that a damaged row is left out and never read as other values. Rows of an earlier release have
none, and a program of an earlier release passes it over.
"""

from __future__ import annotations

import logging
import struct
import zlib
from collections.abc import Collection, Iterator
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.readings import Readings, Samples
from fieldfare.collector.store.merge import EARLIEST, LATEST, overlay
from fieldfare.collector.store.recent import Connection, point_numbers, site_number

_NO_POINT = 0xFFFFFFFF
_LARGEST_NUMBER = 1 << 24
"""Of a point. What is above it was a mark once, however its bits are flipped."""
_MARK = struct.Struct("<Id")
_KEY = struct.Struct("<qq")
log = logging.getLogger(__name__)
READING = np.dtype([("point", "<u4"), ("value", "<f8")])
"""A moment's readings, one after the other, points ascending."""
Rows = tuple[NDArray[np.int64], NDArray[Any]]
"""Times [ms] (n,), and READING (n,)."""


def put(db: Connection, site: int, known: dict[str, int], readings: Readings, over: bool) -> None:
    """Write readings of a site, replacing those of the same keys.

    known : the points' numbers. over : whether any stored reading lies between the first and the last of them
    """
    texts = {p: s for p, s in readings.items() if s.value.dtype == object}
    numbers = {known[p]: s for p, s in readings.items() if p not in texts}
    for point, (time, value) in texts.items():
        number = known[point]
        rows = [
            (site, ts, number, text, _text_mark(site, ts, number, text.encode()))
            for ts, text in zip(time.tolist(), value.tolist(), strict=True)
        ]
        db.executemany("INSERT OR REPLACE INTO texts VALUES (?, ?, ?, ?, ?)", rows)
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
        yield site, ts, _MARK.pack(_NO_POINT, _mark(site, ts, packed[a:b])) + packed[a:b]


def _mark(site: int, ts: int, packed: bytes) -> int:
    return zlib.crc32(packed, zlib.crc32(_KEY.pack(site, ts)))


def _text_mark(site: int, ts: int, point: int, text: bytes) -> int:
    return _mark(site, ts, b"%d %b" % (point, text))


def _whole(site: int, rows: list[tuple[int, Any]]) -> list[tuple[int, bytes]]:
    """Time and readings of the rows whose bytes are those that were written; a row without a mark is taken as
    it is.

    rows : time [ms] and what stands there. In one loop, as a day has 1,440
    """
    size, head, key, crc = READING.itemsize, _MARK.unpack_from, _KEY.pack, zlib.crc32
    whole = []
    for ts, packed in rows:
        if not isinstance(packed, bytes) or not packed or len(packed) % size:
            continue
        number, mark = head(packed)
        if number <= _LARGEST_NUMBER:
            whole.append((ts, packed))
        elif number == _NO_POINT:
            readings = packed[size:]
            if mark == crc(readings, crc(key(site, ts))):
                whole.append((ts, readings))
    return whole


def _moments(db: Connection, site: int, start: int, end: int) -> Rows:
    """Rows of a site with start <= time < end [ms], by time."""
    found = db.execute(
        "SELECT ts, readings FROM moments WHERE site = ? AND ts >= ? AND ts < ?", (site, start, end)
    ).fetchall()
    whole = _whole(site, found)
    if len(whole) < len(found) or db.damaged.get(site):
        _note(db, site, [(row[0], None) for row in found], [(row[0], None) for row in whole])
    if not whole:
        return np.empty(0, np.int64), np.empty(0, READING)
    times, readings = zip(*whole, strict=True)
    lengths = np.array([len(packed) for packed in readings]) // READING.itemsize
    return np.repeat(np.array(times, np.int64), lengths), np.frombuffer(b"".join(readings), READING)


def _note(
    db: Connection,
    site: int,
    found: Collection[tuple[int, int | None]],
    whole: Collection[tuple[int, int | None]],
) -> None:
    """Keep what of the rows that were found is damaged, and forget what is whole again."""
    noted = db.damaged.get(site, set())
    now = (noted | {*found}) - {*whole} if len(found) > len(whole) else noted - {*whole}
    if now - noted:
        log.error("%d damaged rows of recent readings of site %d are left out", len(now), site)
    db.damaged[site] = now


def _forget_texts(db: Connection, site: int, time: NDArray[np.int64], rows: NDArray[Any]) -> None:
    """Delete texts that numbers replace."""
    if db.execute("SELECT 1 FROM texts WHERE site = ? LIMIT 1", (site,)).fetchone():
        keys = ((site, ts, point) for ts, point in zip(time.tolist(), rows["point"].tolist(), strict=True))
        db.executemany("DELETE FROM texts WHERE site = ? AND ts = ? AND point = ?", keys)


def pack_rows(db: Connection) -> None:
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
    db: Connection,
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
    return held(db, number, names, EARLIEST if start is None else start, LATEST if end is None else end)


def held(db: Connection, site: int, names: dict[int, str], start: int, end: int) -> Readings:
    """Readings of the points with those numbers, start <= time < end [ms]."""
    time, rows = _moments(db, site, start, end)
    out = _samples_by_point(names, time, rows["point"], rows["value"])
    if texts := _texts(db, site, start, end):
        values = np.array([t for _, _, t in texts], dtype=object)
        when, whose = (np.array(c, np.int64) for c in zip(*((ts, p) for ts, p, _ in texts), strict=True))
        out = overlay(_samples_by_point(names, when, whose, values), out)
    return out


_TEXTS = "SELECT ts, point, CAST(value AS BLOB), mark FROM texts WHERE site = ?"


def _texts(db: Connection, site: int, start: int, end: int) -> list[tuple[int, int, str]]:
    """Time, point and text of a site's texts with start <= time < end [ms]."""
    found = db.execute(f"{_TEXTS} AND ts >= ? AND ts < ?", (site, start, end)).fetchall()
    whole = [row for row in found if _is_whole_text(site, *row)]
    if len(whole) < len(found) or db.damaged.get(site):
        _note(db, site, [row[:2] for row in found], [row[:2] for row in whole])
    return [(ts, point, text.decode()) for ts, point, text, _ in whole]


def _is_whole_text(site: int, ts: int, point: int, text: bytes, mark: int | None) -> bool:
    if mark is not None:
        return mark == _text_mark(site, ts, point, text)
    try:
        return text.decode() is not None
    except UnicodeDecodeError:
        return False


def _samples_by_point(
    names: dict[int, str], time: NDArray[np.int64], points: NDArray[Any], values: NDArray[Any]
) -> Readings:
    """Samples of the named points, from rows in time order."""
    if not len(time):
        return {}
    points = np.ascontiguousarray(points)  # a strided field: sorting it in place is slower
    near = points - points.min()  # so are numbers of 32 bits
    order = np.argsort(near.astype(np.uint16) if near.max() < 1 << 16 else near, kind="stable")
    points = points[order]
    edges = [0, *(np.flatnonzero(points[1:] != points[:-1]) + 1).tolist(), len(points)]
    return {
        names[number]: Samples(time[order[a:b]], values[order[a:b]])
        for a, b in pairwise(edges)
        if (number := int(points[a])) in names
    }


def spans(db: Connection, site: str, without: Collection[str] = ()) -> dict[str, tuple[int, int, int]]:
    """Point -> number of readings, first and last time [ms], except for the points in `without`."""
    number = site_number(db, site)
    if number is None:
        return {}
    names = {num: name for name, num in point_numbers(db, number).items() if name not in without}
    found = held(db, number, names, EARLIEST, LATEST) if names else {}
    return {p: (len(s.time), int(s.time[0]), int(s.time[-1])) for p, s in found.items()}
