"""Cache of facts: recomputes only days whose readings, site file or method changed."""

from __future__ import annotations

import hashlib
import logging
import threading
import time
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

from sqlalchemy import bindparam, delete, insert, select

from fieldfare.analysis.errors import SiteError, UnreadableFacts
from fieldfare.analysis.facts.tables import (
    MARGIN_DAYS,
    METHOD_VERSION,
    SPAN_DAYS,
    Facts,
    no_rows,
)
from fieldfare.analysis.minutes.midnight import local_midnight
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.readings import MS_PER_DAY
from fieldfare.api.core.local_days import day_of, days
from fieldfare.api.core.sites import Sites
from fieldfare.api.core.weather import station_key, station_points
from fieldfare.api.state.database import Database
from fieldfare.api.state.site_tables import FACT_CHUNKS, FACT_DAYS, SITES
from fieldfare.collector.store.protocol import PointSpan, Store

if TYPE_CHECKING:
    from fieldfare.analysis.readings import Readings

log = logging.getLogger(__name__)
KINDS = ("days", "runs", "defrosts", "reheats", "notices", "rests", "faults")
CHUNK_READINGS = 2_000_000
"""Readings processed at once per thread: sparse data allow longer spans than SPAN_DAYS."""
OPEN_DAYS = 1 + MARGIN_DAYS
"""The newest days: today, and those whose facts depend on today's readings."""
RECENT_S = 600.0

# Prebuilt statements: executed for every site each night.
_OF_MONTHS = (
    FACT_CHUNKS.c.site == bindparam("site_id"),
    FACT_CHUNKS.c.month >= bindparam("first_month"),
    FACT_CHUNKS.c.month <= bindparam("last_month"),
)
_OF_DAYS = (
    FACT_DAYS.c.site == bindparam("site_id"),
    FACT_DAYS.c.day >= bindparam("first_day"),
    FACT_DAYS.c.day <= bindparam("last_day"),
)
_CHUNKS = (
    select(FACT_CHUNKS.c.kind, FACT_CHUNKS.c.month, FACT_CHUNKS.c.payload)
    .where(*_OF_MONTHS)
    .order_by(FACT_CHUNKS.c.kind, FACT_CHUNKS.c.month)
)
_MARKS = select(FACT_DAYS.c.day, FACT_DAYS.c.fingerprint).where(*_OF_DAYS)
_HOLD = select(SITES.c.id).where(SITES.c.id == bindparam("site_id")).with_for_update()
_DROP_CHUNKS, _DROP_MARKS = delete(FACT_CHUNKS).where(*_OF_MONTHS), delete(FACT_DAYS).where(*_OF_DAYS)

Progress = Callable[[date, date], None]


class Updated(NamedTuple):
    """Number of recomputed days, and a version token of everything the span's facts depend on."""

    days: int
    mark: str


class BorrowedWeather(NamedTuple):
    """Weather that a site takes from another site or a station.

    key : the store's key. points : id there -> point here
    """

    key: str
    points: dict[str, Point]


class FactsCache:
    """Facts tables of all sites, cached in the state database.

    threads : int, default 1. Threads for a site with many days to compute
    """

    def __init__(self, database: Database, store: Store, sites: Sites, threads: int = 1) -> None:
        self._threads = threads
        self._database, self._store, self._sites = database, store, sites
        self._locks: dict[str, threading.Lock] = {}
        self._recent: dict[tuple[str, date, date], tuple[str, float]] = {}

    def facts(self, site: Site, first: date, last: date, progress: Progress | None = None) -> Facts:
        """Facts of first..last (local days), brought up to date."""
        self.update(site, first, last, progress)
        return self.stored(site.id, first, last)

    def update(self, site: Site, first: date, last: date, progress: Progress | None = None) -> Updated:
        """Bring first..last up to date. Tables that can't be read are computed again."""
        try:
            return self._update(site, first, last, progress)
        except UnreadableFacts as error:
            self.forget(site.id, error)
            return self._update(site, first, last, progress)

    def forget(self, site_id: str, why: Exception | str) -> None:
        """Delete a site's stored facts; the next request computes them from its readings."""
        log.warning("site %s: %s; its facts are computed again from the readings", site_id, why)
        with self._database.writing() as db:
            for table in (FACT_CHUNKS, FACT_DAYS):
                db.execute(delete(table).where(table.c.site == site_id))

    def _update(self, site: Site, first: date, last: date, progress: Progress | None) -> Updated:
        complete = self.with_borrowed_weather(site)
        current = self.fingerprints(complete, first, last)
        stored = self._stored_fingerprints(site.id, first, last)
        stale = [day for day, mark in current.items() if stored.get(day) != mark]
        if not stale:
            return Updated(0, _combined_hash(current))
        return Updated(self._build(site, complete, stale, current, progress), _combined_hash(current))

    def _build(
        self,
        site: Site,
        complete: Site,
        stale: list[date],
        current: dict[date, str],
        progress: Progress | None,
    ) -> int:
        """Compute and store the facts of stale days and of the silences that they end. Return the day count.

        complete : the site with the weather that it borrows. current : fingerprints of the requested days
        """
        from fieldfare.analysis.facts.build import (
            build_facts,  # imports the whole analysis: only if something is stale
        )
        from fieldfare.api.core.silent_spans import thin_readings, with_silences

        thin = thin_readings(self._store, site.id)
        work = with_silences(stale, self._store.revisions(site.id), thin, site.zone)
        marks = (
            current | self.fingerprints(complete, work[0], work[-1]) if len(work) > len(stale) else current
        )
        days_at_once = _chunk_days(self._store.points(site.id)) if len(work) > SPAN_DAYS else SPAN_DAYS
        for start, end in _spans(work, days_at_once * self._threads):
            around = start - timedelta(days=MARGIN_DAYS), end + timedelta(days=MARGIN_DAYS)
            readings = self.readings(site, *around) | thin
            facts = build_facts(complete, readings, start, end, self._threads)
            self._write(site.id, facts, {day: marks[day] for day in days(start, end)})
            if progress:
                progress(start, end)
        return len(work)

    def recent(self, site: Site, first: date, last: date) -> Facts:
        """Facts of first..last for display: like `facts`, but the newest days may be RECENT_S old."""
        with self._locks.setdefault(site.id, threading.Lock()):
            key, closed = (site.id, first, last), self.closed_mark(site, first, last)
            known = self._recent.get(key)
            if known is None or known[0] != closed or time.monotonic() - known[1] > RECENT_S:
                self.update(site, first, last)
                self._recent[key] = (closed, time.monotonic())
        return self.stored(site.id, first, last)

    def closed_mark(self, site: Site, first: date, last: date) -> str:
        """Version token of the facts of the completed days in first..last."""
        span = self._store.span(site.id)
        newest = day_of(span[1], site.zone) if span else last
        return _combined_hash(
            self.fingerprints(
                self.with_borrowed_weather(site), first, min(last, newest - timedelta(days=OPEN_DAYS))
            )
        )

    def readings(self, site: Site, first: date, last: date) -> Readings:
        """Readings of local days first..last, including a borrowed outdoor sensor."""
        start, end = local_midnight(site, first), local_midnight(site, last + timedelta(days=1))
        found = self._store.read(site.id, None, start, end)
        if lent := self.lent(site):
            borrowed = self._store.read(lent.key, list(lent.points), start, end)
            found.update({lent.points[name].id: samples for name, samples in borrowed.items()})
        return found

    def with_borrowed_weather(self, site: Site) -> Site:
        """The site with the weather that another site or a station provides.

        If the site file names another site (`outdoor_from`, `[weather] site`) or a station (`[weather] file`)
        and the site lacks the sensor, the borrowed points are added under the id `other.point`.
        """
        lent = self.lent(site)
        return (
            site if lent is None else site.model_copy(update={"point": (*site.point, *lent.points.values())})
        )

    def fingerprints(self, site: Site, first: date, last: date) -> dict[date, str]:
        """Fingerprint of each day: method, relevant parts of the site file, and readings."""
        base = hashlib.blake2b(
            f"{METHOD_VERSION}|{facts_site_hash(site)}|{MARGIN_DAYS}".encode(), digest_size=16
        )
        revised = [sorted(self._store.revisions(site.id).items())]
        if lent := self.lent(self._sites.get(site.id).site):
            revised.append(sorted(self._store.revisions(lent.key).items()))
        around = list(days(first - timedelta(days=MARGIN_DAYS), last + timedelta(days=MARGIN_DAYS + 1)))
        edges = [local_midnight(site, day) for day in around]
        wide = 2 * MARGIN_DAYS + 1
        begin, end = [e // MS_PER_DAY for e in edges[:-wide]], [(e - 1) // MS_PER_DAY for e in edges[wide:]]
        groups = []
        for found in revised:
            numbers = [day for day, _ in found]
            a, b = [bisect_left(numbers, day) for day in begin], [bisect_right(numbers, day) for day in end]
            groups.append(([repr(each).encode() for each in found], a, b))
        marks = {}
        for n, day in enumerate(around[MARGIN_DAYS : -MARGIN_DAYS - 1]):
            mark = base.copy()
            for words, a, b in groups:
                mark.update(b"[%b]" % b", ".join(words[a[n] : b[n]]))
            marks[day] = mark.hexdigest()
        return marks

    def stored(self, site_id: str, first: date, last: date) -> Facts:
        """The stored facts of first..last, not brought up to date. Where a table can't be read, all are
        computed again."""
        try:
            return self._stored(site_id, first, last)
        except UnreadableFacts as error:
            self.forget(site_id, error)
            self._update(self._sites.get(site_id).site, first, last, None)
            return self._stored(site_id, first, last)

    def _stored(self, site_id: str, first: date, last: date) -> Facts:
        from fieldfare.api.core.fact_tables import unpacked

        with self._database.reading() as db:
            rows = db.execute(_CHUNKS, _span(site_id, first, last)).all()
        payloads: dict[str, list[bytes]] = {kind: [] for kind in KINDS}
        for kind, _, payload in rows:
            payloads[kind].append(payload)
        tables = {kind: unpacked(found) if found else no_rows() for kind, found in payloads.items()}
        return Facts(**tables).between(first, last)

    def _stored_fingerprints(self, site_id: str, first: date, last: date) -> dict[date, str]:
        with self._database.reading() as db:
            return dict(db.execute(_MARKS, _span(site_id, first, last)).all())

    def _write(self, site_id: str, facts: Facts, marks: dict[date, str]) -> None:
        """Replace the stored facts of the marked days."""
        from fieldfare.api.core.fact_tables import packed, replaced

        first, last = min(marks), max(marks)
        span = _span(site_id, first, last)
        with self._database.writing() as db:
            db.execute(_HOLD, {"site_id": site_id}).one()
            stored = {(kind, month): payload for kind, month, payload in db.execute(_CHUNKS, span)}
            chunks = []
            for month, start, end in _months(first, last):
                for kind in KINDS:
                    part = getattr(facts, kind).between(start, end)
                    older = stored.get((kind, month))
                    payload = packed(part) if older is None else replaced(older, part, start, end)
                    chunks.append({"site": site_id, "kind": kind, "month": month, "payload": payload})
            db.execute(_DROP_CHUNKS, span)
            db.execute(insert(FACT_CHUNKS), chunks)
            db.execute(_DROP_MARKS, span)
            db.execute(
                insert(FACT_DAYS), [{"site": site_id, "day": d, "fingerprint": m} for d, m in marks.items()]
            )

    def lent(self, site: Site) -> BorrowedWeather | None:
        """Weather that a site borrows; None where it has its own, or there is none."""
        if site.weather is not None and site.weather.has_station:
            return BorrowedWeather(station_key(site.id), station_points(site))
        lender = site.weather_lender
        if lender is None or site.measures("outdoor_temperature"):
            return None
        try:
            record = self._sites.find(lender)
        except SiteError as error:  # an error of the other site must not fail this one
            log.warning("site %s: no outdoor sensor from %s: %s", site.id, lender, error)
            return None
        if record is None:
            return None
        found = record.site.points_of("outdoor_temperature")
        return BorrowedWeather(
            lender, {p.id: p.model_copy(update={"id": borrowed_point_id(lender, p.id)}) for p in found}
        )


def _span(site_id: str, first: date, last: date) -> dict[str, Any]:
    """Statement parameters for a site's days first..last."""
    months = {"first_month": _month(first), "last_month": _month(last)}
    return {"site_id": site_id, "first_day": first, "last_day": last} | months


def _combined_hash(marks: dict[date, str]) -> str:
    return hashlib.blake2b("".join(marks.values()).encode(), digest_size=16).hexdigest()


def borrowed_point_id(lender: str, point: str) -> str:
    """Id of a borrowed point."""
    return f"{lender}.{point}"


def facts_site_hash(site: Site) -> str:
    """Hash of the parts of a site file that facts depend on: not the name, limits, or data sources."""
    content = site.model_dump(
        mode="json",
        exclude={"csv": True, "contact": True, "limits": True, "fault_codes": True, "site": {"name"}},
    )
    for point in content["point"]:
        for key in ("column", "topic", "pointer", "time_pointer"):
            point.pop(key)
    return _mark_of(content)


def results_site_hash(site: Site) -> str:
    """Hash of the parts of a site file that results depend on: not contact, comments or key order."""
    return _mark_of(site.model_dump(mode="json", exclude={"contact"}))


def _mark_of(content: dict[str, Any]) -> str:
    return hashlib.blake2b(repr(content).encode(), digest_size=16).hexdigest()


def _chunk_days(points: dict[str, PointSpan]) -> int:
    if not points:
        return SPAN_DAYS
    length = (max(p.last for p in points.values()) - min(p.first for p in points.values())) / MS_PER_DAY
    a_day = sum(p.count for p in points.values()) / max(length, 1.0)
    return max(SPAN_DAYS, int(CHUNK_READINGS / max(a_day, 1.0)))


def _spans(stale: list[date], most: int) -> Iterator[tuple[date, date]]:
    """Group stale days closer than the margin for one computation, at most `most` at once."""
    start = end = None
    for day in stale:
        if start is None or end is None:
            start = end = day
        elif (day - end).days <= 2 * MARGIN_DAYS + 1 and (day - start).days < most:
            end = day
        else:
            yield start, end
            start = end = day
    if start is not None and end is not None:
        yield start, end


def _months(first: date, last: date) -> Iterator[tuple[str, date, date]]:
    start = first
    while start <= last:
        after = (start.replace(day=1) + timedelta(days=32)).replace(day=1)
        yield _month(start), start, min(last, after - timedelta(days=1))
        start = after


def _month(day: date) -> str:
    return f"{day:%Y-%m}"
