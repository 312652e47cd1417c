"""A private SQLite file that is durable at every commit, for several processes."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fieldfare.collector.store.files import make_private

_WAIT_S = 30.0


def connected(path: Path, tables: str) -> sqlite3.Connection:
    """Open the file in WAL mode, with deleted content overwritten. Raises sqlite3.DatabaseError.

    tables : SQL that makes what is missing
    """
    make_private(path)
    db = sqlite3.connect(path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False)
    try:
        for pragma in ("synchronous = FULL", "secure_delete = ON", "journal_mode = WAL"):
            db.execute(f"PRAGMA {pragma}")
        db.executescript(tables)
    except (sqlite3.DatabaseError, UnicodeDecodeError):
        db.close()
        raise
    return db


@contextmanager
def transaction(db: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    """One transaction: durable when the block ends, rolled back on an exception."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield db
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise
