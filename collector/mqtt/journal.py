"""The collector's journal (SQLite): dead letters, unacknowledged arrivals, subscriptions.

One file in the data folder in WAL mode, durable at every commit. The collector writes it; the command line
and the service may read and write it at the same time.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from fieldfare.analysis.errors import FieldfareError
from fieldfare.collector.store.durable import connected, transaction

FILE = "intake.sqlite"
_TABLES = """
CREATE TABLE IF NOT EXISTS aside (
    id INTEGER PRIMARY KEY AUTOINCREMENT, site TEXT NOT NULL, topic TEXT NOT NULL, payload BLOB NOT NULL,
    arrived INTEGER NOT NULL, retained INTEGER NOT NULL, reason TEXT NOT NULL, digest BLOB NOT NULL,
    UNIQUE (digest, arrived));
CREATE TABLE IF NOT EXISTS aside_tally (
    only INTEGER PRIMARY KEY CHECK (only = 1), kept INTEGER NOT NULL, dropped INTEGER NOT NULL,
    messages INTEGER NOT NULL, bytes INTEGER NOT NULL);
INSERT OR IGNORE INTO aside_tally VALUES (1, 0, 0, 0, 0);
CREATE TABLE IF NOT EXISTS arrivals (
    seq INTEGER PRIMARY KEY AUTOINCREMENT, client TEXT NOT NULL, mid INTEGER NOT NULL, digest BLOB NOT NULL,
    arrived INTEGER NOT NULL, UNIQUE (client, mid));
CREATE TABLE IF NOT EXISTS filters (
    client TEXT NOT NULL, filter TEXT NOT NULL, PRIMARY KEY (client, filter)) WITHOUT ROWID;
"""
# Tables of earlier releases, which nothing read: an erased home must not stay in them.
_RETIRED = "".join(f"DROP TABLE IF EXISTS {table};\n" for table in ("seen", "late_days", "status", "notes"))


class Journal:
    """An open journal. One per thread.

    folder : Path, created if missing
    """

    def __init__(self, folder: Path) -> None:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self.path: Path = folder / FILE
        try:
            self._db = connected(self.path, _TABLES + _RETIRED)
        except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
            raise FieldfareError(f"{self.path}: {error}") from error

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: durable when the block ends, rolled back on an exception."""
        with transaction(self._db) as db:
            yield db

    @property
    def db(self) -> sqlite3.Connection:
        """Connection for reading."""
        return self._db

    def arrivals(self, client: str) -> dict[int, tuple[bytes, int]]:
        """Packet id -> digest and arrival time [ms] of the client's last messages."""
        rows = self._db.execute("SELECT mid, digest, arrived FROM arrivals WHERE client = ?", (client,))
        return {mid: (digest, arrived) for mid, digest, arrived in rows}

    def filters(self, client: str) -> set[str]:
        """The filters of the client's session at the broker."""
        return {f for (f,) in self._db.execute("SELECT filter FROM filters WHERE client = ?", (client,))}

    def close(self) -> None:
        self._db.close()


def write_arrivals(
    db: sqlite3.Connection, client: str, rows: Sequence[tuple[int, bytes, int]], most: int
) -> None:
    """Record packet id, digest and arrival time of messages; of a client the last `most` stay."""
    db.executemany(
        "INSERT OR REPLACE INTO arrivals (client, mid, digest, arrived) VALUES (?, ?, ?, ?)",
        [(client, *row) for row in rows],
    )
    db.execute(
        "DELETE FROM arrivals WHERE client = ?1 AND seq <= (SELECT max(seq) FROM arrivals WHERE client ="
        " ?1) - ?2",
        (client, most),
    )


def write_filters(db: sqlite3.Connection, client: str, filters: Iterable[str]) -> None:
    """Replace the filters of the client's session at the broker."""
    db.execute("DELETE FROM filters WHERE client = ?", (client,))
    db.executemany("INSERT INTO filters VALUES (?, ?)", [(client, f) for f in sorted(filters)])
