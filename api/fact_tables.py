"""Facts tables as the state database holds them: one compressed Arrow stream for each kind and month, in order of days."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa


def table_of(frame: pd.DataFrame) -> pa.Table:
    """A frame as Arrow, column by column: pandas' own notes on 230 columns would outweigh a month's numbers."""
    names, kinds = frame.columns.tolist(), frame.dtypes.tolist()
    columns: list[pa.Array] = [None] * len(names)
    for kind in dict.fromkeys(kinds):
        alike = [at for at, own in enumerate(kinds) if own == kind]
        if isinstance(kind, np.dtype) and not kind.hasobject:
            # All columns of a kind at once: a frame hands out single ones slowly.
            values: Iterable[Any] = frame.iloc[:, alike].to_numpy().T
        else:
            values = [frame.iloc[:, at] for at in alike]
        for at, own in zip(alike, values, strict=True):
            columns[at] = pa.array(own)
    return pa.table(columns, names=names)


def between(table: pa.Table, first: date, last: date) -> pa.Table:
    """The rows of the local days first..last, both inclusive, of a table in order of days."""
    a, b = _rows(table, first, last)
    return table.slice(a, b - a)


def replaced(older: pa.Table, fresh: pa.Table, first: date, last: date) -> pa.Table:
    """A table with its rows of first..last replaced; both are in order of days, and so is what is returned."""
    a, b = _rows(older, first, last)
    return joined([older.slice(0, a), fresh, older.slice(b)]).combine_chunks()


def joined(tables: Iterable[pa.Table]) -> pa.Table:
    """Tables one after the other; a column that one of them lacks is unknown there."""
    given = list(tables)
    filled = [t for t in given if t.num_rows] or given[:1]
    if all(t.schema.equals(filled[0].schema) for t in filled[1:]):
        return pa.concat_tables(filled)
    return pa.concat_tables(filled, promote_options="permissive")


def frame_of(tables: Iterable[pa.Table], first: date, last: date) -> pd.DataFrame:
    """The rows of first..last of tables that follow one another, as a frame; one without rows where there is none."""
    given = list(tables)
    if not given:
        return pd.DataFrame({"day": pd.Series(dtype="datetime64[ns]")})
    return between(joined(given), first, last).to_pandas()


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
