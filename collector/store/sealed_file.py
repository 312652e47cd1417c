"""One sealed month as a Parquet file: written with checksums, read without damaged parts."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, suppress
from itertools import accumulate, pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from fieldfare.analysis.readings import Readings, Samples
from fieldfare.collector.arrow import array, numbers, texts
from fieldfare.collector.store.checksums import ChecksumMismatch, ChecksumWriter, read_checksums
from fieldfare.collector.store.merge import concatenated
from fieldfare.collector.store.sealed_index import (
    INDEX_KEY,
    DamagedFile,
    Index,
    RowGroup,
    as_damage,
    group_count,
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
MOST_ROWS = 500_000
"""Readings of one point in a row group: more have several, so that a month is merged in bounded memory."""
Piece = tuple[str, Samples]
"""A point and readings of it."""
Wanted = Callable[[str, RowGroup], bool]
"""Whether to read a row group of a point."""


class _Asked(NamedTuple):
    """A row group to read, of which point, and whether its values are texts."""

    point: str
    group: RowGroup
    is_text: bool


def _as_damage(path: Path) -> AbstractContextManager[None]:
    return as_damage(path, pa.ArrowException)


def read_index(path: Path) -> Index:
    """Read a file's index with the Parquet library. Raises DamagedFile."""
    with _as_damage(path):
        return _index(pq.read_metadata(path))


def _index(meta: pq.FileMetaData) -> Index:
    index = parsed_index(meta.metadata[INDEX_KEY])
    if group_count(index) != meta.num_row_groups or sum(p.rows for p in index.values()) != meta.num_rows:
        raise ChecksumMismatch("its index does not match its rows")
    return index


def _row_groups(index: Index, wanted: Wanted | None = None) -> list[_Asked]:
    """The wanted row groups (default all), in the order of the file."""
    return [
        _Asked(point, group, rows.is_text)
        for point, rows in index.items()
        for group in rows.groups
        if wanted is None or wanted(point, group)
    ]


def read_file(
    path: Path, source: pa.MemoryMappedFile, wanted: Wanted | None, threads: bool
) -> tuple[Readings, list[str]]:
    """Readings of the wanted row groups of a file (default all), and the points with damaged groups.

    Raises DamagedFile.
    """
    with _as_damage(path):
        data = memoryview(source.read_buffer())
        sums = read_checksums(data)
        source.seek(0)
        file = pq.ParquetFile(source)
        index = _index(file.metadata)
    asked = _row_groups(index, wanted)
    whole = asked if sums is None else [a for a in asked if sums.is_whole(data, a.group.number)]
    if not whole:
        return {}, _points(asked)
    try:
        with _as_damage(path):
            found = _readings(file, whole, threads)
            read = whole
    except DamagedFile:
        found, read = _one_by_one(path, file, whole)
    if sums is None:
        found = {p: s for p, s in found.items() if _is_sound(s, [a.group for a in whole if a.point == p])}
        read = [a for a in read if a.point in found]
    return found, [] if len(read) == len(asked) else _points(a for a in asked if a not in read)


def _points(asked: Iterable[_Asked]) -> list[str]:
    return list(dict.fromkeys(a.point for a in asked))


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
        return _points(a for a in _row_groups(index) if not sums.is_whole(data, a.group.number))


def _one_by_one(path: Path, file: pq.ParquetFile, asked: list[_Asked]) -> tuple[Readings, list[_Asked]]:
    """The readable row groups of a damaged file, and which they are."""
    parts: dict[str, list[Samples]] = {}
    read = []
    for one in asked:
        with suppress(DamagedFile), _as_damage(path):
            found = _readings(file, [one], False)
            parts.setdefault(one.point, []).append(found[one.point])
            read.append(one)
    return concatenated(parts), read


def _is_sound(samples: Samples, groups: list[RowGroup]) -> bool:
    """Whether a point's times match the index: the only check for files of earlier releases."""
    time, rows = samples.time, sum(g.rows for g in groups)
    ends = len(time) == rows and int(time[0]) == groups[0].first and int(time[-1]) == groups[-1].last
    return ends and bool((time[1:] > time[:-1]).all())


def _readings(file: pq.ParquetFile, asked: list[_Asked], threads: bool) -> Readings:
    columns = ["ts", "value"]
    if any(a.is_text for a in asked):
        columns.append("text")
    if len(asked) == file.num_row_groups:
        table = file.read(columns=columns, use_threads=threads)
    else:
        table = file.read_row_groups([a.group.number for a in asked], columns=columns, use_threads=threads)
    time, value = numbers(table.column("ts")), numbers(table.column("value"))
    edges = pairwise(accumulate((a.group.rows for a in asked), initial=0))
    spans: dict[str, slice] = {}
    for one, (start, end) in zip(asked, edges, strict=True):  # the row groups of one point are neighbours
        spans[one.point] = slice(spans[one.point].start if one.point in spans else start, end)
    worded = {a.point for a in asked if a.is_text}
    out: Readings = {}
    for point, at in spans.items():
        if point in worded:
            words = table.column("text").slice(at.start, at.stop - at.start).to_pylist()
            out[point] = Samples(time[at], np.array(words, dtype=object))
        else:
            out[point] = Samples(time[at], value[at])
    return out


def pieces_of(readings: Readings) -> Iterator[Piece]:
    """Readings as pieces of at most MOST_ROWS, by point and time."""
    for point in sorted(readings):
        time, value = readings[point]
        count = max(1, -(-len(time) // MOST_ROWS))  # of equal size: a small one at the end would stay small
        edges = [len(time) * n // count for n in range(count + 1)]
        for a, b in pairwise(edges):
            yield point, Samples(time[a:b], value[a:b])


def write_file(path: Path, pieces: Iterable[Piece]) -> None:
    """Write a file with a row group for each piece, durably. Holds one piece in memory at once.

    pieces : those of one point in sequence, ascending in time
    """
    with path.open("wb") as file:
        checked = ChecksumWriter(file)
        _write(checked, pieces)
        checked.finish()
        file.flush()
        os.fsync(file.fileno())


def _write(out: ChecksumWriter, pieces: Iterable[Piece]) -> None:
    index = []
    with pq.ParquetWriter(
        out,
        _SCHEMA,
        compression="zstd",
        compression_level=3,
        use_dictionary=["point", "value", "text"],
        column_encoding={"ts": "DELTA_BINARY_PACKED"},
        write_statistics=["point"],  # those of times and values take a sixth of the work; nothing reads them
    ) as writer:
        out.begin()
        for point, (time, value) in pieces:
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
            out.end_group()
        out.end_groups()
        writer.add_key_value_metadata({INDEX_KEY: json.dumps(index).encode()})
