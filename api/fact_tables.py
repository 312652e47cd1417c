"""Facts tables as the state database holds them: one compressed Arrow stream for each kind and month, in order of days."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import numpy as np
import pyarrow as pa

from analysis.facts.table import Table


def arrow_of(table: Table) -> pa.Table:
    """A facts table as Arrow, column by column."""
    return pa.table([pa.array(table[name]) for name in table.names], names=table.names)


def between(table: pa.Table, first: date, last: date) -> pa.Table:
    """The rows of the local days first..last, both inclusive, of a table in order of days."""
    a, b = _rows(table, first, last)
    return table.slice(a, b - a)


def replaced(older: pa.Table, fresh: pa.Table, first: date, last: date) -> pa.Table:
    """A table with its rows of first..last replaced; both are in order of days, and so is what is returned."""
    a, b = _rows(older, first, last)
    return joined([older.slice(0, a), fresh, older.slice(b)])


def joined(tables: Iterable[pa.Table]) -> pa.Table:
    """Tables one after the other; a column that one of them lacks is unknown there."""
    given = list(tables)
    filled = [t for t in given if t.num_rows] or given[:1]
    if all(t.schema.equals(filled[0].schema) for t in filled[1:]):
        return pa.concat_tables(filled)
    return pa.concat_tables(filled, promote_options="permissive")


def table_of(tables: Iterable[pa.Table], first: date, last: date) -> Table:
    """The rows of first..last of tables that follow one another; one without rows where there is none."""
    given = list(tables)
    if not given:
        return Table({"day": np.empty(0, dtype="datetime64[us]")})
    chosen = between(joined(given), first, last)
    return Table(
        {name: column.to_numpy() for name, column in zip(chosen.column_names, chosen.columns, strict=True)}
    )


def packed(table: pa.Table) -> bytes:
    """One Arrow stream, compressed as a whole: a table of 150 columns and 30 rows would be mostly compression frames."""
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    raw = sink.getvalue()
    return len(raw).to_bytes(8, "little") + pa.compress(raw, codec="zstd", asbytes=True)


def unpacked(payload: bytes) -> pa.Table:
    size = int.from_bytes(payload[:8], "little")
    raw = pa.decompress(memoryview(payload)[8:], decompressed_size=size, codec="zstd")
    # Chunks of older releases carry pandas' notes, which would keep them apart from new ones.
    return pa.ipc.open_stream(raw).read_all().replace_schema_metadata(None)


def _rows(table: pa.Table, first: date, last: date) -> tuple[int, int]:
    day = table.column("day").to_numpy()
    a = int(np.searchsorted(day, np.datetime64(first, "us"), side="left"))
    return a, int(np.searchsorted(day, np.datetime64(last, "us"), side="right"))
