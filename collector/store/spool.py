"""Spool: readings waiting for the server, durable when accepted, sent in order, deleted once sent."""

from __future__ import annotations

import sqlite3
import threading
import uuid
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import NamedTuple

import numpy as np
import orjson
from numpy.typing import NDArray

from fieldfare.analysis.readings import Readings, Samples
from fieldfare.collector.store.durable import connected, transaction
from fieldfare.collector.store.files import file_lock, make_folder
from fieldfare.collector.store.merge import EARLIEST, LATEST, days_of, overlay

_TABLES = """
CREATE TABLE IF NOT EXISTS chunks (
    seq INTEGER PRIMARY KEY AUTOINCREMENT, site TEXT NOT NULL, point TEXT NOT NULL, first INTEGER NOT NULL,
    last INTEGER NOT NULL, count INTEGER NOT NULL, is_text INTEGER NOT NULL, times BLOB NOT NULL,
    vals BLOB NOT NULL);
CREATE INDEX IF NOT EXISTS chunks_site ON chunks (site, point);
CREATE TABLE IF NOT EXISTS refused (
    seq INTEGER PRIMARY KEY, site TEXT NOT NULL, point TEXT NOT NULL, count INTEGER NOT NULL,
    is_text INTEGER NOT NULL, times BLOB NOT NULL, vals BLOB NOT NULL, reason TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS revisions (
    site TEXT NOT NULL, day INTEGER NOT NULL, revision INTEGER NOT NULL, sent INTEGER NOT NULL,
    PRIMARY KEY (site, day)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS writer (
    only INTEGER PRIMARY KEY CHECK (only = 1), name TEXT NOT NULL, counter INTEGER NOT NULL);
"""


class Chunk(NamedTuple):
    """Pending samples of one point."""

    seq: int
    site: str
    point: str
    samples: Samples


class Spool:
    """The spool file. Several processes may share it; one of them sends.

    folder : Path, created if missing
    """

    def __init__(self, folder: Path) -> None:
        make_folder(folder)
        self._folder = folder
        self._lock = threading.RLock()
        with file_lock(folder / "open.lock", wait=True):
            self._db = connected(folder / "spool.sqlite", _TABLES)
            self._db.execute("INSERT OR IGNORE INTO writer VALUES (1, ?, 0)", (uuid.uuid4().hex[:12],))
        self.writer: str = str(self._db.execute("SELECT name FROM writer").fetchone()[0])

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._lock, transaction(self._db) as db:
            yield db

    def sending(self, *, wait: bool = False) -> AbstractContextManager[bool]:
        """Hold the sender role; yield whether this process has it."""
        return file_lock(self._folder / "sending.lock", wait=wait)

    def put(self, site: str, readings: Readings) -> None:
        """Store readings of a site; durable when it returns. Raise the revisions of their days."""
        with self._writing() as db:
            db.executemany(
                "INSERT INTO chunks (site, point, first, last, count, is_text, times, vals) VALUES (?, ?, ?,"
                " ?, ?, ?, ?, ?)",
                [
                    (
                        site,
                        p,
                        int(s.time[0]),
                        int(s.time[-1]),
                        len(s.time),
                        s.value.dtype == object,
                        *_packed(s),
                    )
                    for p, s in readings.items()
                ],
            )
            _raise_revisions(db, site, np.concatenate([days_of(s.time) for s in readings.values()]))

    def raise_revisions(self, site: str, times: NDArray[np.int64]) -> None:
        """Raise the revisions of the days of some times [ms], whose readings were deleted."""
        with self._writing() as db:
            _raise_revisions(db, site, days_of(np.sort(times)))

    def waiting(
        self, site: str, points: Iterable[str] | None = None, start: int | None = None, end: int | None = None
    ) -> Readings:
        """Pending readings of a site with start <= time < end [ms]; later values win."""
        with self._lock:
            rows = self._db.execute(
                "SELECT point, is_text, times, vals FROM chunks WHERE site = ?1"
                " AND (?2 IS NULL OR last >= ?2) AND (?3 IS NULL OR first < ?3) ORDER BY seq",
                (site, start, end),
            ).fetchall()
        chosen = None if points is None else set(points)
        out: Readings = {}
        for point, is_text, times, vals in rows:
            if chosen is None or point in chosen:
                out = overlay({point: _unpacked(is_text, times, vals)}, out)
        if start is None and end is None:
            return out
        low, high = EARLIEST if start is None else start, LATEST if end is None else end
        return {p: cut for p, s in out.items() if len((cut := s.between(low, high)).time)}

    def next_chunks(self, readings: int) -> list[Chunk]:
        """The oldest chunks: at least one, about `readings` readings."""
        out: list[Chunk] = []
        with self._lock:
            rows = self._db.execute(
                "SELECT seq, site, point, count, is_text, times, vals FROM chunks ORDER BY seq"
            )
            for seq, site, point, count, is_text, times, vals in rows:
                out.append(Chunk(seq, site, point, _unpacked(is_text, times, vals)))
                readings -= count
                if readings <= 0:
                    break
            rows.close()
        return out

    def done(self, chunks: Iterable[Chunk]) -> None:
        """Delete chunks that the server has accepted."""
        with self._writing() as db:
            db.executemany("DELETE FROM chunks WHERE seq = ?", [(c.seq,) for c in chunks])

    def refuse(self, chunk: Chunk, reason: str) -> None:
        """Keep a chunk that the server will never accept, and stop sending it."""
        with self._writing() as db:
            db.execute(
                "INSERT OR IGNORE INTO refused SELECT seq, site, point, count, is_text, times, vals, ? FROM"
                " chunks WHERE seq = ?",
                (reason, chunk.seq),
            )
            db.execute("DELETE FROM chunks WHERE seq = ?", (chunk.seq,))

    def refused(self) -> list[tuple[str, str, int, str]]:
        """Site, point, readings and reason of refused chunks."""
        with self._lock:
            return list(self._db.execute("SELECT site, point, count, reason FROM refused ORDER BY seq"))

    def depth(self) -> int:
        """Number of pending readings."""
        with self._lock:
            return int(self._db.execute("SELECT coalesce(sum(count), 0) FROM chunks").fetchone()[0])

    def revisions(self, site: str) -> dict[int, int]:
        """UTC day -> this writer's revision of it."""
        with self._lock:
            return dict(self._db.execute("SELECT day, revision FROM revisions WHERE site = ?", (site,)))

    def unsent_revisions(self) -> list[tuple[str, int, int]]:
        """Site, day and revision not yet on the server."""
        with self._lock:
            return list(self._db.execute("SELECT site, day, revision FROM revisions WHERE sent < revision"))

    def revisions_sent(self, rows: Iterable[tuple[str, int, int]]) -> None:
        with self._writing() as db:
            db.executemany(
                "UPDATE revisions SET sent = ? WHERE site = ? AND day = ?",
                [(r, site, day) for site, day, r in rows],
            )

    def forget(self, site: str) -> None:
        """Delete all pending readings of a site, and overwrite their space."""
        with self._writing() as db:
            for table in ("chunks", "refused", "revisions"):
                db.execute(f"DELETE FROM {table} WHERE site = ?", (site,))  # noqa: S608
        with self._lock:
            self._db.execute("VACUUM")
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def close(self) -> None:
        with self._lock:
            self._db.close()


def _raise_revisions(db: sqlite3.Connection, site: str, days: NDArray[np.int64]) -> None:
    db.execute("UPDATE writer SET counter = counter + 1")
    (revision,) = db.execute("SELECT counter FROM writer").fetchone()
    db.executemany(
        "INSERT INTO revisions VALUES (?, ?, ?, 0) ON CONFLICT (site, day) DO UPDATE SET revision ="
        " excluded.revision",
        [(site, d, revision) for d in np.unique(days).tolist()],
    )


def _packed(samples: Samples) -> tuple[bytes, bytes]:
    times = np.ascontiguousarray(samples.time, "<i8").tobytes()
    if samples.value.dtype == object:
        return times, orjson.dumps(samples.value.tolist())
    return times, np.ascontiguousarray(samples.value, "<f8").tobytes()


def _unpacked(is_text: int, times: bytes, vals: bytes) -> Samples:
    time = np.frombuffer(times, "<i8").astype(np.int64)
    if is_text:
        return Samples(time, np.array(orjson.loads(vals), dtype=object))
    return Samples(time, np.frombuffer(vals, "<f8").astype(np.float64))
