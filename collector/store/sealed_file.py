"""One sealed month as a Parquet file: written with checksums, read without damaged parts."""

from __future__ import annotations

import io
import json
import os
from collections.abc import Collection
from contextlib import AbstractContextManager, suppress
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from fieldfare.analysis.readings import Readings, Samples
from fieldfare.collector.arrow import array, numbers, texts
from fieldfare.collector.store.checksums import ChecksumMismatch, read_checksums, with_checksums
from fieldfare.collector.store.sealed_index import (
    INDEX_KEY,
    DamagedFile,
    Index,
    RowGroup,
    as_damage,
    parsed_index,
)

_SCHEMA = pa.schema(
    [
        ("point", pa.dictionary(pa.int32(), pa.string())),
        ("ts", pa.int64()),
        ("value", pa.float64()),
        ("text", pa.string()),
    ]
)


def _as_damage(path: Path) -> AbstractContextManager[None]:
    return as_damage(path, pa.ArrowException)


def read_index(path: Path) -> Index:
    """Read a file's index with the Parquet library. Raises DamagedFile."""
    with _as_damage(path):
        return _index(pq.read_metadata(path))


def _index(meta: pq.FileMetaData) -> Index:
    index = parsed_index(meta.metadata[INDEX_KEY])
    if len(index) != meta.num_row_groups or sum(g.rows for g in index.values()) != meta.num_rows:
        raise ChecksumMismatch("its index does not match its rows")
    return index


def read_file(
    path: Path, source: pa.MemoryMappedFile, points: Collection[str] | None, threads: bool
) -> tuple[Readings, list[str]]:
    """Readings of a file, and the points whose data are damaged. Raises DamagedFile."""
    with _as_damage(path):
        data = memoryview(source.read_buffer())
        sums = read_checksums(data)
        source.seek(0)
        file = pq.ParquetFile(source)
        index = _index(file.metadata)
    groups = {p: g for p, g in index.items() if points is None or p in points}
    whole = groups if sums is None else {p: g for p, g in groups.items() if sums.is_whole(data, g.number)}
    lost = [p for p in groups if p not in whole]
    if not whole:
        return {}, lost
    try:
        with _as_damage(path):
            found = _readings(file, whole, len(index), threads)
    except DamagedFile:
        found = _one_by_one(path, file, whole, len(index))
    if sums is None:
        found = {p: s for p, s in found.items() if _is_sound(s, whole[p])}
    return found, [*lost, *(p for p in whole if p not in found)]


def damaged_points(path: Path) -> list[str]:
    """Points whose data are damaged; values are decoded only without checksums. Raises DamagedFile."""
    with _as_damage(path):
        mapped = pa.memory_map(str(path))
    with mapped as source:
        with _as_damage(path):
            data = memoryview(source.read_buffer())
            sums = read_checksums(data)
            source.seek(0)
            index = _index(pq.read_metadata(source))
        if sums is None:
            source.seek(0)
            return read_file(path, source, None, False)[1]
        return [point for point, group in index.items() if not sums.is_whole(data, group.number)]


def _one_by_one(path: Path, file: pq.ParquetFile, groups_of: Index, groups: int) -> Readings:
    """The readable points of a damaged file."""
    out: Readings = {}
    for point, group in groups_of.items():
        with suppress(DamagedFile), _as_damage(path):
            out |= _readings(file, {point: group}, groups, False)
    return out


def _is_sound(samples: Samples, group: RowGroup) -> bool:
    """Whether a point's times match the index: the only check for files of earlier releases."""
    time = samples.time
    ends = len(time) == group.rows and int(time[0]) == group.first and int(time[-1]) == group.last
    return ends and bool((time[1:] > time[:-1]).all())


def _readings(file: pq.ParquetFile, groups_of: Index, groups: int, threads: bool) -> Readings:
    columns = ["ts", "value"]
    if any(g.is_text for g in groups_of.values()):
        columns.append("text")
    if len(groups_of) == groups:
        table = file.read(columns=columns, use_threads=threads)
        offsets = {p: g.offset for p, g in groups_of.items()}
    else:
        chosen = sorted(groups_of.items(), key=lambda item: item[1].number)
        table = file.read_row_groups([g.number for _, g in chosen], columns=columns, use_threads=threads)
        starts = np.cumsum([0, *(g.rows for _, g in chosen)])
        offsets = {p: int(at) for (p, _), at in zip(chosen, starts, strict=False)}
    time, value = numbers(table.column("ts")), numbers(table.column("value"))
    out: Readings = {}
    for point, group in groups_of.items():
        at = slice(offsets[point], offsets[point] + group.rows)
        if group.is_text:
            texts = table.column("text").slice(at.start, group.rows).to_pylist()
            out[point] = Samples(time[at], np.array(texts, dtype=object))
        else:
            out[point] = Samples(time[at], value[at])
    return out


def write_file(path: Path, readings: Readings) -> None:
    with path.open("wb") as file:
        file.write(with_checksums(as_parquet(readings)))
        file.flush()
        os.fsync(file.fileno())


def as_parquet(readings: Readings) -> bytes:
    index = []
    out = io.BytesIO()
    with pq.ParquetWriter(
        out,
        _SCHEMA,
        compression="zstd",
        compression_level=3,
        use_dictionary=["point", "value", "text"],
        column_encoding={"ts": "DELTA_BINARY_PACKED"},
        write_statistics=["point"],  # those of times and values take a sixth of the work; nothing reads them
    ) as writer:
        for point in sorted(readings):
            time, value = readings[point]
            n, is_text = len(time), value.dtype == object
            index.append([point, n, int(time[0]), int(time[-1]), bool(is_text)])
            empty = pa.nulls(n, pa.float64() if is_text else pa.string())
            filled = array(value)
            columns = [
                pa.DictionaryArray.from_arrays(array(np.zeros(n, np.int32)), texts([point])),
                array(time),
                *((empty, filled) if is_text else (filled, empty)),
            ]
            writer.write_table(pa.table(columns, schema=_SCHEMA), row_group_size=n)
        writer.add_key_value_metadata({INDEX_KEY: json.dumps(index).encode()})
    return out.getvalue()
