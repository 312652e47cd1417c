"""The store that needs no server: newest readings in SQLite, older ones sealed in Parquet, one read over both.

A write takes its site's lock, so that what is compared, counted and moved does not change underneath. Sealed files
change in an order that a kill at any moment leaves whole: the days are announced, the new month is written beside the
old and renamed over it, then the hot rows go and the days' revisions grow, in one transaction. Reads take no lock:
they look at the hot rows first, so a row on its way to a sealed file is seen in one place or in both; hot rows win.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from analysis.errors import InputError
from analysis.readings import MS_PER_DAY, Readings, Samples, is_thin
from collector.store import hot as h
from collector.store.files import Locks, make_folder
from collector.store.merge import cleaned, compared, days_of, laid
from collector.store.protocol import Appended, PointSpan, Trouble
from collector.store.sealed import Sealed, month_of, month_start

log = logging.getLogger(__name__)
_BULK = 20_000
"""An append of so many readings goes straight to sealed files: rewriting a month then costs less than a row each."""


class LocalStore:
    """Readings kept in a folder. Several processes may open it; one writes a site at a time.

    folder : Path, made where it is missing
    hot_days : int [d], default 1. `seal` leaves younger readings where they are cheap to change; each of them costs every
        read some milliseconds a site
    """

    def __init__(self, folder: Path, *, hot_days: int = 1) -> None:
        self._folder, self._hot_days = Path(folder), hot_days
        make_folder(self._folder)
        make_folder(self._folder / "sealed")
        self._locks = Locks(self._folder / "locks")
        with self._locks.hold(""):  # two processes that set a new file up at once would fail
            self._hot = h.Hot(self._folder / "hot.sqlite")
        self._sealed = Sealed(self._folder / "sealed")
        self._recover()

    def __reduce__(self) -> tuple[Any, ...]:
        return _opened, (self._folder, self._hot_days)

    def append(self, site: str, readings: Readings) -> Appended:
        """Keep readings. When it returns they are on disk; giving them again changes nothing.

        Within one call the first value given for a key counts; a later call with another value replaces it.
        """
        _check(site)
        new, given = cleaned(readings)
        count = sum(len(s.time) for s in new.values())
        if not count:
            return Appended(0, 0, 0)
        with self._locks.hold(site):
            stored, replaced = (self._append_sealed if count >= _BULK else self._append_hot)(site, new)
        return Appended(stored, replaced, given - stored - replaced)

    def _append_hot(self, site: str, new: Readings) -> tuple[int, int]:
        fresh, late = self._parted(site, new)
        first, last = _ends(new)
        with self._hot.writing() as db:
            number = h.add_site(db, site)
            self._settle(db, site, number)
            known = h.add_points(db, number, new)
            hot = h.held(db, number, {num: p for p, num in known.items()}, first, last + 1)
            write, stored, replaced = fresh, sum(len(s.time) for s in fresh.values()), 0
            if hot:
                write, stored, replaced = _changes(fresh, hot)
            if late:
                more, s, r = _changes(late, laid(hot, self._sealed_beside(site, late)))
                write, stored, replaced = laid(more, write), stored + s, replaced + r
            if write:
                h.put(db, number, known, write, over=bool(hot))
                h.bump(db, number, days_of(np.concatenate([s.time for s in write.values()])).tolist())
        return stored, replaced

    def _parted(self, site: str, new: Readings) -> tuple[Readings, Readings]:
        """Samples that no sealed file can hold already, and the others."""
        first, last = _ends(new)
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

    def _sealed_beside(self, site: str, wanted: Readings) -> Readings:
        """What the sealed months that some samples fall in hold of their points."""
        if not wanted:
            return {}
        days = np.unique(np.concatenate([days_of(s.time) for s in wanted.values()]))
        sealed: Readings = {}
        for month in sorted({month_of(day * MS_PER_DAY) for day in days.tolist()}):
            sealed = laid(self._sealed.read_month(site, month, wanted), sealed)
        return sealed

    def _append_sealed(self, site: str, new: Readings) -> tuple[int, int]:
        with self._hot.reading() as db:
            hot = h.fetch(db, site)
        stored = replaced = 0
        months: dict[int, Readings] = {}
        days: list[np.ndarray] = []
        for month, part in _by_month(new).items():
            a, b = month_start(month), month_start(month + 1)
            hot_part = {p: c for p, s in hot.items() if len((c := s.between(a, b)).time)}
            held = laid(hot_part, self._sealed.read_month(site, month))
            write, s, r = _changes(part, held)
            stored, replaced = stored + s, replaced + r
            if write:
                months[month] = laid(write, held)
                days.extend(days_of(changed.time) for changed in write.values())
        if months:
            self._replace(site, months, np.unique(np.concatenate(days)), bool(hot))
        return stored, replaced

    def _replace(self, site: str, months: dict[int, Readings], days: np.ndarray, clear: bool) -> None:
        """Put whole months in force; they hold the hot rows of their months, which go if `clear`."""
        self._sealed.stage(site, months)
        with self._hot.writing() as db:
            number = h.add_site(db, site)
            h.announce(db, number, days)
        self._sealed.publish(site, months)
        with self._hot.writing() as db:
            for month in months if clear else ():
                h.delete(db, number, month_start(month), month_start(month + 1))
            h.settle(db, number)

    def seal(self, now: int) -> int:
        """Move readings older than `hot_days` to sealed files.

        now : int [ms]. Returns how many rows were moved.
        """
        cutoff = (now // MS_PER_DAY - self._hot_days) * MS_PER_DAY
        with self._hot.reading() as db:
            names = list(h.sites(db))
        moved = 0
        for site in names:
            try:
                moved += self._seal_site(site, cutoff)
            except Exception:  # one site's trouble must not keep the others' readings from being sealed
                log.exception("sealing the readings of %s failed", site)
        return moved

    def sites(self) -> list[str]:
        """Sites that have readings here."""
        with self._hot.reading() as db:
            recent = list(h.sites(db))
        sealed = [entry.name for entry in (self._folder / "sealed").iterdir() if entry.is_dir()]
        return sorted({*recent, *sealed})

    def troubles(self, site: str) -> list[Trouble]:
        """Data of a site that are damaged or missing, as far as is known without reading all of them.

        A month is missing where its days have revisions and it has neither a file nor recent rows."""
        _check(site)
        with self._hot.reading() as db:
            days, hot_days, odd = h.revisions(db, site), h.days(db, site), h.odd_rows(db, site)
        sealed = self._sealed.months(site)
        out = self._sealed.troubles(site)
        for month in sorted({month_of(day * MS_PER_DAY) for day in days} - {*sealed}):
            if not any(month_of(day * MS_PER_DAY) == month for day in hot_days):
                out.append(
                    Trouble(site, str(self._sealed.path(site, month)), "missing; its readings are lost")
                )
        if odd:
            out.append(
                Trouble(site, str(self._hot.path), f"{odd} damaged rows of recent readings are left out")
            )
        if sealed and not days:
            what = "holds nothing of this site: it was lost or replaced, and recent readings with it"
            out.append(Trouble(site, str(self._hot.path), what))
        return out

    def fill_month(self, site: str, month: int, readings: Readings) -> int:
        """Write a month anew from what can be read of it and what a backup holds; where both have a reading, the store's
        counts. Damaged files of the month go once it is written. Returns how many readings came from the backup."""
        _check(site)
        start, end = month_start(month), month_start(month + 1)
        within = {p: cut for p, s in readings.items() if len((cut := s.between(start, end)).time)}
        with self._locks.hold(site):
            with self._hot.reading() as db:
                hot = h.fetch(db, site, None, start, end)
            held = laid(hot, self._sealed.read_month(site, month))
            missing = {
                p: Samples(*(a[~np.isin(s.time, held[p].time)] for a in s)) if p in held else s
                for p, s in within.items()
            }
            missing = {p: s for p, s in missing.items() if len(s.time)}
            if missing:
                days = np.unique(np.concatenate([days_of(s.time) for s in missing.values()]))
                self._replace(site, {month: laid(held, missing)}, days, bool(hot))
                self._sealed.drop_damaged(site, month)
        return sum(len(s.time) for s in missing.values())

    def check(self, site: str) -> list[Trouble]:
        """As `troubles`, after reading every byte of the site."""
        _check(site)
        for month in self._sealed.months(site):
            self._sealed.verify(site, month)
        return self.troubles(site)

    def flush(self) -> None:
        """Nothing to do: what was appended is on disk and read from there."""

    def _seal_site(self, site: str, cutoff: int) -> int:
        with self._locks.hold(site):
            with self._hot.reading() as db:
                old = h.fetch(db, site, None, None, cutoff)
            if not old:
                return 0
            months = {m: laid(part, self._sealed.read_month(site, m)) for m, part in _by_month(old).items()}
            self._sealed.stage(site, months)
            self._sealed.publish(site, months)
            return self._drop_sealed(site, months, cutoff)

    def _drop_sealed(self, site: str, months: Iterable[int], cutoff: int) -> int:
        with self._hot.writing() as db:
            number = h.site_number(db, site)
            if number is None:
                return 0
            return sum(h.delete(db, number, month_start(m), min(cutoff, month_start(m + 1))) for m in months)

    def read(
        self, site: str, points: Iterable[str] | None = None, start: int | None = None, end: int | None = None
    ) -> Readings:
        """Readings with start <= time < end [ms] of the named points, all by default; points without any are absent."""
        _check(site)
        wanted = None if points is None else set(points)
        with self._hot.reading() as db:
            hot = h.fetch(db, site, wanted, start, end)
        return self._sealed.read(site, wanted, start, end, hot)

    def span(self, site: str) -> tuple[int, int] | None:
        """First and last time [ms] of a site, None where it has no reading."""
        _check(site)
        with self._hot.reading() as db:
            newest = h.span(db, site)
        ends = [found for found in (newest, self._sealed.span(site)) if found]
        return (min(a for a, _ in ends), max(b for _, b in ends)) if ends else None

    def points(self, site: str) -> dict[str, PointSpan]:
        """Every point that has readings."""
        _check(site)
        with self._hot.reading() as db:
            hot = h.spans(db, site)
        out = self._sealed.spans(site)
        for point, (count, first, last) in hot.items():
            held = out.get(point)
            if held and first <= held.last:  # some rows may be in both places: count keys
                last_of_all = max(last, held.last)
                both = self.read(site, [point], first, last_of_all + 1)[point]
                before = self._sealed.read(site, [point], None, first).get(point)
                count = len(both.time) + (len(before.time) if before else 0)
                out[point] = PointSpan(count, min(first, held.first), last_of_all)
            else:
                out[point] = PointSpan(
                    count + (held.count if held else 0), held.first if held else first, last
                )
        return out

    def thin(self, site: str) -> list[str]:
        """The points read less than daily. What is read often in the sealed months is not looked at again."""
        _check(site)
        sealed = self._sealed.spans(site)
        often = {p for p, span in sealed.items() if span.count > 1 and not is_thin(*span)}
        with self._hot.reading() as db:
            hot = h.spans(db, site, often)
        whole = {p: _together(sealed.get(p), hot.get(p)) for p in {*sealed, *hot} - often}
        return sorted(p for p, span in whole.items() if is_thin(*span))

    def revisions(self, site: str) -> dict[int, int]:
        """UTC day (days since 1970-01-01) -> a number that grows whenever a reading of that day changes.

        Take it before reading: then a change in between shows as a later revision.
        """
        _check(site)
        with self._hot.reading() as db:
            return h.revisions(db, site)

    def forget(self, site: str) -> None:
        """Remove every byte of a site."""
        _check(site)
        with self._locks.hold(site):
            with self._hot.writing() as db:
                number = h.site_number(db, site)
                if number is not None:
                    h.remove_site(db, number)
            self._sealed.forget(site)
            self._hot.erase()

    def close(self) -> None:
        self._hot.close()

    def _recover(self) -> None:
        """Finish what a killed writer left between a sealed file and its revisions."""
        with self._hot.reading() as db:
            cut_off = h.unsettled(db)
        for site in cut_off:
            with self._locks.hold_if_free(site) as free:
                if free:
                    with self._hot.writing() as db:
                        number = h.site_number(db, site)
                        if number is not None:
                            self._settle(db, site, number)

    def _settle(self, db: Any, site: str, number: int) -> None:
        """Settle what a killed writer announced; days of a month that it never wrote hold no reading, and get no revision."""
        announced = h.pending(db, number)
        if not announced:
            return
        months = {*self._sealed.months(site), *(month_of(day * MS_PER_DAY) for day in h.days(db, site))}
        h.withdraw(db, number, [day for day in announced if month_of(day * MS_PER_DAY) not in months])
        h.settle(db, number)


def _together(a: PointSpan | None, b: tuple[int, int, int] | None) -> PointSpan:
    """One span of two, of which at least one is there; a reading in both counts twice."""
    given = [s for s in (a, b) if s is not None]
    count, first, last = zip(*given, strict=True)
    return PointSpan(sum(count), min(first), max(last))


def _opened(folder: Path, hot_days: int) -> LocalStore:
    return LocalStore(folder, hot_days=hot_days)


def _check(site: str) -> None:
    if not re.fullmatch(r"[a-z0-9-]{2,40}", site):
        raise InputError(f"{site!r} is not a site id: use a-z, 0-9 and hyphen, 2 to 40 characters")


def _ends(readings: Readings) -> tuple[int, int]:
    """First and last time [ms] of some readings."""
    return min(int(s.time[0]) for s in readings.values()), max(int(s.time[-1]) for s in readings.values())


def _changes(new: Readings, held: Readings) -> tuple[Readings, int, int]:
    """The samples that are not held as they are; how many of them have new keys, and how many another value."""
    write: Readings = {}
    stored = replaced = 0
    for point, samples in new.items():
        change = compared(held.get(point), samples)
        stored, replaced = stored + change.stored, replaced + change.replaced
        if change.changed.any():
            write[point] = Samples(*(a[change.changed] for a in samples))
    return write, stored, replaced


def _by_month(readings: Readings) -> dict[int, Readings]:
    """Split by month; arrays are views."""
    first, last = _ends(readings)
    months = range(month_of(first), month_of(last) + 1)
    out: dict[int, Readings] = {}
    for month in months:
        a, b = month_start(month), month_start(month + 1)
        part = {p: c for p, s in readings.items() if len((c := s.between(a, b)).time)}
        if part:
            out[month] = part
    return out
