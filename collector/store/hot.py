"""The newest readings: one SQLite file, written through its log and made durable at every commit.

Keyed (site, ts, point), with sites and points as small integers. Numbers and texts have a table each. The same
file holds the revision of every day, and the days of a change to sealed files that is under way.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager
from itertools import chain, pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.errors import FieldfareError
from analysis.readings import MS_PER_DAY, Readings, Samples
from collector.store.merge import laid

_TABLES = """
CREATE TABLE IF NOT EXISTS sites (num INTEGER PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL UNIQUE);
CREATE TABLE IF NOT EXISTS points (
    num INTEGER PRIMARY KEY AUTOINCREMENT, site INTEGER NOT NULL, id TEXT NOT NULL, UNIQUE (site, id));
CREATE TABLE IF NOT EXISTS numbers (
    site INTEGER NOT NULL, ts INTEGER NOT NULL, point INTEGER NOT NULL, value REAL NOT NULL,
    PRIMARY KEY (site, ts, point)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS texts (
    site INTEGER NOT NULL, ts INTEGER NOT NULL, point INTEGER NOT NULL, value TEXT NOT NULL,
    PRIMARY KEY (site, ts, point)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS revisions (
    site INTEGER NOT NULL, day INTEGER NOT NULL, revision INTEGER NOT NULL,
    PRIMARY KEY (site, day)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS pending (
    site INTEGER NOT NULL, day INTEGER NOT NULL, PRIMARY KEY (site, day)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS counter (only INTEGER PRIMARY KEY CHECK (only = 1), value INTEGER NOT NULL);
INSERT OR IGNORE INTO counter VALUES (1, 0);
"""
_EARLIEST, _LATEST = -(1 << 62), 1 << 62
_WAIT_S = 60.0
_ROWS_AT_ONCE = 100
"""Rows in one INSERT: a row then costs a small part of one inserted alone; more of them gain nothing."""

Row = tuple[int, int, int, Any]
"""site, ts, point, value."""


class Hot:
    """Connections to the SQLite file, and the statements on it. Safe to use from several threads."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._idle: list[sqlite3.Connection] = []
        self._owner = os.getpid()
        with self._connection() as db:
            db.execute("PRAGMA journal_mode = WAL")
            db.executescript(_TABLES)

    @contextmanager
    def _connection(self) -> Iterator[sqlite3.Connection]:
        if self._owner != os.getpid():  # a connection must not be carried over a fork
            self._idle, self._owner = [], os.getpid()
        try:
            db = self._idle.pop()
        except IndexError:
            db = sqlite3.connect(self._path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False)
            db.execute("PRAGMA synchronous = FULL")
        try:
            yield db
        except BaseException:
            db.close()  # rolls back; an interrupted statement leaves nothing half done
            raise
        self._idle.append(db)

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction, durable when the block ends, undone where it raises."""
        with self._connection() as db:
            db.execute("BEGIN IMMEDIATE")
            yield db
            db.execute("COMMIT")

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """One unchanging view."""
        with self._connection() as db:
            db.execute("BEGIN")
            yield db
            db.execute("COMMIT")

    def close(self) -> None:
        while self._idle:
            self._idle.pop().close()

    def erase(self) -> None:
        """Rewrite the file without what was deleted, and empty its log."""
        with self._connection() as db:
            db.execute("VACUUM")
            blocked = db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        if blocked:
            raise FieldfareError(
                "the readings are removed, but another process kept the store open for reading, "
                "so their bytes may still be on disk; remove the site again when it has ended"
            )


def sites(db: sqlite3.Connection) -> dict[str, int]:
    return dict(db.execute("SELECT id, num FROM sites"))


def site_number(db: sqlite3.Connection, site: str) -> int | None:
    found = db.execute("SELECT num FROM sites WHERE id = ?", (site,)).fetchone()
    return found[0] if found else None


def add_site(db: sqlite3.Connection, site: str) -> int:
    number = site_number(db, site)
    if number is None:
        db.execute("INSERT INTO sites (id) VALUES (?)", (site,))
        number = db.execute("SELECT last_insert_rowid()").fetchone()[0]
    return number


def point_numbers(db: sqlite3.Connection, site: int) -> dict[str, int]:
    return dict(db.execute("SELECT id, num FROM points WHERE site = ?", (site,)))


def add_points(db: sqlite3.Connection, site: int, points: Iterable[str]) -> dict[str, int]:
    known = point_numbers(db, site)
    if new := [(site, p) for p in points if p not in known]:
        db.executemany("INSERT INTO points (site, id) VALUES (?, ?)", new)
        known = point_numbers(db, site)
    return known


def put(db: sqlite3.Connection, table: str, rows: list[Row]) -> tuple[int, int]:
    """Insert rows or replace their values. Returns how many keys were new, and how many changed value."""
    new = 0
    for at in range(0, len(rows), _ROWS_AT_ONCE):
        part = rows[at : at + _ROWS_AT_ONCE]
        places = ", ".join(["(?, ?, ?, ?)"] * len(part))
        insert = f"INSERT OR IGNORE INTO {table} VALUES {places}"  # noqa: S608
        new += db.execute(insert, list(chain.from_iterable(part))).rowcount
    if new == len(rows):
        return new, 0
    turned = [(value, site, ts, point, value) for site, ts, point, value in rows]
    changed = db.executemany(
        f"UPDATE {table} SET value = ? WHERE site = ? AND ts = ? AND point = ? AND value <> ?",  # noqa: S608
        turned,
    ).rowcount
    return new, changed


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
    span = (
        number,
        _EARLIEST if start is None else start,
        _LATEST if end is None else end,
    )
    chosen = "" if points is None else f" AND point IN ({', '.join(map(str, names))})"
    out: Readings = {}
    for table, kind in (("numbers", np.float64), ("texts", object)):
        rows = db.execute(
            f"SELECT ts, point, value FROM {table} WHERE site = ? AND ts >= ? AND ts < ?{chosen}",  # noqa: S608
            span,
        )
        # Row by row into one array: lists of as many Python numbers take half as long again.
        found_rows = np.fromiter(rows, dtype=[("ts", np.int64), ("point", np.int64), ("value", kind)])
        if not len(found_rows):
            continue
        times, numbers, values = (np.ascontiguousarray(found_rows[c]) for c in ("ts", "point", "value"))
        order = np.argsort(numbers, kind="stable")
        numbers = numbers[order]
        edges = [0, *(np.flatnonzero(np.diff(numbers)) + 1).tolist(), len(numbers)]
        for a, b in pairwise(edges):
            found = Samples(times[order[a:b]], values[order[a:b]])
            out = laid({names[int(numbers[a])]: found}, out)
    return out


def spans(
    db: sqlite3.Connection, site: str, without: Collection[str] = ()
) -> dict[str, tuple[int, int, int]]:
    """Point -> readings, first and last time [ms]; of all points but those left out."""
    number = site_number(db, site)
    if number is None:
        return {}
    names = {num: name for name, num in point_numbers(db, number).items() if name not in without}
    if not names:
        return {}
    chosen = f" AND point IN ({', '.join(map(str, names))})" if without else ""
    out: dict[str, tuple[int, int, int]] = {}
    for table in ("numbers", "texts"):
        for point, count, first, last in db.execute(
            f"SELECT point, count(*), min(ts), max(ts) FROM {table} WHERE site = ?{chosen} GROUP BY point",  # noqa: S608
            (number,),
        ):
            held = out.get(names[point])
            if held:
                count, first, last = count + held[0], min(first, held[1]), max(last, held[2])
            out[names[point]] = (count, first, last)
    return out


def span(db: sqlite3.Connection, site: str) -> tuple[int, int] | None:
    """First and last time [ms] of a site, read off the two ends of its index, however many rows lie between."""
    number = site_number(db, site)
    if number is None:
        return None
    ends = [
        row[0]
        for table in ("numbers", "texts")
        for order in ("ASC", "DESC")
        for row in db.execute(f"SELECT ts FROM {table} WHERE site = ? ORDER BY ts {order} LIMIT 1", (number,))  # noqa: S608
    ]
    return (min(ends), max(ends)) if ends else None


def delete(db: sqlite3.Connection, site: int, start: int, end: int) -> int:
    """Remove a site's rows with start <= ts < end [ms]; returns how many."""
    return sum(
        db.execute(f"DELETE FROM {table} WHERE site = ? AND ts >= ? AND ts < ?", (site, start, end)).rowcount  # noqa: S608
        for table in ("numbers", "texts")
    )


def remove_site(db: sqlite3.Connection, site: int) -> None:
    for table in ("numbers", "texts", "points", "revisions", "pending"):
        db.execute(f"DELETE FROM {table} WHERE site = ?", (site,))  # noqa: S608
    db.execute("DELETE FROM sites WHERE num = ?", (site,))


def bump(db: sqlite3.Connection, site: int, days: Iterable[int]) -> None:
    """Give days a new revision. Numbers never come twice, so a site added again has none of its old ones."""
    db.execute("UPDATE counter SET value = value + 1")
    revision = db.execute("SELECT value FROM counter").fetchone()[0]
    db.executemany(
        "INSERT INTO revisions VALUES (?, ?, ?) "
        "ON CONFLICT (site, day) DO UPDATE SET revision = excluded.revision",
        [(site, int(day), revision) for day in days],
    )


def revisions(db: sqlite3.Connection, site: str) -> dict[int, int]:
    return dict(
        db.execute(
            "SELECT day, revision FROM revisions WHERE site = (SELECT num FROM sites WHERE id = ?)", (site,)
        )
    )


def announce(db: sqlite3.Connection, site: int, days: NDArray[np.int64]) -> None:
    """Note days whose sealed readings are about to change."""
    db.executemany("INSERT OR IGNORE INTO pending VALUES (?, ?)", [(site, d) for d in days.tolist()])


def settle(db: sqlite3.Connection, site: int) -> None:
    """Bump the announced days: the change is in force, or was cut off and may be."""
    days = [d for (d,) in db.execute("SELECT day FROM pending WHERE site = ?", (site,))]
    if days:
        bump(db, site, days)
        db.execute("DELETE FROM pending WHERE site = ?", (site,))


def unsettled(db: sqlite3.Connection) -> list[str]:
    """Sites with announced days."""
    return [s for (s,) in db.execute("SELECT id FROM sites WHERE num IN (SELECT site FROM pending)")]


def rows_of(site: int, numbers: dict[str, int], readings: Readings) -> dict[int, list[Row]]:
    """Rows by UTC day, in the order of the key."""
    out: dict[int, list[Row]] = {}
    for point, (time, value) in readings.items():
        number = numbers[point]
        for ts, v in zip(time.tolist(), value.tolist(), strict=True):
            day = ts // MS_PER_DAY
            row = (site, ts, number, v)
            if day in out:
                out[day].append(row)
            else:
                out[day] = [row]
    for rows in out.values():
        rows.sort(key=lambda r: r[1])
    return out
