"""The fleet table: one row per home in the state database, so that lists open no results.

A row is written with the rolling result. What changes a home otherwise (its file, a decision) marks the row
as stale, and the clock does (`good_until`); a list makes stale rows anew before it reads.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING, Any

import orjson
from sqlalchemy import ColumnElement, Connection, and_, case, delete, func, insert, or_, select, true

from fieldfare.api.alerts.handling_lookup import people_names, stored_handlings
from fieldfare.api.core.file_feeds import file_feeds
from fieldfare.api.core.fleet_lines import FAR, PackedResult, columns_of, home_row, pack_result
from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.core.sites import AT_ONCE, Card, SiteRecord, Sites, card_of
from fieldfare.api.state.database import Database
from fieldfare.api.state.site_tables import FLEET_SUMMARIES, KEPT_RESULTS, SITES
from fieldfare.collector.store.protocol import Store
from fieldfare.dashboards.fleet.choice import NEVER_HEARD, Counts, conditions, sought
from fieldfare.dashboards.fleet.orders import ORDERS

if TYPE_CHECKING:
    from fieldfare.analysis.plant.site import Site
    from fieldfare.analysis.reports.verdict import FileFeed

F = FLEET_SUMMARIES.c
_COUNTED = (F.verdict, F.silent, F.visit, F.currency)


@dataclass(frozen=True)
class Chosen:
    """Selection of homes for a list. query : filters and order from the list's address. sites : only these.
    visits : only homes that need action. waiting : only homes without a result. failed_first : homes without
    any data before all others"""

    query: Mapping[str, str] | None = None
    sites: Sequence[str] = ()
    visits: bool = False
    failed_first: bool = False
    waiting: bool = False


class FleetTable:
    """Fleet rows of all homes. demo : use the newest reading as the current time"""

    def __init__(self, database: Database, store: Store, sites: Sites, *, demo: bool) -> None:
        self._database, self._store, self._sites, self._demo = database, store, sites, demo

    def now(self) -> datetime:
        """Current time for ages; in the demo the time of the newest reading, as its data end some hours
        ago."""
        if not self._demo:
            return datetime.now(UTC)
        ends = [t for site in self._sites.ids() if (t := self.last_heard(site)) is not None]
        return max(ends, default=datetime.now(UTC))

    def last_heard(self, site_id: str) -> datetime | None:
        """Time of a site's last reading; None if there is none or it can't be read."""
        span = attempt(site_id, "read its readings", partial(self._store.span, site_id))
        return None if span is None or isinstance(span, Failure) else _moment(span[1])

    def feeds(self, heard: Mapping[str, datetime | None]) -> dict[str, FileFeed]:
        """Feeds of the homes that are fed only by files. heard : site -> time of its newest reading"""
        with self._database.reading() as db:
            return file_feeds(db, heard)

    def site(self, site_id: str) -> SiteRecord | None:
        """A home by its site file; None if it was removed."""
        return self._sites.find(site_id)

    def write(self, db: Connection, cards: Sequence[Card], cached: Mapping[str, PackedResult]) -> None:
        """Write the rows of some homes. cached : packed rolling results; homes without one are absent."""
        now, ids = self.now(), [card.id for card in cards]
        db.execute(select(F.site).where(F.site.in_(ids)).with_for_update()).all()
        handlings, names = stored_handlings(db, ids), people_names(db)
        heard = {card.id: self.last_heard(card.id) for card in cards}
        feeds = file_feeds(db, heard)
        rows = []
        for card in cards:
            result, decisions = cached.get(card.id, PackedResult()), handlings.get(card.id, {})
            row = home_row(card, result, heard[card.id], decisions, names, feeds.get(card.id))
            rows.append(columns_of(row, decisions, now) | result.columns())
        db.execute(delete(FLEET_SUMMARIES).where(F.site.in_(ids)))
        if rows:
            db.execute(insert(FLEET_SUMMARIES), rows)

    def heard_again(self, site_id: str) -> None:
        """Update a home's row after a watch, if it was silent or will soon count as silent."""
        with self._database.reading() as db:
            row = db.execute(select(F.good_until, F.heard, F.silent).where(F.site == site_id)).first()
        heard = self.last_heard(site_id)
        if (
            row is None
            or heard is None
            or row.silent
            or row.good_until - heard < (heard - _moment(row.heard))
        ):
            self._renew([site_id])

    def refresh(self) -> None:
        """Rebuild rows that are missing or stale, and those of homes that were silent and sent again."""
        now = self.now()
        with self._database.reading() as db:
            stale = set(db.scalars(select(F.site).where(F.good_until <= now)))
            quiet = db.execute(select(F.site, F.heard).where(or_(F.silent, F.heard == NEVER_HEARD))).all()
            rows, homes = (
                db.scalar(select(func.count()).select_from(table)) for table in (FLEET_SUMMARIES, SITES)
            )
            if rows != homes:
                stale.update(db.scalars(select(SITES.c.id).where(SITES.c.id.not_in(select(F.site)))))
        for site, was in quiet:
            heard = self.last_heard(site)
            if (NEVER_HEARD if heard is None else round(heard.timestamp() * 1000)) != was:
                stale.add(site)
        ids = sorted(stale)
        for start in range(0, len(ids), AT_ONCE):
            self._renew(ids[start : start + AT_ONCE])

    def _renew(self, ids: Sequence[str]) -> None:
        records = {record.id: record for record in self._sites.some(ids)}
        renewed = {}
        with self._database.reading() as db:
            briefs = db.execute(
                select(F.site, F.brief, F.winter).where(F.site.in_(ids), F.brief.is_not(None))
            )
            held = {row.site: PackedResult(row.brief, row.winter) for row in briefs}
        for site_id, record in records.items():
            if site_id not in held and (site := getattr(record, "site", None)) is not None:
                made = attempt(site_id, "read its results", partial(self._of_newest, site))
                renewed[site_id] = PackedResult(failed=made.reason) if isinstance(made, Failure) else made
        with self._database.writing() as db:
            there = set(db.scalars(select(SITES.c.id).where(SITES.c.id.in_(ids))))
            cards = [card_of(record) for site_id, record in records.items() if site_id in there]
            self.write(db, cards, held | renewed)

    def _of_newest(self, site: Site) -> PackedResult:
        """Packed row of the last rolling result."""
        chosen = select(KEPT_RESULTS.c.payload).where(KEPT_RESULTS.c.site == site.id, KEPT_RESULTS.c.rolling)
        with self._database.reading() as db:
            payload = db.scalars(chosen.order_by(KEPT_RESULTS.c.made.desc()).limit(1)).first()
        try:
            return pack_result(site, orjson.loads(zlib.decompress(payload))) if payload else PackedResult()
        except zlib.error:  # `Results` logs the damage and recomputes it
            return PackedResult()

    def rows(self, chosen: Chosen, *, offset: int = 0, limit: int | None = None) -> Iterator[dict[str, Any]]:
        """Homes for pages, in the selected order, paged."""
        query = chosen.query or {"sort": "harm"}
        order: list[ColumnElement[Any]] = [F[name] for name in ORDERS[query["sort"]]]
        if chosen.failed_first:
            order.insert(0, case((F.failed.is_(None), 1), else_=0))
        listed = select(F.site).where(_where(chosen)).order_by(*order)
        with self._database.reading() as db:
            ids = list(db.scalars(listed.offset(offset).limit(limit)))
            names = people_names(db)
        for start in range(0, len(ids), AT_ONCE):
            yield from self._some(ids[start : start + AT_ONCE], names)

    def _some(self, ids: Sequence[str], names: Mapping[str, str]) -> Iterator[dict[str, Any]]:
        with self._database.reading() as db:
            found = db.execute(select(F.site, F.brief, F.winter, F.failed, F.heard).where(F.site.in_(ids)))
            rows = {row.site: row for row in found}
            handlings = stored_handlings(db, ids)
        heard = {s: None if row.heard == NEVER_HEARD else _moment(row.heard) for s, row in rows.items()}
        feeds = self.feeds(heard)
        cards = {record.id: card_of(record) for record in self._sites.some(ids)}
        for site_id in ids:
            row, card = rows.get(site_id), cards.get(site_id)
            if row is not None and card is not None:
                result = PackedResult(row.brief, row.winter, row.failed)
                decisions = handlings.get(site_id, {})
                yield home_row(card, result, heard[site_id], decisions, names, feeds.get(site_id))

    def total(self, chosen: Chosen) -> int:
        """Number of homes in a selection."""
        with self._database.reading() as db:
            return db.scalar(select(func.count()).select_from(FLEET_SUMMARIES).where(_where(chosen))) or 0

    def counts(self) -> Counts:
        """Counts over the whole fleet."""
        counted = select(*_COUNTED, func.count(), func.sum(F.money)).group_by(*_COUNTED)
        verdicts: dict[str, int] = {}
        money: dict[str, float] = {}
        homes = silent = visits = 0
        with self._database.reading() as db:
            for verdict, is_silent, visit, currency, n, cost in db.execute(counted):
                homes, verdicts[verdict] = homes + n, verdicts.get(verdict, 0) + n
                silent, visits = silent + n * is_silent, visits + n * (visit == "drive")
                if currency and cost:
                    money[currency] = money.get(currency, 0.0) + cost
        return Counts(homes, verdicts, silent, visits, money)


def _where(chosen: Chosen) -> ColumnElement[bool]:
    clauses: list[ColumnElement[bool]] = [true()]
    if chosen.query is not None:
        clauses += [F[name] == value for name, value in conditions(chosen.query)]
        clauses += [F.search.contains(part, autoescape=True) for part in sought(chosen.query)]
    if chosen.sites:
        clauses.append(F.site.in_(chosen.sites))
    if chosen.visits:
        clauses.append(F.visit != "none")
    if chosen.waiting:
        clauses.append(F.waiting)
    return and_(*clauses)


def _moment(ms: int) -> datetime:
    return FAR if ms >= NEVER_HEARD else datetime.fromtimestamp(ms / 1000, UTC)
