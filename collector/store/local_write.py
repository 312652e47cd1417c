"""Write path of the local store: new readings go to the recent rows or to sealed months."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

import numpy as np

from fieldfare.analysis.readings import MS_PER_DAY, Readings, Samples
from fieldfare.collector.store import recent as h
from fieldfare.collector.store import recent_rows
from fieldfare.collector.store.files import Locks
from fieldfare.collector.store.merge import (
    changes,
    cleaned_readings,
    concatenated,
    days_of,
    is_among,
    overlay,
    reversal,
    without,
)
from fieldfare.collector.store.month_merge import ROWS_AT_ONCE, Edit, beside
from fieldfare.collector.store.protocol import Appended, Reverted
from fieldfare.collector.store.sealed import (
    Sealed,
    by_month,
    ends,
    month_of,
    month_start,
    settle_announced,
)
from fieldfare.collector.store.sealed_index import RowGroup

BULK = 20_000
"""An append of so many readings goes straight to sealed files: rewriting a month then costs less than a row
each."""


class LocalWriter:
    """The write path of LocalStore; shares its recent and sealed parts."""

    def __init__(self, recent: h.RecentDatabase, sealed: Sealed, locks: Locks) -> None:
        self._recent, self._sealed, self._locks = recent, sealed, locks

    def append(self, site: str, readings: Readings) -> Appended:
        """See LocalStore.append."""
        new, given = cleaned_readings(readings)
        count = sum(len(s.time) for s in new.values())
        if not count:
            return Appended(0, 0, 0)
        with self._locks.hold(site):
            stored, replaced = (self._append_sealed if count >= BULK else self._append_hot)(site, new)
        return Appended(stored, replaced, given - stored - replaced)

    def _append_hot(self, site: str, new: Readings) -> tuple[int, int]:
        fresh, late = self._parted(site, new)
        first, last = ends(new)
        with self._recent.writing() as db:
            number = h.add_site(db, site)
            settle_announced(db, self._sealed, site, number)
            known = h.add_points(db, number, new)
            hot = recent_rows.held(db, number, {num: p for p, num in known.items()}, first, last + 1)
            write, stored, replaced = fresh, sum(len(s.time) for s in fresh.values()), 0
            if hot:
                write, stored, replaced = changes(fresh, hot)
            if late:
                more, s, r = changes(late, overlay(hot, self._sealed_beside(site, late)))
                write, stored, replaced = overlay(more, write), stored + s, replaced + r
            if write:
                recent_rows.put(db, number, known, write, over=bool(hot))
                h.bump(db, number, days_of(np.concatenate([s.time for s in write.values()])).tolist())
        return stored, replaced

    def _parted(self, site: str, new: Readings) -> tuple[Readings, Readings]:
        """Split samples into those that no sealed file can hold, and the others."""
        first, last = ends(new)
        months: Iterable[int] = range(month_of(first), month_of(last) + 1)
        if month_of(last) > month_of(first) + 2:
            months = [m for m in self._sealed.months(site) if m in months]
        indexes = {m: index for m in months if (index := self._sealed.index(site, m))}
        if not indexes or first > max(g.last for index in indexes.values() for g in index.values()):
            return new, {}
        fresh: Readings = {}
        late: Readings = {}
        for point, (time, value) in new.items():
            held = np.zeros(len(time), dtype=bool)
            for index in indexes.values():
                if point in index:
                    held |= (time >= index[point].first) & (time <= index[point].last)
            for part, mask in ((late, held), (fresh, ~held)):
                if mask.any():
                    part[point] = Samples(time[mask], value[mask])
        return fresh, late

    def _sealed_beside(self, site: str, written: Readings) -> Readings:
        """Sealed readings of the same points in the months and the span of some samples."""
        if not written:
            return {}
        days = np.unique(np.concatenate([days_of(s.time) for s in written.values()]))
        sealed: Readings = {}
        spans = {p: (int(s.time[0]), int(s.time[-1])) for p, s in written.items()}

        def wanted(point: str, group: RowGroup) -> bool:
            return point in spans and group.first <= spans[point][1] and spans[point][0] <= group.last

        for month in sorted({month_of(day * MS_PER_DAY) for day in days.tolist()}):
            sealed = overlay(self._sealed.read_month(site, month, wanted), sealed)
        return sealed

    def _append_sealed(self, site: str, new: Readings) -> tuple[int, int]:
        hot = self._hot(site, new)
        stored = replaced = 0
        edits: dict[int, Edit] = {}
        days: list[np.ndarray] = []
        for month, part in by_month(new).items():
            changed: defaultdict[str, list[Samples]] = defaultdict(list)
            mine = hot.get(month, {})
            for piece, held in beside(self._sealed.month(site, month), part, mine):
                write, s, r = changes(piece, held)
                stored, replaced = stored + s, replaced + r
                for point, samples in write.items():
                    changed[point].append(samples)
                    days.append(days_of(samples.time))
            if changed:
                edits[month] = Edit(overlay(concatenated(changed), mine))
            if _size(edits) >= ROWS_AT_ONCE:
                self._replace(site, edits, days, bool(hot))
                edits, days = {}, []
        self._replace(site, edits, days, bool(hot))
        return stored, replaced

    def _hot(self, site: str, beside: Readings) -> dict[int, Readings]:
        """Recent readings of the months of some readings, all points."""
        first, last = (month_of(time) for time in ends(beside))
        with self._recent.reading() as db:
            found = recent_rows.fetch(db, site, None, month_start(first), month_start(last + 1))
        return by_month(found) if found else {}

    def _replace(self, site: str, edits: dict[int, Edit], days: list[np.ndarray], clear: bool) -> None:
        """Publish changed months. They include the recent rows of their months, deleted if `clear`.

        days : parts of the changed UTC days
        """
        if not edits:
            return
        self._sealed.stage(site, edits)
        with self._recent.writing() as db:
            number = h.add_site(db, site)
            h.announce(db, number, np.unique(np.concatenate(days)).tolist())
        self._sealed.publish(site, edits)
        with self._recent.writing() as db:
            for month in edits if clear else ():
                h.delete(db, number, month_start(month), month_start(month + 1))
            h.settle(db, number)

    def revert(self, site: str, written: Readings, before: Readings) -> Reverted:
        """See LocalStore.revert.

        Rewrites the months concerned. An emptied one stays as an empty file, else it would count as lost.
        """
        written, given = cleaned_readings(written)
        before, _ = cleaned_readings(before)
        if not given:
            return Reverted(0, 0, 0)
        removed = restored = 0
        edits: dict[int, Edit] = {}
        days: list[np.ndarray] = []
        with self._locks.hold(site):
            hot = self._hot(site, written)
            for month, part in by_month(written).items():
                back: defaultdict[str, list[Samples]] = defaultdict(list)
                gone: defaultdict[str, list[np.ndarray]] = defaultdict(list)
                mine = hot.get(month, {})
                for piece, held in beside(self._sealed.month(site, month), part, mine):
                    turned = reversal(held, piece, before)
                    for point, samples in turned.restored.items():
                        back[point].append(samples)
                        days.append(days_of(samples.time))
                        restored += len(samples.time)
                    for point, times in turned.removed.items():
                        gone[point].append(times)
                        days.append(days_of(times))
                        removed += len(times)
                if back or gone:
                    times_of = {p: np.concatenate(times) for p, times in gone.items()}
                    left = without(mine, {p: times for p, times in times_of.items() if p in mine})
                    edits[month] = Edit(overlay(concatenated(back), left), times_of)
                if _size(edits) >= ROWS_AT_ONCE:
                    self._replace(site, edits, days, bool(hot))
                    edits, days = {}, []
            self._replace(site, edits, days, bool(hot))
        return Reverted(removed, restored, given - removed - restored)

    def fill_month(self, site: str, month: int, readings: Readings) -> int:
        """See LocalStore.fill_month."""
        start, end = month_start(month), month_start(month + 1)
        within = {p: cut for p, s in readings.items() if len((cut := s.between(start, end)).time)}
        if not within:
            return 0
        parts: defaultdict[str, list[Samples]] = defaultdict(list)
        with self._locks.hold(site):
            hot = self._hot(site, within).get(month, {})
            for piece, held in beside(self._sealed.month(site, month), within, hot):
                for point, (time, value) in piece.items():
                    new = ~is_among(time, held[point].time) if point in held else np.ones(len(time), bool)
                    if new.any():
                        parts[point].append(Samples(time[new], value[new]))
            missing = concatenated(parts)
            if missing:
                days = [days_of(s.time) for s in missing.values()]
                edit = Edit(overlay(hot, missing))
                self._replace(site, {month: edit}, days, clear=True)  # damaged rows go too
                self._sealed.drop_damaged(site, month)
        return sum(len(s.time) for s in missing.values())

    def seal(self, site: str, cutoff: int) -> int:
        """Move a site's readings older than `cutoff` [ms] to sealed files. Return how many."""
        with self._locks.hold(site):
            with self._recent.reading() as db:
                old = recent_rows.fetch(db, site, None, None, cutoff)
            if not old:
                return 0
            edits = {month: Edit(part) for month, part in by_month(old).items()}
            self._sealed.stage(site, edits)
            self._sealed.publish(site, edits)
            return self._drop_sealed(site, edits, cutoff)

    def _drop_sealed(self, site: str, months: Iterable[int], cutoff: int) -> int:
        with self._recent.writing() as db:
            number = h.site_number(db, site)
            if number is None:
                return 0
            return sum(h.delete(db, number, month_start(m), min(cutoff, month_start(m + 1))) for m in months)


def _size(edits: dict[int, Edit]) -> int:
    """Number of readings that edits hold."""
    return sum(
        sum(len(s.time) for s in edit.top.values()) + sum(map(len, edit.removed.values()))
        for edit in edits.values()
    )
