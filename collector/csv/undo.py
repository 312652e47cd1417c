"""What one import changed in the store, kept on disk so that it can be undone."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field
from pathlib import Path

import pyarrow as pa

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.readings import Readings, Samples
from fieldfare.collector.store.files import sync_folder
from fieldfare.collector.store.merge import cleaned_readings, compared, is_among
from fieldfare.collector.store.protocol import Reverted, Store
from fieldfare.collector.store.sealed_file import pieces_of, read_file, write_file
from fieldfare.collector.store.sealed_index import DamagedFile


@dataclass
class Undo:
    """The changes of one import, in a folder with a file for each write to the store, and one for the values
    that it replaced.

    Both are on disk before the readings are stored, the replaced values first: what a killed import stored
    can be undone too.
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
            if old is not None and (again := is_among(old.time, written[point].time)).any():
                before[point] = Samples(old.time[again], old.value[again])
        if not written:
            return
        self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if before:
            _write(self._replaced(self._count), before)
        _write(self._written(self._count), written)
        self._count += 1

    def run(self, store: Store, site: str) -> Reverted:
        """Undo the import, the last write first. Readings that have another value by now stay.

        Raises DamagedFile where what was noted can't be read, InputError where an earlier version noted it.
        """
        if any(path.suffixes == [".parquet"] for path in self.folder.glob("*.parquet")):
            raise InputError(
                f"{self.folder}: an earlier version of fieldfare noted what this file changed, and only that"
                " one can undo it; readings stay as they are"
            )
        removed = restored = kept = 0
        for number in reversed(range(len(list(self.folder.glob("*.written.parquet"))))):
            replaced = self._replaced(number)
            before = _read(replaced) if replaced.exists() else {}
            done = store.revert(site, _read(self._written(number)), before)
            removed, restored, kept = removed + done.removed, restored + done.restored, kept + done.kept
        return Reverted(removed, restored, kept)

    def forget(self) -> None:
        """Delete the notes: the import can't be undone any more."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def _written(self, number: int) -> Path:
        return self.folder / f"{number:04d}.written.parquet"

    def _replaced(self, number: int) -> Path:
        return self.folder / f"{number:04d}.replaced.parquet"


def _write(path: Path, readings: Readings) -> None:
    """Write a note that is there whole or not at all: one cut off by a kill would keep the others from being
    undone."""
    beside = path.with_suffix(".new")
    write_file(beside, pieces_of(readings))
    beside.replace(path)
    sync_folder(path.parent)


def _read(path: Path) -> Readings:
    with pa.memory_map(str(path)) as source:
        readings, lost = read_file(path, source, None, False)
    if lost:
        raise DamagedFile(path, f"{len(lost)} points can't be read")
    return readings
