"""Recent readings: one SQLite file in WAL mode, durable at every commit.

One row holds all numbers of a site at one time, packed by `recent_rows`. Gateways send their points together,
so a minute is one row, not fourteen, and a day is read in a few milliseconds. Texts are rare and have rows of
their own. Sites and points are small integers. The same file holds the revision of every day, and the days of
a change to sealed files in progress.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from fieldfare.analysis.errors import FieldfareError
from fieldfare.collector.store.files import make_private

_TABLES = """
CREATE TABLE IF NOT EXISTS sites (num INTEGER PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL UNIQUE);
CREATE TABLE IF NOT EXISTS points (
    num INTEGER PRIMARY KEY AUTOINCREMENT, site INTEGER NOT NULL, id TEXT NOT NULL, UNIQUE (site, id));
CREATE TABLE IF NOT EXISTS moments (
    site INTEGER NOT NULL, ts INTEGER NOT NULL, readings BLOB NOT NULL, PRIMARY KEY (site, ts)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS texts (
    site INTEGER NOT NULL, ts INTEGER NOT NULL, point INTEGER NOT NULL, value TEXT NOT NULL, mark INTEGER,
    PRIMARY KEY (site, ts, point)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS revisions (
    site INTEGER NOT NULL, day INTEGER NOT NULL, revision INTEGER NOT NULL,
    PRIMARY KEY (site, day)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS pending (
    site INTEGER NOT NULL, day INTEGER NOT NULL, PRIMARY KEY (site, day)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS counter (only INTEGER PRIMARY KEY CHECK (only = 1), value INTEGER NOT NULL);
INSERT OR IGNORE INTO counter VALUES (1, 0);
"""
_WAIT_S = 60.0
READING_BYTES = 12
"""Bytes of one reading of a packed moment (see `recent_rows.READING`)."""


class Connection(sqlite3.Connection):
    """A connection that knows which rows are damaged.

    damaged : by site, (time, point) of rows that were found damaged; no point for a moment. All
    connections of a database share it
    """

    damaged: dict[int, set[tuple[int, int | None]]]


class RecentDatabase:
    """Connections to the SQLite file, and its transactions. Thread-safe."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._damaged: dict[int, set[tuple[int, int | None]]] = {}
        self._idle: list[Connection] = []
        self._owner = os.getpid()
        make_private(path)
        with self._connection() as db:
            db.execute("PRAGMA journal_mode = WAL")
            db.executescript(_TABLES)
            if not any(row[1] == "mark" for row in db.execute("PRAGMA table_info(texts)")):
                db.execute("ALTER TABLE texts ADD COLUMN mark INTEGER")  # file of an earlier release
            if db.execute("SELECT 1 FROM sqlite_master WHERE name = 'numbers'").fetchone():
                from fieldfare.collector.store.recent_rows import pack_rows  # file of an earlier release

                pack_rows(db)

    @contextmanager
    def _connection(self) -> Iterator[Connection]:
        if self._owner != os.getpid():  # a connection must not survive a fork
            self._idle, self._owner = [], os.getpid()
        try:
            db = self._idle.pop()
        except IndexError:
            db = sqlite3.connect(
                self.path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False, factory=Connection
            )
            db.damaged = self._damaged
        try:
            db.execute("PRAGMA synchronous = FULL")
            yield db
        except (sqlite3.Error, UnicodeDecodeError) as error:  # SQLite quotes a damaged schema as it is
            db.close()
            raise FieldfareError(f"{self.path}: {error}") from error
        except BaseException:
            db.close()  # rolls back an interrupted transaction
            raise
        self._idle.append(db)

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """One transaction: durable when the block ends, rolled back on an exception."""
        with self._connection() as db:
            db.execute("BEGIN IMMEDIATE")
            yield db
            db.execute("COMMIT")

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A consistent snapshot."""
        with self._connection() as db:
            db.execute("BEGIN")
            yield db
            db.execute("COMMIT")

    def close(self) -> None:
        while self._idle:
            self._idle.pop().close()

    def erase(self) -> None:
        """Rewrite the file without deleted data, and truncate its log."""
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


def span(db: sqlite3.Connection, site: str) -> tuple[int, int] | None:
    """First and last time [ms] of a site, read from the ends of its index."""
    number = site_number(db, site)
    if number is None:
        return None
    ends = [
        row[0]
        for table in ("moments", "texts")
        for order in ("ASC", "DESC")
        for row in db.execute(
            f"SELECT ts FROM {table} WHERE site = ? ORDER BY ts {order} LIMIT 1",  # noqa: S608
            (number,),
        )
    ]
    return (min(ends), max(ends)) if ends else None


def days(db: sqlite3.Connection, site: str) -> set[int]:
    """UTC days (since 1970-01-01) with recent readings."""
    number = site_number(db, site)
    chosen = "SELECT DISTINCT ts / 86400000 FROM {} WHERE site = ?"
    tables = ("moments", "texts") if number is not None else ()
    return {int(day) for table in tables for (day,) in db.execute(chosen.format(table), (number,))}


def holds(db: sqlite3.Connection, site: str, start: int, end: int) -> bool:
    """Whether a site has recent readings with start <= time < end [ms]."""
    number = site_number(db, site)
    chosen = "SELECT 1 FROM {} WHERE site = ? AND ts >= ? AND ts < ? LIMIT 1"
    return number is not None and any(
        db.execute(chosen.format(table), (number, start, end)).fetchone() for table in ("moments", "texts")
    )


def damaged_rows(db: Connection, site: str) -> int:
    """Number of a site's rows that are malformed or were found damaged; they are not read."""
    number = site_number(db, site)
    if number is None:
        return 0
    odd = f"typeof(readings) <> 'blob' OR length(readings) = 0 OR length(readings) % {READING_BYTES}"
    found = db.execute(f"SELECT ts FROM moments WHERE site = ? AND ({odd})", (number,))  # noqa: S608
    return len({(ts, None) for (ts,) in found} | db.damaged.get(number, set()))


def delete(db: Connection, site: int, start: int, end: int) -> int:
    """Delete a site's readings with start <= time < end [ms]; return how many."""
    span = "site = ? AND ts >= ? AND ts < ?"
    length = (
        f"length(readings) / {READING_BYTES} - (substr(readings, 1, 4) = x'ffffffff')"  # without the mark
    )
    numbers = f"SELECT coalesce(sum({length}), 0) FROM moments WHERE {span}"  # noqa: S608
    count: int = db.execute(numbers, (site, start, end)).fetchone()[0]
    db.execute(f"DELETE FROM moments WHERE {span}", (site, start, end))  # noqa: S608
    db.damaged[site] = {row for row in db.damaged.get(site, ()) if not start <= row[0] < end}
    return count + db.execute(f"DELETE FROM texts WHERE {span}", (site, start, end)).rowcount  # noqa: S608


def remove_site(db: Connection, site: int) -> None:
    db.damaged.pop(site, None)
    for table in ("moments", "texts", "points", "revisions", "pending"):
        db.execute(f"DELETE FROM {table} WHERE site = ?", (site,))  # noqa: S608
    db.execute("DELETE FROM sites WHERE num = ?", (site,))


def bump(db: sqlite3.Connection, site: int, days: Iterable[int]) -> None:
    """Give days a new revision. Numbers are never reused, so a site added again has none of its old ones."""
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


def announce(db: sqlite3.Connection, site: int, days: Iterable[int]) -> None:
    """Record days whose sealed readings are about to change. days : UTC days (since 1970-01-01)"""
    db.executemany("INSERT OR IGNORE INTO pending VALUES (?, ?)", [(site, d) for d in days])


def pending(db: sqlite3.Connection, site: int) -> list[int]:
    """The announced days."""
    return [d for (d,) in db.execute("SELECT day FROM pending WHERE site = ?", (site,))]


def withdraw(db: sqlite3.Connection, site: int, days: Iterable[int]) -> None:
    """Cancel the announcement of days whose change did not happen."""
    db.executemany("DELETE FROM pending WHERE site = ? AND day = ?", [(site, day) for day in days])


def settle(db: sqlite3.Connection, site: int) -> None:
    """Raise the revisions of the announced days: the change is published, or was interrupted and may be."""
    days = pending(db, site)
    if days:
        bump(db, site, days)
        db.execute("DELETE FROM pending WHERE site = ?", (site,))


def sites_pending(db: sqlite3.Connection) -> list[str]:
    """Sites with announced days."""
    return [s for (s,) in db.execute("SELECT id FROM sites WHERE num IN (SELECT site FROM pending)")]
