"""Repair damaged rows of the state database: people, jobs, decisions."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from sqlalchemy import Connection, create_engine, event
from sqlalchemy.exc import DatabaseError, IntegrityError
from sqlalchemy.pool import NullPool

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.service import Service
from fieldfare.api.records.check import damaged_rows_of
from fieldfare.api.state.row_marks import PASSING, DamagedRow, accept, define, drop, put_back


class RepairedRows(NamedTuple):
    """Result of a repair of database rows.

    lines : one per damaged row. left : number still damaged
    """

    lines: list[str]
    left: int


def repair_rows(service: Service, folder: Path | None, *, accept: bool = False) -> RepairedRows:
    """Restore damaged rows from the data folder of a restored backup, delete short-lived ones, and accept
    the others where requested.

    Raises InputError for a folder with a state database that can't be read
    """
    rows = [row for row, _ in damaged_rows_of(service)]
    if not rows:
        return RepairedRows([], 0)
    with _backup(folder) as backup:
        done = [(row, _repaired(service, backup, row, accept)) for row in rows]
    left = len(damaged_rows_of(service))
    return RepairedRows([f"{row}; {what}" for row, what in done], left)


def _repaired(service: Service, backup: Connection | None, row: DamagedRow, take: bool) -> str:
    """Repair one row; describe the outcome."""
    if row.table in PASSING:
        with service.database.writing() as db:
            drop(db, row)
        return "deleted: it was short-lived"
    try:
        with service.database.writing() as db:
            if backup is not None and put_back(db, backup, row):
                return "brought back as it was in the backup; what was changed since is lost"
            if take:
                accept(db, row)
                return "taken as it is"
    except IntegrityError as error:
        return f"unchanged: the backup's row no longer fits ({error.orig})"
    said = "the backup does not have it" if backup is not None else "name the folder of a restored backup"
    return f"{said}; or check the row, correct it, and repair with --accept-rows"


@contextmanager
def _backup(folder: Path | None) -> Iterator[Connection | None]:
    """The state database of a restored backup, for reading only; None without one."""
    path = None if folder is None else folder / "state.sqlite"
    if path is None or not path.is_file():
        yield None
        return
    engine = create_engine(
        "sqlite://",
        creator=lambda: sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True),
        poolclass=NullPool,
    )
    event.listen(engine, "connect", lambda connection, _: define(connection))
    try:
        with engine.connect() as connection:
            yield connection
    except DatabaseError as error:
        raise InputError(f"{path}: can't be read: {error.orig}") from None
    finally:
        engine.dispose()
