"""The store that needs no server: newest readings in SQLite, older ones sealed in Parquet, one read over
both.

A write takes its site's lock, so that what is compared, counted and moved does not change underneath. Sealed
files change in an order that a kill at any moment leaves whole: the days are announced, the new month is
written beside the old and renamed over it, then the hot rows go and the days' revisions grow, in one
transaction. Reads take no lock: they look at the hot rows first, so a row on its way to a sealed file is seen
in one place or in both; hot rows win.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Iterable
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.readings import MS_PER_DAY, Readings, is_thin
from fieldfare.collector.store import recent as h
from fieldfare.collector.store.files import Locks, make_folder
from fieldfare.collector.store.protocol import Appended, PointSpan, Trouble
from fieldfare.collector.store.sealed import Sealed, month_of, settle_announced

if TYPE_CHECKING:
    from fieldfare.collector.store.local_write import LocalWriter

log = logging.getLogger(__name__)


class LocalStore:
    """Readings kept in a folder. Several processes may open it; one writes a site at a time.

    folder : Path, made where it is missing
    hot_days : int [d], default 1. `seal` leaves younger readings where they are cheap to change; each of them
        costs every read some milliseconds a site
    """

    def __init__(self, folder: Path, *, hot_days: int = 1) -> None:
        self._folder, self._hot_days = Path(folder), hot_days
        make_folder(self._folder)
        make_folder(self._folder / "sealed")
        self._locks = Locks(self._folder / "locks")
        with self._locks.hold(""):  # two processes that set a new file up at once would fail
            self._recent = h.RecentDatabase(self._folder / "hot.sqlite")
        self._sealed = Sealed(self._folder / "sealed")
        self._recover()

    def __reduce__(self) -> tuple[Any, ...]:
        return _opened, (self._folder, self._hot_days)

    @cached_property
    def _writer(self) -> LocalWriter:
        from fieldfare.collector.store.local_write import (
            LocalWriter,  # numpy and Parquet: not for asking what is here
        )

        return LocalWriter(self._recent, self._sealed, self._locks)

    def append(self, site: str, readings: Readings) -> Appended:
        """Keep readings. When it returns they are on disk; giving them again changes nothing.

        Within one call the first value given for a key counts; a later call with another value replaces it.
        """
        _check(site)
        return self._writer.append(site, readings)

    def seal(self, now: int) -> int:
        """Move readings older than `hot_days` to sealed files.

        now : int [ms]. Returns how many rows were moved.
        """
        cutoff = (now // MS_PER_DAY - self._hot_days) * MS_PER_DAY
        with self._recent.reading() as db:
            names = list(h.sites(db))
        moved = 0
        for site in names:
            try:
                moved += self._writer.seal(site, cutoff)
            except Exception:  # one site's trouble must not keep the others' readings from being sealed
                log.exception("sealing the readings of %s failed", site)
        return moved

    def sites(self) -> list[str]:
        """Sites that have readings here."""
        with self._recent.reading() as db:
            recent = list(h.sites(db))
        sealed = [entry.name for entry in (self._folder / "sealed").iterdir() if entry.is_dir()]
        return sorted({*recent, *sealed})

    def troubles(self, site: str) -> list[Trouble]:
        """Data of a site that are damaged or missing, as far as is known without reading all of them.

        A month is missing where its days have revisions and it has neither a file nor recent rows."""
        _check(site)
        with self._recent.reading() as db:
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
                Trouble(site, str(self._recent.path), f"{odd} damaged rows of recent readings are left out")
            )
        if sealed and not days:
            what = "holds nothing of this site: it was lost or replaced, and recent readings with it"
            out.append(Trouble(site, str(self._recent.path), what))
        return out

    def fill_month(self, site: str, month: int, readings: Readings) -> int:
        """Write a month anew from what can be read of it and what a backup holds; where both have a reading,
        the store's counts. Damaged files of the month go once it is written. Returns how many readings came
        from the backup.
        """
        _check(site)
        return self._writer.fill_month(site, month, readings)

    def check(self, site: str) -> list[Trouble]:
        """As `troubles`, after reading every byte of the site."""
        _check(site)
        for month in self._sealed.months(site):
            self._sealed.verify(site, month)
        return self.troubles(site)

    def flush(self) -> None:
        """Nothing to do: what was appended is on disk and read from there."""

    def read(
        self, site: str, points: Iterable[str] | None = None, start: int | None = None, end: int | None = None
    ) -> Readings:
        """Readings with start <= time < end [ms] of the named points, all by default; points without any are
        absent."""
        from fieldfare.collector.store import recent_rows

        _check(site)
        wanted = None if points is None else set(points)
        with self._recent.reading() as db:
            hot = recent_rows.fetch(db, site, wanted, start, end)
        return self._sealed.read(site, wanted, start, end, hot)

    def span(self, site: str) -> tuple[int, int] | None:
        """First and last time [ms] of a site, None where it has no reading."""
        _check(site)
        with self._recent.reading() as db:
            newest = h.span(db, site)
        ends = [found for found in (newest, self._sealed.span(site)) if found]
        return (min(a for a, _ in ends), max(b for _, b in ends)) if ends else None

    def points(self, site: str) -> dict[str, PointSpan]:
        """Every point that has readings."""
        from fieldfare.collector.store import recent_rows

        _check(site)
        with self._recent.reading() as db:
            hot = recent_rows.spans(db, site)
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
        from fieldfare.collector.store import recent_rows

        _check(site)
        sealed = self._sealed.spans(site)
        often = {p for p, span in sealed.items() if span.count > 1 and not is_thin(*span)}
        with self._recent.reading() as db:
            hot = recent_rows.spans(db, site, often)
        whole = {p: _together(sealed.get(p), hot.get(p)) for p in {*sealed, *hot} - often}
        return sorted(p for p, span in whole.items() if is_thin(*span))

    def revisions(self, site: str) -> dict[int, int]:
        """UTC day (days since 1970-01-01) -> a number that grows whenever a reading of that day changes.

        Take it before reading: then a change in between shows as a later revision.
        """
        _check(site)
        with self._recent.reading() as db:
            return h.revisions(db, site)

    def forget(self, site: str) -> None:
        """Remove every byte of a site."""
        _check(site)
        with self._locks.hold(site):
            with self._recent.writing() as db:
                number = h.site_number(db, site)
                if number is not None:
                    h.remove_site(db, number)
            self._sealed.forget(site)
            self._recent.erase()

    def close(self) -> None:
        self._recent.close()

    def _recover(self) -> None:
        """Finish what a killed writer left between a sealed file and its revisions."""
        with self._recent.reading() as db:
            cut_off = h.sites_pending(db)
        for site in cut_off:
            with self._locks.hold_if_free(site) as free:
                if free:
                    with self._recent.writing() as db:
                        number = h.site_number(db, site)
                        if number is not None:
                            settle_announced(db, self._sealed, site, number)


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
