"""Results of a site, computed from facts and cached until readings, site file or method change."""

from __future__ import annotations

import hashlib
import logging
import threading
import time
import zlib
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import orjson
from sqlalchemy import and_, bindparam, delete, func, insert, select

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.facts.tables import METHOD_VERSION
from fieldfare.analysis.minutes.midnight import last_day, local_midnight
from fieldfare.api.core.facts_cache import (
    RECENT_S,
    FactsCache,
    Progress,
    results_site_hash,
)
from fieldfare.api.core.fleet_lines import PackedResult, pack_result
from fieldfare.api.core.local_days import day_of
from fieldfare.api.core.sites import Card, SiteRecord, card_of
from fieldfare.api.state.database import Database
from fieldfare.api.state.site_tables import KEPT_RESULTS
from fieldfare.collector.store.protocol import Store, Trouble

if TYPE_CHECKING:
    from fieldfare.analysis.findings.model import Finding
    from fieldfare.analysis.plant.site import Site
    from fieldfare.analysis.reports.result import Result
    from fieldfare.api.core.fleet_table import FleetTable

log = logging.getLogger(__name__)
KEPT_PER_SITE = 24
"""Stored results per site: a dozen months and the usual longer periods."""
RECENT_KEPT = 256
"""Documents cached in memory: about 20 MB."""

# Prebuilt statements: executed for every site each night.
_OF_PERIOD = and_(
    KEPT_RESULTS.c.site == bindparam("site_id"),
    KEPT_RESULTS.c.first == bindparam("from_day"),
    KEPT_RESULTS.c.last == bindparam("to_day"),
)
_FIND = select(KEPT_RESULTS.c.fingerprint, KEPT_RESULTS.c.rolling, KEPT_RESULTS.c.payload).where(_OF_PERIOD)
_MADE = select(func.max(KEPT_RESULTS.c.made)).where(
    KEPT_RESULTS.c.site == bindparam("site_id"), KEPT_RESULTS.c.rolling
)
_DROP = delete(KEPT_RESULTS).where(_OF_PERIOD)
_SPARE = (
    select(KEPT_RESULTS.c.first, KEPT_RESULTS.c.last)
    .where(KEPT_RESULTS.c.site == bindparam("site_id"))
    .order_by(KEPT_RESULTS.c.rolling.desc(), KEPT_RESULTS.c.made.desc())
    .offset(KEPT_PER_SITE)
)


class _Recent(NamedTuple):
    closed: str
    made: float
    document: bytes


class NoReadings(InputError):
    """The site has no readings, or none in the requested days.

    when : those days in words. span : first and last day with readings, where there are any
    """

    def __init__(self, site_id: str, when: str = "", span: tuple[date, date] | None = None) -> None:
        if span is None:
            message = f"{site_id} has no readings yet; bring some in with: fieldfare ingest {site_id} FILE"
        else:
            message = f"{site_id} has no readings {when}; it has readings from {span[0]} to {span[1]}"
        super().__init__(message)


class Results:
    """Result documents of `analyse` for a site and a period."""

    def __init__(self, database: Database, store: Store, keeper: FactsCache, fleet: FleetTable) -> None:
        self._database, self._store, self._facts, self._fleet = database, store, keeper, fleet
        self._locks: dict[str, threading.Lock] = {}
        self._recent: dict[tuple[str, date, date], _Recent] = {}

    def span(self, record: SiteRecord) -> tuple[date, date]:
        """First and last local day with readings; see `last_day`. Raises NoReadings."""
        site = record.site
        found = self._store.span(site.id)
        if found is None:
            raise NoReadings(site.id)
        first, last = (day_of(moment, site.zone) for moment in found)
        if first < last and found[1] == local_midnight(site, last):
            last = last_day(site, {name: point.last for name, point in self._store.points(site.id).items()})
        return first, last

    def period(self, record: SiteRecord, first: date | None, last: date | None) -> tuple[date, date]:
        """Resolve a requested period; open ends become the data's span. Raises InputError if reversed."""
        start, end = self.span(record)
        first, last = first or min(start, last or start), last or max(end, first or end)
        if first > last:
            raise InputError(f"the period ends before it starts: {first} to {last}")
        if (last - first).days > 366 * 30:
            raise InputError(f"the period is longer than 30 years: {first} to {last}")
        return first, last

    def rolling(self, record: SiteRecord, length: int) -> tuple[date, date]:
        """First and last day of the last `length` days with readings, or fewer."""
        start, end = self.span(record)
        return max(start, end - timedelta(days=length - 1)), end

    def result(
        self, record: SiteRecord, first: date, last: date, progress: Progress | None = None
    ) -> dict[str, Any]:
        """Result document of first..last, inclusive."""
        return orjson.loads(self.document(record, first, last, progress))

    def rolling_result(self, record: SiteRecord, length: int) -> dict[str, Any]:
        """Result of the last `length` days, stored as the site's current result."""
        return orjson.loads(self.rolling_document(record, length))

    def rolling_document(self, record: SiteRecord, length: int) -> bytes:
        """Like `rolling_result`, as JSON."""
        return self.document(record, *self.rolling(record, length), rolling=True)

    def document(
        self,
        record: SiteRecord,
        first: date,
        last: date,
        progress: Progress | None = None,
        *,
        rolling: bool = False,
    ) -> bytes:
        """Result document as JSON."""
        site = record.site
        facts_mark = self._facts.update(site, first, last, progress).mark
        notices = self.data_notices(site.id)
        mark = self._mark(record, f"{facts_mark}{notices or ''}")
        with self._database.reading() as db:
            row = db.execute(_FIND, _period(site.id, first, last)).first()
        cached = row if row is not None and row.fingerprint == mark and row.rolling >= rolling else None
        if cached is not None and (known := _unpacked(site.id, cached.payload)) is not None:
            return known
        contents = self._compute_result(site, first, last).as_dict() | {"data_notices": notices}
        document = orjson.dumps(contents, option=orjson.OPT_SERIALIZE_NUMPY)
        # A rolling result stays the site's rolling result when it is computed again.
        self.keep(site.id, first, last, mark, document, rolling or (row is not None and row.rolling))
        return document

    def data_notices(self, site_id: str) -> list[str]:
        """Lines about damaged or missing readings of a site; its results leave them out."""
        return [_notice(trouble) for trouble in self._store.troubles(site_id)]

    def findings(
        self, record: SiteRecord, first: date, last: date, codes: frozenset[str]
    ) -> tuple[Finding, ...]:
        """Findings of first..last with these codes; stores nothing but the facts."""
        from fieldfare.analysis.reports.result import findings_of

        self._facts.update(record.site, first, last)
        facts = self._facts.stored(record.site.id, first, last)
        return findings_of(self._facts.with_borrowed_weather(record.site), facts, first, last, codes)

    def _compute_result(self, site: Site, first: date, last: date) -> Result:
        from fieldfare.analysis.reports.result import (
            analyse,  # imports the fits: only when something is computed
        )

        return analyse(
            self._facts.with_borrowed_weather(site), self._facts.stored(site.id, first, last), first, last
        )

    def recent(self, record: SiteRecord, first: date, last: date) -> bytes:
        """Result document of first..last for display.

        A change of completed days counts at once; the newest days change with every reading, so for them a
        document may be RECENT_S old. Only one document per site is computed at a time.
        """
        key = (record.site.id, first, last)
        with self._locks.setdefault(record.site.id, threading.Lock()):
            closed = self._facts.closed_mark(record.site, first, last) + results_site_hash(record.site)
            known = self._recent.get(key)
            if known is not None and known.closed == closed and time.monotonic() - known.made < RECENT_S:
                return known.document
            document = self.document(record, first, last)
            self._recent.pop(key, None)  # oldest first
            while len(self._recent) >= RECENT_KEPT:
                self._recent.pop(next(iter(list(self._recent)), key), None)
            self._recent[key] = _Recent(closed, time.monotonic(), document)
        return document

    def made(self, site_id: str) -> datetime | None:
        """Time of the last rolling result: a version token for values derived from it."""
        with self._database.reading() as db:
            return db.execute(_MADE, {"site_id": site_id}).scalar()

    def newest(self, site_id: str) -> dict[str, Any] | None:
        """The last rolling result, without computing anything."""
        chosen = select(KEPT_RESULTS.c.payload).where(KEPT_RESULTS.c.site == site_id, KEPT_RESULTS.c.rolling)
        with self._database.reading() as db:
            payload = db.scalars(chosen.order_by(KEPT_RESULTS.c.made.desc()).limit(1)).first()
        document = _unpacked(site_id, payload) if payload else None
        return orjson.loads(document) if document else None

    def _mark(self, record: SiteRecord, facts_mark: str) -> str:
        return hashlib.blake2b(
            f"{METHOD_VERSION}|{facts_mark}|{results_site_hash(record.site)}".encode(), digest_size=16
        ).hexdigest()

    def keep(self, site_id: str, first: date, last: date, mark: str, document: bytes, rolling: bool) -> None:
        """Store a result document in place of the period's last one; `mark` is the fingerprint of its
        inputs. A rolling result also updates the home's row of the fleet table."""
        home = self._home(site_id, document) if rolling else None
        row = {"site": site_id, "first": first, "last": last, "fingerprint": mark, "made": datetime.now(UTC)}
        row |= {"rolling": rolling, "payload": zlib.compress(document, 1)}
        with self._database.writing() as db:
            db.execute(_DROP, _period(site_id, first, last))
            db.execute(insert(KEPT_RESULTS), row)
            for spare in db.execute(_SPARE, {"site_id": site_id}).all():
                db.execute(_DROP, _period(site_id, *spare))
            if home is not None:
                self._fleet.write(db, [home[0]], {site_id: home[1]})

    def _home(self, site_id: str, document: bytes) -> tuple[Card, PackedResult] | None:
        """Parts of a rolling result for the fleet table; None for a removed site."""
        record = self._fleet.site(site_id)
        return None if record is None else (card_of(record), pack_result(record.site, orjson.loads(document)))


def _unpacked(site_id: str, payload: bytes) -> bytes | None:
    """A stored document; None if it is damaged, so that it is recomputed."""
    try:
        return zlib.decompress(payload)  # ends with a checksum of the content
    except (zlib.error, TypeError) as error:
        log.error("site %s: a kept result is damaged and left out: %s", site_id, error)
        return None


def _notice(trouble: Trouble) -> str:
    """File and error, without the folders above the site's own."""
    return f"{'/'.join(Path(trouble.file).parts[-2:])}: {trouble.what}"


def _period(site_id: str, first: date, last: date) -> dict[str, Any]:
    return {"site_id": site_id, "from_day": first, "to_day": last}
