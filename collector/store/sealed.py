"""Sealed readings: a Parquet file per site and month, a row group per point, several for a long one.

A file's footer carries an index of its row groups, so that one point is read without touching the others.
Files never change in place: a new one is written beside the old one, synced and renamed. Row groups are
verified against their checksums before they are read. Damaged parts are left out and noted; a damaged file
that must be rewritten is kept under another name.
"""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
from collections.abc import Collection, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from fieldfare.analysis.readings import MS_PER_DAY, Readings
from fieldfare.collector.store import recent
from fieldfare.collector.store.damage_notes import DamageNotes
from fieldfare.collector.store.files import make_folder, sync_folder
from fieldfare.collector.store.protocol import PointSpan, Trouble
from fieldfare.collector.store.sealed_index import (
    DamagedFile,
    Index,
    RowGroup,
    index_of,
    signature_of,
)

if TYPE_CHECKING:
    from fieldfare.collector.store.month_merge import Edit
    from fieldfare.collector.store.sealed_file import Wanted

_DAMAGED = ".damaged"
_THREADS = 2
_EPOCH = date(1970, 1, 1).toordinal()
_PERIOD_DAYS, _PERIOD_MONTHS = 146_097, 4_800
"""The Gregorian calendar repeats after 400 years, so times beyond the years of `date` have their month
too."""
_MONTH_NAME = re.compile(r"(\d{4,})-(0[1-9]|1[0-2])\.parquet")


def month_of(time: int) -> int:
    """Months since 1970-01 of a time [ms]."""
    periods, day = divmod(time // MS_PER_DAY, _PERIOD_DAYS)
    at = date.fromordinal(_EPOCH + day)
    return periods * _PERIOD_MONTHS + (at.year - 1970) * 12 + at.month - 1


def month_start(month: int) -> int:
    """Start of a month [ms]."""
    periods, within = divmod(month, _PERIOD_MONTHS)
    first = date(1970 + within // 12, within % 12 + 1, 1)
    return (periods * _PERIOD_DAYS + first.toordinal() - _EPOCH) * MS_PER_DAY


def month_parts(start: int, end: int) -> Iterator[tuple[int, int]]:
    """The part of start <= time < end [ms] in each UTC month, in order."""
    while start < end:
        until = min(end, month_start(month_of(start) + 1))
        yield start, until
        start = until


def ends(readings: Readings) -> tuple[int, int]:
    """First and last time [ms] of readings."""
    return min(int(s.time[0]) for s in readings.values()), max(int(s.time[-1]) for s in readings.values())


def by_month(readings: Readings) -> dict[int, Readings]:
    """Split by month; arrays are views."""
    first, last = ends(readings)
    months = range(month_of(first), month_of(last) + 1)
    out: dict[int, Readings] = {}
    for month in months:
        a, b = month_start(month), month_start(month + 1)
        part = {p: c for p, s in readings.items() if len((c := s.between(a, b)).time)}
        if part:
            out[month] = part
    return out


def month_name(month: int) -> str:
    """A month as YYYY-MM."""
    return f"{1970 + month // 12:04d}-{month % 12 + 1:02d}"


class Sealed:
    """The Parquet files of all sites under one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._notes = DamageNotes(folder.parent / "damage.jsonl")

    def path(self, site: str, month: int) -> Path:
        return self._folder / site / f"{month_name(month)}.parquet"

    def months(self, site: str) -> list[int]:
        """Months with sealed readings of a site."""
        return sorted(m for name in self._names(site) if (m := _month_named(name)) is not None)

    def _names(self, site: str) -> list[str]:
        try:
            return [entry.name for entry in os.scandir(self._folder / site)]
        except FileNotFoundError:
            return []

    def index(self, site: str, month: int) -> Index:
        """Index of a month's file; empty if there is none or it is unreadable. Costs one stat when cached."""
        path = self.path(site, month)
        try:
            signature = signature_of(path)
            return index_of(path, signature)
        except FileNotFoundError:
            return {}
        except DamagedFile as error:
            self._notes.add(path, signature, error.what)
            return {}

    def verify(self, site: str, month: int) -> None:
        """Read every byte of a month and record damage."""
        from fieldfare.collector.store.sealed_file import damaged_points

        path = self.path(site, month)
        try:
            signature = signature_of(path)
            if lost := damaged_points(path):
                self._notes.add(path, signature, lost=lost)
        except FileNotFoundError:
            return
        except DamagedFile as error:
            self._notes.add(path, signature, error.what)

    def troubles(self, site: str) -> list[Trouble]:
        """Months known to be wholly or partly unreadable, and damaged files that were kept."""
        out = []
        for name in sorted(self._names(site)):
            path = self._folder / site / name
            if name.endswith(_DAMAGED):
                what = (
                    "a damaged file that was kept; its readings are missing until a backup of it is restored"
                )
                out.append(Trouble(site, str(path), what))
            elif (month := _month_named(name)) is not None:
                self.index(site, month)
                if (note := self._notes.of(path)) is not None:
                    out.append(Trouble(site, str(path), note.summary))
        return out

    def span(self, site: str) -> tuple[int, int] | None:
        """First and last sealed time [ms] of a site, from its first and last readable month."""
        months = self.months(site)
        first = next((index for m in months if (index := self.index(site, m))), None)
        last = next((index for m in reversed(months) if (index := self.index(site, m))), None)
        if first is None or last is None:
            return None
        return min(g.first for g in first.values()), max(g.last for g in last.values())

    def spans(self, site: str) -> dict[str, PointSpan]:
        """All points with sealed readings, over all months."""
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
        self, site: str, month: int, wanted: Wanted | None = None, threads: bool = True
    ) -> Readings:
        """Readings of a month's wanted row groups (default all), without damaged ones.

        Arrays are views of one read.
        """
        import pyarrow as pa

        from fieldfare.collector.store.sealed_file import read_file

        path = self.path(site, month)
        try:
            signature = signature_of(path)
            with pa.memory_map(str(path)) as source:
                found, lost = read_file(path, source, wanted, threads)
        except FileNotFoundError:
            return {}
        except DamagedFile as error:
            self._notes.add(path, signature, error.what)
            return {}
        if lost:
            self._notes.add(path, signature, lost=lost)
        return found

    def read(
        self,
        site: str,
        points: Collection[str] | None = None,
        start: int | None = None,
        end: int | None = None,
        newest: Readings | None = None,
    ) -> Readings:
        """Readings with start <= time < end [ms], overlaid with `newest`."""
        from fieldfare.collector.store.merge import joined, overlay

        newest = newest or {}
        months = [
            m
            for m in self.months(site)
            if (start is None or month_start(m + 1) > start) and (end is None or month_start(m) < end)
        ]
        if start is not None:
            months = [m for m in months if self._reaches(site, m, points, start)]
        if not months:
            return newest

        def wanted(point: str, group: RowGroup) -> bool:
            return (
                (points is None or point in points)
                and (start is None or group.last >= start)
                and (end is None or group.first < end)
            )

        def part(month: int) -> Readings:
            found = self.read_month(site, month, wanted, threads=len(months) == 1)
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
            return overlay(newest, part(months[0]))
        with ThreadPoolExecutor(_THREADS) as pool:
            return joined(list(pool.map(part, months)), newest, pool)

    def _reaches(self, site: str, month: int, points: Collection[str] | None, start: int) -> bool:
        """Whether a month may hold readings from `start` on; an unreadable one may, so that it is noted."""
        index = self.index(site, month)
        return not index or any(g.last >= start for p, g in index.items() if points is None or p in points)

    def month(self, site: str, month: int) -> SealedMonth:
        """Index of a month at this moment."""
        return SealedMonth(self, site, month, self.index(site, month))

    def stage(self, site: str, edits: dict[int, Edit]) -> None:
        """Write changed months beside the current ones, durable but not yet visible. Follow with `publish`.

        Holds a part of each month in memory, not the month.
        """
        from fieldfare.collector.store.month_merge import merged
        from fieldfare.collector.store.sealed_file import write_file

        make_folder(self._folder / site)

        def write(item: tuple[int, Edit]) -> None:
            month, edit = item
            write_file(self._staged(site, month), merged(self.month(site, month), edit))
            self._keep_damaged(site, month)

        if len(edits) == 1:
            write(next(iter(edits.items())))
            return
        with ThreadPoolExecutor(_THREADS) as pool:
            list(pool.map(write, edits.items()))

    def _keep_damaged(self, site: str, month: int) -> None:
        """Keep a partly unreadable file under another name before it is replaced."""
        path = self.path(site, month)
        if self._notes.of(path) is None:
            return
        for number in range(1, 1000):
            target = path.with_name(f"{path.stem}.{number}{_DAMAGED}")
            try:
                os.link(path, target)
                return
            except FileExistsError:
                continue

    def drop_damaged(self, site: str, month: int) -> None:
        """Delete the kept damaged files of a month."""
        for path in (self._folder / site).glob(f"{month_name(month)}.*{_DAMAGED}"):
            path.unlink()
        sync_folder(self._folder / site)

    def publish(self, site: str, months: Iterable[int]) -> None:
        """Make staged months current, durable when it returns."""
        for month in months:
            os.replace(self._staged(site, month), self.path(site, month))
        sync_folder(self._folder / site)

    def forget(self, site: str) -> None:
        """Delete all files of a site."""
        self._notes.forget(site)
        folder = self._folder / site
        if folder.is_dir():
            shutil.rmtree(folder)
            sync_folder(self._folder)

    def _staged(self, site: str, month: int) -> Path:
        return self.path(site, month).with_suffix(".new")


@dataclass(frozen=True)
class SealedMonth:
    """One month of a site, while the site's write lock is held."""

    sealed: Sealed
    site: str
    number: int
    index: Index

    def read(self, wanted: Wanted) -> Readings:
        """Readings of the wanted row groups, without damaged ones."""
        return self.sealed.read_month(self.site, self.number, wanted)


def _month_named(name: str) -> int | None:
    """Month of a sealed file's name; None for any other file."""
    named = _MONTH_NAME.fullmatch(name)
    return (int(named[1]) - 1970) * 12 + int(named[2]) - 1 if named else None


def settle_announced(db: sqlite3.Connection, sealed: Sealed, site: str, number: int) -> None:
    """Settle announcements of a killed writer; days of a month that was never written get no revision."""
    announced = recent.pending(db, number)
    if not announced:
        return
    months = {*sealed.months(site), *(month_of(day * MS_PER_DAY) for day in recent.days(db, site))}
    recent.withdraw(db, number, [day for day in announced if month_of(day * MS_PER_DAY) not in months])
    recent.settle(db, number)
