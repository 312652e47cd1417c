"""Checksums of rows that can't be recomputed: people, jobs, visits, decisions, papers, site files.

SQLite verifies the structure of its pages, not their contents. So triggers store a CRC-32 of every row in the
table `row_marks`, computed by a function that each of our connections defines. A damaged row keeps its old
checksum when it is updated, so that an update does not hide the damage. PostgreSQL has its own checksums
(`initdb --data-checksums`). Derived data have none.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from sqlalchemy import Connection

_UNMARKED = frozenset(
    {
        "alembic_version",
        "row_marks",
        "fact_days",
        "fact_chunks",
        "kept_results",
        "fleet_summaries",
        "live_states",
    }
)
PASSING = frozenset({"sessions", "failed_sign_ins", "invitations", "job_runs", "calendar_feeds"})
"""Tables whose rows may be dropped: people sign in again, are invited again, fetch their calendar's address
again; work is done again."""
_FORM = 1
"""Of the triggers; a database with those of another is given new ones."""
_TABLE = """CREATE TABLE IF NOT EXISTS row_marks (
    "table" TEXT NOT NULL, "row" INTEGER NOT NULL, mark INTEGER NOT NULL, PRIMARY KEY ("table", "row")
) WITHOUT ROWID"""


class DamagedRow(NamedTuple):
    """A row whose checksum differs, or that is missing without having been deleted.

    row : its rowid. site : the home it is of, empty where it is of none
    """

    table: str
    row: int
    what: str
    site: str = ""

    def __str__(self) -> str:
        return f"state database: row {self.row} of {self.table} {self.what}"


def define(connection: Any) -> None:
    """Give a connection of `sqlite3` the function that the triggers call."""
    connection.create_function("row_mark", -1, _mark, deterministic=True)


def _mark(table: str, *values: bytes | None) -> int:
    mark = zlib.crc32(table.encode())
    for value in values:
        mark = zlib.crc32(b"-" if value is None else b"%d:%b" % (len(value), value), mark)
    return mark


def is_marked(connection: Connection, version: str) -> bool:
    """Whether the triggers match this release and migration."""
    return bool(connection.exec_driver_sql("PRAGMA user_version").scalar() == _stamp(version))


def _stamp(version: str) -> int:
    return zlib.crc32(f"{_FORM}|{version}".encode()) & 0x7FFFFFFF


def install(connection: Connection, version: str) -> None:
    """Create the triggers of every table, in a transaction; existing rows without checksums are accepted as
    they are."""
    run = connection.exec_driver_sql
    run(_TABLE)
    for table, columns in _tables(connection).items():
        needed = _triggers(table, columns)
        triggers = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?"
        held = dict[str, str]([tuple(row) for row in run(triggers, (table,))])
        if held == needed:
            continue
        for name in held:
            run(f'DROP TRIGGER "{name}"')
        for statement in needed.values():
            run(statement)
        run('DELETE FROM row_marks WHERE "table" = ?', (table,))
        marks = f'SELECT ?, rowid, {_call(table, columns)} FROM "{table}"'  # noqa: S608
        run(f"INSERT INTO row_marks {marks}", (table,))
    run(f"PRAGMA user_version = {_stamp(version)}")


def _tables(connection: Connection) -> dict[str, list[str]]:
    """The columns of every marked table."""
    run = connection.exec_driver_sql
    names = (
        run("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
        .scalars()
        .all()
    )
    return {
        table: list(run("SELECT name FROM pragma_table_info(?) ORDER BY cid", (table,)).scalars())
        for table in sorted(set(names) - _UNMARKED)
    }


def _call(table: str, columns: list[str], of: str = "") -> str:
    """As bytes: damaged text may not be UTF-8, which would abort the statement."""
    given = ", ".join(f'CAST({of}"{column}" AS BLOB)' for column in columns)
    return f"row_mark('{table}', {given})"


def _triggers(table: str, columns: list[str]) -> dict[str, str]:
    # table and column names are ours
    head, each = f'CREATE TRIGGER "{table}_%s" AFTER %s ON "{table}"', "FOR EACH ROW"
    new, old = _call(table, columns, "NEW."), _call(table, columns, "OLD.")
    # No OR REPLACE: the conflict policy of the triggering statement would override it.
    write = (
        f"""DELETE FROM row_marks WHERE "table" = '{table}' AND "row" = NEW.rowid; """  # noqa: S608
        f"INSERT INTO row_marks VALUES ('{table}', NEW.rowid, {new});"
    )
    of_row = f"""FROM row_marks WHERE "table" = '{table}' AND "row" = OLD.rowid"""
    whole = f"WHEN (SELECT mark {of_row}) IS {old}"
    return {
        f"{table}_marked": f"{head % ('marked', 'INSERT')} {each} BEGIN {write} END",
        f"{table}_marked_anew": f"{head % ('marked_anew', 'UPDATE')} {each} {whole} BEGIN {write} END",
        f"{table}_unmarked": f"{head % ('unmarked', 'DELETE')} {each} BEGIN DELETE {of_row}; END",
    }


def damaged_rows(connection: Connection) -> Iterator[DamagedRow]:
    """Find damaged rows of a SQLite database."""
    run = connection.exec_driver_sql
    for table, columns in _tables(connection).items():
        beside = f"""LEFT JOIN row_marks m ON m."table" = '{table}' AND m."row" = t.rowid"""
        site = "CAST(t.site AS BLOB)" if "site" in columns else "NULL"
        where = f"WHERE m.mark IS NOT {_call(table, columns, 't.')}"
        for row, home in run(f'SELECT t.rowid, {site} FROM "{table}" t {beside} {where}'):  # noqa: S608
            home_text = (home or b"").decode(errors="replace")
            yield DamagedRow(table, row, "is damaged: its checksum differs", home_text)
        there = f'SELECT rowid FROM "{table}"'  # noqa: S608
        gone = f'SELECT "row" FROM row_marks WHERE "table" = ? AND "row" NOT IN ({there})'  # noqa: S608
        for (row,) in run(gone, (table,)):
            yield DamagedRow(table, row, "is lost")


def accept(connection: Connection, row: DamagedRow) -> None:
    """Accept a row with its present contents."""
    run = connection.exec_driver_sql
    run('DELETE FROM row_marks WHERE "table" = ? AND "row" = ?', (row.table, row.row))
    columns = _tables(connection)[row.table]
    call = _call(row.table, columns)
    run(
        f'INSERT INTO row_marks SELECT ?, rowid, {call} FROM "{row.table}" WHERE rowid = ?',  # noqa: S608
        (row.table, row.row),
    )


def drop(connection: Connection, row: DamagedRow) -> None:
    """Delete a row, its dependent rows, and its checksum."""
    connection.exec_driver_sql(f'DELETE FROM "{row.table}" WHERE rowid = ?', (row.row,))  # noqa: S608
    accept(connection, row)


def put_back(connection: Connection, backup: Connection, row: DamagedRow) -> bool:
    """Restore a row from another database with the same tables; databases of earlier releases have no
    checksums. Returns whether it has the row undamaged."""
    columns = _tables(connection)[row.table]
    if _tables(backup).get(row.table) != columns:
        return False
    names = ", ".join(f'"{c}"' for c in columns)
    chosen = f'SELECT {names} FROM "{row.table}" WHERE rowid = ?'  # noqa: S608
    given: tuple[object, ...] = (row.row,)
    if backup.exec_driver_sql("SELECT 1 FROM sqlite_master WHERE name = 'row_marks'").first():
        mark = 'SELECT mark FROM row_marks WHERE "table" = ? AND "row" = ?'
        chosen, given = f"{chosen} AND {_call(row.table, columns)} IS ({mark})", (row.row, row.table, row.row)
    found = backup.exec_driver_sql(chosen, given).first()
    if found is None:
        return False
    run: Callable[..., Any] = connection.exec_driver_sql
    values = ", ".join(f'"{c}" = ?' for c in columns)
    update = f'UPDATE "{row.table}" SET {values} WHERE rowid = ?'  # noqa: S608
    if not run(update, (*found, row.row)).rowcount:
        marks = ", ".join("?" * (len(columns) + 1))
        run(f'INSERT INTO "{row.table}" (rowid, {names}) VALUES ({marks})', (row.row, *found))  # noqa: S608
    accept(connection, row)
    return True
