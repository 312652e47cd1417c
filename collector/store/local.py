"""Store without a server: recent readings in SQLite, older ones sealed in Parquet, one read over both.

A write takes its site's lock, so that the data it compares, counts and moves do not change meanwhile. Sealed
files change in an order that survives a kill at any moment: announce the days, write the new month beside the
old one and rename it, then delete the recent rows and raise the days' revisions in one transaction. Reads
take no lock: they read the recent rows first, so a row being sealed is seen in one place or in both; recent
rows win.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldfare.analysis.readings import MS_PER_DAY, Readings, is_thin
from fieldfare.collector.store import recent as h
from fieldfare.collector.store.files import Locks, make_folder
from fieldfare.collector.store.protocol import Appended, PointSpan, Reverted, Trouble, check_site_id
from fieldfare.collector.store.sealed import Sealed, month_of, month_start, settle_announced

if TYPE_CHECKING:
    from fieldfare.collector.store.local_write import LocalWriter

log = logging.getLogger(__name__)


class LocalStore:
    """Readings in a folder. Several processes may open it; one writes a site at a time.

    folder : Path, created if missing
    hot_days : int [d], default 1. `seal` leaves younger readings where they are cheap to change; each day
        costs every read some milliseconds a site
    """

    def __init__(self, folder: Path, *, hot_days: int = 1) -> None:
        self._folder, self._hot_days = Path(folder), hot_days
        make_folder(self._folder)
        make_folder(self._folder / "sealed")
        self._locks = Locks(self._folder / "locks")
        with self._locks.hold(""):  # two processes creating the file at once would fail
            self._recent = h.RecentDatabase(self._folder / "hot.sqlite")
        self._sealed = Sealed(self._folder / "sealed")
        self._recover()

    def __reduce__(self) -> tuple[Any, ...]:
        return _opened, (self._folder, self._hot_days)

    @cached_property
    def _writer(self) -> LocalWriter:
        from fieldfare.collector.store.local_write import (
            LocalWriter,  # imports numpy and Parquet: not needed to list sites
        )

        return LocalWriter(self._recent, self._sealed, self._locks)

    def append(self, site: str, readings: Readings) -> Appended:
        """Store readings. They are on disk when it returns; appending them again changes nothing.

        Within one call the first value of a key counts; a later call with another value replaces it.
        """
        check_site_id(site)
        return self._writer.append(site, readings)

    def revert(self, site: str, written: Readings, before: Readings) -> Reverted:
        """Undo earlier appends; see `Store.revert`."""
        check_site_id(site)
        return self._writer.revert(site, written, before)

    def seal(self, now: int) -> int:
        """Move readings older than `hot_days` to sealed files.

        now : int [ms]. Returns the number of moved rows.
        """
        cutoff = (now // MS_PER_DAY - self._hot_days) * MS_PER_DAY
        with self._recent.reading() as db:
            names = list(h.sites(db))
        moved = 0
        for site in names:
            try:
                moved += self._writer.seal(site, cutoff)
            except Exception:  # one site's error must not stop the sealing of the others
                log.exception("sealing the readings of %s failed", site)
        return moved

    def sites(self) -> list[str]:
        """Sites with readings."""
        with self._recent.reading() as db:
            recent = list(h.sites(db))
        sealed = [entry.name for entry in (self._folder / "sealed").iterdir() if entry.is_dir()]
        return sorted({*recent, *sealed})

    def troubles(self, site: str) -> list[Trouble]:
        """Known damaged or missing data of a site, without reading everything.

        A month is missing if its days have revisions and it has neither a file nor recent rows.
        """
        check_site_id(site)
        with self._recent.reading() as db:
            days, odd = h.revisions(db, site), h.damaged_rows(db, site)
            sealed = self._sealed.months(site)
            unsealed = {month_of(day * MS_PER_DAY) for day in days} - {*sealed}
            gone = [m for m in sorted(unsealed) if not h.holds(db, site, month_start(m), month_start(m + 1))]
        out = self._sealed.troubles(site)
        for month in gone:
            out.append(Trouble(site, str(self._sealed.path(site, month)), "missing; its readings are lost"))
        if odd:
            out.append(
                Trouble(site, str(self._recent.path), f"{odd} damaged rows of recent readings are left out")
            )
        if sealed and not days:
            what = "holds nothing of this site: it was lost or replaced, and recent readings with it"
            out.append(Trouble(site, str(self._recent.path), what))
        return out

    def fill_month(self, site: str, month: int, readings: Readings) -> int:
        """Rewrite a month from its readable data and a backup; where both have a reading, the store's wins.

        Damaged files of the month are deleted once it is written. Returns the number of readings from the
        backup.
        """
        check_site_id(site)
        return self._writer.fill_month(site, month, readings)

    def check(self, site: str) -> list[Trouble]:
        """Like `troubles`, after reading every byte of the site."""
        from fieldfare.collector.store import recent_rows

        check_site_id(site)
        for month in self._sealed.months(site):
            self._sealed.verify(site, month)
        with self._recent.reading() as db:
            recent_rows.fetch(db, site)
        return self.troubles(site)

    def flush(self) -> None:
        """Does nothing: appended readings are on disk and readable."""

    def read(
        self, site: str, points: Iterable[str] | None = None, start: int | None = None, end: int | None = None
    ) -> Readings:
        """Readings with start <= time < end [ms] of the named points (default all).

        Points without readings are absent.
        """
        from fieldfare.collector.store import recent_rows

        check_site_id(site)
        chosen = None if points is None else set(points)
        with self._recent.reading() as db:
            hot = recent_rows.fetch(db, site, chosen, start, end)
        return self._sealed.read(site, chosen, start, end, hot)

    def span(self, site: str) -> tuple[int, int] | None:
        """First and last time [ms] of a site; None without readings."""
        check_site_id(site)
        with self._recent.reading() as db:
            newest = h.span(db, site)
        ends = [found for found in (newest, self._sealed.span(site)) if found]
        return (min(a for a, _ in ends), max(b for _, b in ends)) if ends else None

    def points(self, site: str) -> dict[str, PointSpan]:
        """All points with readings."""
        from fieldfare.collector.store import recent_rows

        check_site_id(site)
        with self._recent.reading() as db:
            hot = recent_rows.spans(db, site)
        out = self._sealed.spans(site)
        for point, (count, first, last) in hot.items():
            held = out.get(point)
            if held and first <= held.last:  # some rows may be in both places, so count keys
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
        """Points with less than daily readings; points frequent in sealed months are not checked again."""
        from fieldfare.collector.store import recent_rows

        check_site_id(site)
        sealed = self._sealed.spans(site)
        often = {p for p, span in sealed.items() if span.count > 1 and not is_thin(*span)}
        with self._recent.reading() as db:
            hot = recent_rows.spans(db, site, often)
        whole = {p: _together(sealed.get(p), hot.get(p)) for p in {*sealed, *hot} - often}
        return sorted(p for p, span in whole.items() if is_thin(*span))

    def revisions(self, site: str) -> dict[int, int]:
        """UTC day (days since 1970-01-01) -> revision, which grows whenever a reading of that day changes.

        Read it before the readings: then a concurrent change shows as a later revision.
        """
        check_site_id(site)
        with self._recent.reading() as db:
            return h.revisions(db, site)

    def forget(self, site: str) -> None:
        """Delete all data of a site."""
        check_site_id(site)
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
        """Finish a change between a sealed file and its revisions that a killed writer left."""
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
    """Union of two spans, of which at least one exists; a reading in both counts twice."""
    given = [s for s in (a, b) if s is not None]
    count, first, last = zip(*given, strict=True)
    return PointSpan(sum(count), min(first), max(last))


def _opened(folder: Path, hot_days: int) -> LocalStore:
    return LocalStore(folder, hot_days=hot_days)
