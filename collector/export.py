"""Export raw readings to long Parquet, or to CSV that `ingest_csv` reads back unchanged."""

from __future__ import annotations

import gzip
import os
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.readings import Readings
from fieldfare.collector.csv.cells import harmless
from fieldfare.collector.csv.layout import EXPORT_HEADER
from fieldfare.collector.store.protocol import Store
from fieldfare.collector.store.sealed import month_parts

_SCHEMA = pa.schema(
    [
        ("time", pa.timestamp("ms", "UTC")),
        ("point", pa.dictionary(pa.int32(), pa.string())),
        ("value", pa.float64()),
        ("text", pa.dictionary(pa.int32(), pa.string())),
        ("unit", pa.dictionary(pa.int32(), pa.string())),
        ("quantity", pa.dictionary(pa.int32(), pa.string())),
    ]
)
_KINDS = (".parquet", ".csv", ".csv.gz")


def export_readings(
    site: Site, store: Store, out: Path, start: int | None = None, end: int | None = None
) -> int:
    """Write a site's readings with start <= time < end [ms], by time, one month in memory at once.

    out : Path ending in .parquet, .csv or .csv.gz; replaced only when the export is complete. Columns: time
        (UTC), point, value (a state's code), text (a state's word, a fault code), unit, quantity
    Returns the number of readings written. Raises InputError for another ending or a missing folder.
    """
    out = Path(out)
    kind = next((k for k in _KINDS if out.name.endswith(k)), None)
    if kind is None:
        raise InputError(f"{out}: the name must end in {', '.join(_KINDS)}")
    if not out.parent.is_dir():
        raise InputError(f"{out}: there is no folder {out.parent}")
    beside = out.with_name(f".{out.name}.{os.getpid()}")
    count = 0
    try:
        with ExitStack() as stack:
            file: Any = stack.enter_context(beside.open("wb"))
            if kind == ".csv.gz":
                file = stack.enter_context(gzip.GzipFile(fileobj=file, mode="wb", compresslevel=6))
            if kind == ".parquet":
                writer = stack.enter_context(pq.ParquetWriter(file, _SCHEMA, compression="zstd"))
            else:
                file.write((",".join(EXPORT_HEADER) + "\n").encode())
            for readings in _months(site.id, store, start, end):
                table = _table(site, readings)
                count += table.num_rows
                if kind == ".parquet":
                    writer.write_table(table)
                else:
                    pacsv.write_csv(_as_text(table), file, _options(table))
        os.replace(beside, out)
    finally:
        beside.unlink(missing_ok=True)
    return count


def _months(site: str, store: Store, start: int | None, end: int | None) -> Iterator[Readings]:
    span = store.span(site)
    if span is None:
        return
    first = span[0] if start is None else max(start, span[0])
    last = span[1] + 1 if end is None else min(end, span[1] + 1)
    for begin, until in month_parts(first, last):
        if readings := store.read(site, None, begin, until):
            yield readings


def _table(site: Site, readings: Readings) -> pa.Table:
    points = sorted(readings)
    known = [site.find_point(p) for p in points]
    counts = [len(readings[p].time) for p in points]
    time = np.concatenate([readings[p].time for p in points])
    order = np.argsort(time, kind="stable")
    which = np.repeat(np.arange(len(points), dtype=np.int32), counts)[order]

    def by_point(words: list[str]) -> pa.Array:
        return pa.DictionaryArray.from_arrays(which, pa.array(words, pa.string()))

    texts, values = [], []
    for name, point in zip(points, known, strict=True):
        value, text = _columns(point, readings[name].value)
        values.append(value)
        texts.append(text)
    columns = [
        pa.array(time[order]).cast(pa.timestamp("ms", "UTC")),
        by_point(points),
        pc.take(pa.chunked_array(values), pa.array(order)).combine_chunks(),
        pc.take(pa.chunked_array(texts), pa.array(order)).combine_chunks().dictionary_encode(),
        by_point([p.unit if p else "" for p in known]),
        by_point([p.quantity if p else "" for p in known]),
    ]
    return pa.table([_whole(c) for c in columns], schema=_SCHEMA)


def _columns(point: Point | None, value: np.ndarray) -> tuple[pa.Array, pa.Array]:
    """The value and the text column of one point."""
    if value.dtype == object:
        return pa.nulls(len(value), pa.float64()), pa.array(value, pa.string())
    states = point.kind.states if point and point.form == "state" else None
    if not states:
        return pa.array(value), pa.nulls(len(value), pa.string())
    words = np.array([None] * (max(states.values()) + 1), dtype=object)
    for word, code in states.items():
        words[code] = word
    return pa.array(value), pa.array(words[value.astype(np.int64)], pa.string())


def _whole(column: Any) -> Any:
    return pa.concat_arrays(column.chunks) if isinstance(column, pa.ChunkedArray) else column


def _options(table: pa.Table) -> pacsv.WriteOptions:
    """Quote all words of a column if one of them needs quotes, otherwise none."""
    words = [w or "" for n in table.column_names for c in _words(table.column(n)) for w in c.to_pylist()]
    quoting = "needed" if any(set(harmless(w)) & set(',"\r\n') for w in words) else "none"
    return pacsv.WriteOptions(include_header=False, quoting_style=quoting)


def _harmless(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """Escape texts that a spreadsheet could read as a formula."""
    if not pa.types.is_dictionary(column.type):
        return column
    chunks = []
    for chunk in column.chunks:
        words = [None if w is None else harmless(w) for w in chunk.dictionary.to_pylist()]
        chunks.append(pa.DictionaryArray.from_arrays(chunk.indices, pa.array(words, pa.string())))
    return pa.chunked_array(chunks, column.type)


def _words(column: pa.ChunkedArray) -> list[pa.Array]:
    return [c.dictionary for c in column.chunks] if pa.types.is_dictionary(column.type) else []


def _as_text(table: pa.Table) -> pa.Table:
    """Return dictionary columns as plain text and times as ISO 8601 with Z."""
    odd = (table.column("time").cast(pa.int64()).to_numpy() % 1000).any()
    unit = "ms" if odd else "s"
    time = pc.strftime(table.column("time").cast(pa.timestamp(unit, "UTC")), "%Y-%m-%dT%H:%M:%SZ")
    columns = [time, *(_harmless(table.column(n)) for n in table.column_names[1:])]
    plain = [c.cast(pa.string()) if pa.types.is_dictionary(c.type) else c for c in columns]
    return pa.table(plain, names=table.column_names)
