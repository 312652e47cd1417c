"""Sealed readings: a Parquet file for each site and month, a row group for each point.

A file's footer carries an index of its row groups, so that one point's readings are found without
touching the others. Files are never changed in place: a new one is written beside, made durable, and renamed over.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Collection, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from analysis.readings import Readings, Samples
from collector.store.files import make_folder, sync_folder
from collector.store.merge import as_text, laid
from collector.store.protocol import PointSpan

_SCHEMA = pa.schema(
    [
        ("point", pa.dictionary(pa.int32(), pa.string())),
        ("ts", pa.int64()),
        ("value", pa.float64()),
        ("text", pa.string()),
    ]
)
_INDEX = b"fieldfare.index"
_THREADS = 2
_INDEXES = 8192
"""Indexes held in memory, of some 3 kB each."""


class Group(NamedTuple):
    """One point in a sealed month: its row group, rows before it, readings, first and last time [ms], form."""

    number: int
    offset: int
    rows: int
    first: int
    last: int
    is_text: bool


Index = dict[str, Group]


def month_of(time: int) -> int:
    """Months since 1970-01 of a time [ms]."""
    return int(np.datetime64(time, "ms").astype("M8[M]").astype(np.int64))


def month_start(month: int) -> int:
    """Start of a month [ms]."""
    return int(np.datetime64(month, "M").astype("M8[ms]").astype(np.int64))


class Sealed:
    """The Parquet files of all sites under one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def path(self, site: str, month: int) -> Path:
        return self._folder / site / f"{np.datetime64(month, 'M')}.parquet"

    def months(self, site: str) -> list[int]:
        """Months of which a site has readings here."""
        try:
            names = [e.name for e in os.scandir(self._folder / site) if e.name.endswith(".parquet")]
        except FileNotFoundError:
            return []
        return sorted(int(np.datetime64(n.removesuffix(".parquet"), "M").astype(np.int64)) for n in names)

    def index(self, site: str, month: int) -> Index:
        """What a month's file holds; empty where there is none. One stat where the file is known."""
        path = self.path(site, month)
        try:
            stat = path.stat()
            return _index_of(path, (stat.st_mtime_ns, stat.st_size, stat.st_ino))
        except FileNotFoundError:
            return {}

    def span(self, site: str) -> tuple[int, int] | None:
        """First and last time [ms] of a site's readings here, told by its first and its last month."""
        months = self.months(site)
        ends = [g for m in {*months[:1], *months[-1:]} for g in self.index(site, m).values()]
        return (min(g.first for g in ends), max(g.last for g in ends)) if ends else None

    def spans(self, site: str) -> dict[str, PointSpan]:
        """Every point that has readings here, over all months."""
        out: dict[str, PointSpan] = {}
        for month in self.months(site):
            for point, group in self.index(site, month).items():
                held = out.get(point)
                out[point] = PointSpan(
                    group.rows + (held.count if held else 0),
                    min(group.first, held.first) if held else group.first,
                    max(group.last, held.last) if held else group.last,
                )
        return out

    def read_month(
        self, site: str, month: int, points: Collection[str] | None = None, threads: bool = True
    ) -> Readings:
        """All readings of a month, or those of the named points. Arrays are views of one read."""
        try:
            source = pa.memory_map(str(self.path(site, month)))
        except FileNotFoundError:
            return {}
        with source:
            file = pq.ParquetFile(source)
            index = _index(file.metadata)
            wanted = {p: g for p, g in index.items() if points is None or p in points}
            return _readings(file, wanted, len(index), threads) if wanted else {}

    def read(
        self,
        site: str,
        points: Collection[str] | None = None,
        start: int | None = None,
        end: int | None = None,
        newest: Readings | None = None,
    ) -> Readings:
        """Readings with start <= time < end [ms], with `newest` laid over them."""
        newest = newest or {}
        months = [
            m
            for m in self.months(site)
            if (start is None or month_start(m + 1) > start) and (end is None or month_start(m) < end)
        ]
        if not months:
            return newest

        def part(month: int) -> Readings:
            found = self.read_month(site, month, points, threads=len(months) == 1)
            lower = start if start is not None and start > month_start(month) else None
            upper = end if end is not None and end < month_start(month + 1) else None
            if lower is None and upper is None:
                return found
            cut = {
                p: s.between(
                    lower if lower is not None else int(s.time[0]),
                    upper if upper is not None else int(s.time[-1]) + 1,
                )
                for p, s in found.items()
            }
            return {p: s for p, s in cut.items() if len(s.time)}

        if len(months) == 1:
            return laid(newest, part(months[0]))
        with ThreadPoolExecutor(_THREADS) as pool:
            return _joined(list(pool.map(part, months)), newest, pool)

    def stage(self, site: str, months: dict[int, Readings]) -> None:
        """Write months beside the ones in force, durable but not yet seen. Follow with `publish`."""
        make_folder(self._folder / site)

        def write(item: tuple[int, Readings]) -> None:
            _write(self._staged(site, item[0]), item[1])

        if len(months) == 1:
            write(next(iter(months.items())))
            return
        with ThreadPoolExecutor(_THREADS) as pool:
            list(pool.map(write, months.items()))

    def publish(self, site: str, months: Iterable[int]) -> None:
        """Put staged months in force, durable when it returns."""
        for month in months:
            os.replace(self._staged(site, month), self.path(site, month))
        sync_folder(self._folder / site)

    def forget(self, site: str) -> None:
        """Remove every file of a site."""
        folder = self._folder / site
        if folder.is_dir():
            shutil.rmtree(folder)
            sync_folder(self._folder)

    def _staged(self, site: str, month: int) -> Path:
        return self.path(site, month).with_suffix(".new")


@lru_cache(maxsize=_INDEXES)
def _index_of(path: Path, signature: tuple[int, int, int]) -> Index:
    """The index of a file that has this signature: a month that is written anew is another file."""
    return _index(pq.read_metadata(path))


def _index(meta: pq.FileMetaData) -> Index:
    index: Index = {}
    offset = 0
    for number, (point, count, first, last, is_text) in enumerate(json.loads(meta.metadata[_INDEX])):
        index[point] = Group(number, offset, count, first, last, is_text)
        offset += count
    return index


def _readings(file: pq.ParquetFile, wanted: Index, groups: int, threads: bool) -> Readings:
    columns = ["ts", "value"]
    if any(g.is_text for g in wanted.values()):
        columns.append("text")
    if len(wanted) == groups:
        table = file.read(columns=columns, use_threads=threads)
        offsets = {p: g.offset for p, g in wanted.items()}
    else:
        chosen = sorted(wanted.items(), key=lambda item: item[1].number)
        table = file.read_row_groups([g.number for _, g in chosen], columns=columns, use_threads=threads)
        starts = np.cumsum([0, *(g.rows for _, g in chosen)])
        offsets = {p: int(at) for (p, _), at in zip(chosen, starts, strict=False)}
    time, value = table.column("ts").to_numpy(), table.column("value").to_numpy()
    out: Readings = {}
    for point, group in wanted.items():
        at = slice(offsets[point], offsets[point] + group.rows)
        if group.is_text:
            texts = table.column("text").slice(at.start, group.rows).to_pylist()
            out[point] = Samples(time[at], np.array(texts, dtype=object))
        else:
            out[point] = Samples(time[at], value[at])
    return out


def _joined(parts: Sequence[Readings], newest: Readings, pool: ThreadPoolExecutor) -> Readings:
    """Months in order, one after the other, and the newest over them; copied once, by several threads."""
    points = list(dict.fromkeys(p for part in [*parts, newest] for p in part))

    def join(point: str) -> Samples:
        mine = [part[point] for part in parts if point in part]
        over = newest.get(point)
        if over and (not mine or over.time[0] > mine[-1].time[-1]):
            mine, over = [*mine, over], None
        values = [s.value for s in mine]
        if any(v.dtype == object for v in values):
            values = [as_text(v) for v in values]
        whole = Samples(np.concatenate([s.time for s in mine]), np.concatenate(values))
        return laid({point: over}, {point: whole})[point] if over else whole

    return dict(zip(points, pool.map(join, points), strict=True))


def _write(path: Path, readings: Readings) -> None:
    index = []
    with path.open("wb") as file:
        with pq.ParquetWriter(
            file,
            _SCHEMA,
            compression="zstd",
            compression_level=3,
            use_dictionary=["point", "value", "text"],
            column_encoding={"ts": "DELTA_BINARY_PACKED"},
        ) as writer:
            for point in sorted(readings):
                time, value = readings[point]
                n, is_text = len(time), value.dtype == object
                index.append([point, n, int(time[0]), int(time[-1]), bool(is_text)])
                empty = pa.nulls(n, pa.float64() if is_text else pa.string())
                filled = pa.array(value, pa.string() if is_text else pa.float64())
                columns = [
                    pa.DictionaryArray.from_arrays(np.zeros(n, np.int32), pa.array([point])),
                    pa.array(time),
                    *((empty, filled) if is_text else (filled, empty)),
                ]
                writer.write_table(pa.table(columns, schema=_SCHEMA), row_group_size=n)
            writer.add_key_value_metadata({_INDEX: json.dumps(index).encode()})
        file.flush()
        os.fsync(file.fileno())
