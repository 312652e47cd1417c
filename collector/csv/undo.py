"""What one import changed in the store, kept on disk so that it can be undone."""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from fieldfare.analysis.readings import Readings, Samples
from fieldfare.collector.arrow import array, numbers, texts
from fieldfare.collector.store.merge import cleaned_readings, compared
from fieldfare.collector.store.protocol import Reverted, Store

_SCHEMA = pa.schema(
    [
        ("point", pa.dictionary(pa.int32(), pa.string())),
        ("is_old", pa.bool_()),
        ("time", pa.int64()),
        ("value", pa.float64()),
        ("text", pa.string()),
    ]
)
"""One row for each reading that was written, and one (`is_old`) for each value that it replaced."""


@dataclass
class Undo:
    """The changes of one import, in a folder with a file for each write to the store.

    A file is on disk before its readings are stored: what a killed import stored can be undone too.
    """

    folder: Path
    _count: int = field(default=0)

    @property
    def is_empty(self) -> bool:
        """Whether nothing was noted: the import changed nothing."""
        return not self.folder.is_dir()

    def note(self, new: Readings, held: Readings) -> None:
        """Note what an append of `new` will change. held : stored readings in the span of the new ones"""
        written: Readings = {}
        before: Readings = {}
        for point, samples in cleaned_readings(new)[0].items():
            changed = compared(held.get(point), samples).changed
            if not changed.any():
                continue
            written[point] = Samples(samples.time[changed], samples.value[changed])
            old = held.get(point)
            if old is not None and (again := np.isin(old.time, written[point].time)).any():
                before[point] = Samples(old.time[again], old.value[again])
        if written:
            self._write(written, before)

    def _write(self, written: Readings, before: Readings) -> None:
        self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        path = self.folder / f"{self._count:04d}.parquet"
        self._count += 1
        with path.open("wb") as file:
            with pq.ParquetWriter(file, _SCHEMA, compression="zstd") as writer:
                for readings, is_old in ((written, False), (before, True)):
                    for point, (time, value) in readings.items():
                        n = len(time)
                        is_text = value.dtype == object
                        empty = pa.nulls(n, pa.float64() if is_text else pa.string())
                        filled = array(value)
                        columns = [
                            pa.DictionaryArray.from_arrays(array(np.zeros(n, np.int32)), texts([point])),
                            pa.array(np.full(n, is_old)),
                            array(time),
                            *((empty, filled) if is_text else (filled, empty)),
                        ]
                        writer.write_table(pa.table(columns, schema=_SCHEMA), row_group_size=n)
            file.flush()
            os.fsync(file.fileno())

    def run(self, store: Store, site: str) -> Reverted:
        """Undo the import, the last write first. Readings that have another value by now stay."""
        removed = restored = kept = 0
        for path in sorted(self.folder.glob("*.parquet"), reverse=True):
            done = store.revert(site, *_read(path))
            removed, restored, kept = removed + done.removed, restored + done.restored, kept + done.kept
        return Reverted(removed, restored, kept)

    def forget(self) -> None:
        """Delete the notes: the import can't be undone any more."""
        shutil.rmtree(self.folder, ignore_errors=True)


def _read(path: Path) -> tuple[Readings, Readings]:
    """What was written, and what it replaced."""
    parts: tuple[Readings, Readings] = ({}, {})
    file = pq.ParquetFile(path)
    for group in range(file.num_row_groups):
        table = file.read_row_group(group)
        point, is_old = table.column("point")[0].as_py(), table.column("is_old")[0].as_py()
        time = numbers(table.column("time"))
        if table.column("value").null_count:
            value = np.array(table.column("text").to_pylist(), dtype=object)
        else:
            value = numbers(table.column("value"))
        parts[is_old][point] = Samples(time, value)
    return parts
