"""Operating state of each unit at its last readings: one row per home in the state database.

The watch writes a home's row every quarter of an hour, and the live overview those that have new readings
since. A row holds what is needed to go on from it, so that neither the site file nor a day of readings is
read again; it is made anew when the site file changes and ends with its home.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import orjson
from pydantic import ValidationError
from sqlalchemy import delete, insert, select

from fieldfare.analysis.minutes.operating_state import COOLING, DEFROST, HEATING, HOT_WATER, OFF, UNKNOWN
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import MS_PER_DAY, Readings
from fieldfare.analysis.reports.live_state import JOINED_MS, at_present, worked_last
from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.core.sites import SiteRecord, Sites
from fieldfare.api.state.database import Database
from fieldfare.api.state.site_tables import LIVE_STATES, SITES

if TYPE_CHECKING:
    from fieldfare.collector.store.protocol import Store

STANDS_AFTER_MS = MS_PER_DAY
"""A unit that has not run for a day stands still: even a summer's hot water needs a charge a day (common
practice)."""
LOOK_S = 1.0
"""How long one view of the overview brings rows up to date; the views after it go on."""
_LOOKS_BACK_MS = STANDS_AFTER_MS + 2 * 3_600_000
_AT_ONCE = 50
_NOT_NEEDED = {"contact", "cost", "csv", "fault_codes"}
"""Sections of a site file that tell nothing about what the unit does."""
_STATES = {
    HEATING: "heating",
    HOT_WATER: "hot_water",
    DEFROST: "defrost",
    COOLING: "cooling",
    OFF: "rests",
    UNKNOWN: "unknown",
}
_L = LIVE_STATES.c


@dataclass(frozen=True)
class Live:
    """A home's row.

    name : as lists show it. updated : of the site file it was made with. state : a key of the live overview
    heard : its last reading [ms UTC], None without any
    worked, since : when the compressor last ran, and since when that is known [ms UTC]
    plant : the site file's part that is needed, and newest : point -> {time, value, unit} of the last
        readings, both as JSON
    """

    name: str
    updated: datetime
    heard: int | None
    state: str
    worked: int | None
    since: int | None
    plant: bytes
    newest: bytes

    def site(self) -> Site | None:
        """The stored part of the plant; None if an earlier release stored it in another form."""
        try:
            return Site.model_validate_json(self.plant)
        except ValidationError:
            return None


@dataclass(frozen=True)
class LiveRow:
    """A home in the overview. time : of its last reading [ms UTC]; None without readings. told_at : time of
    the reading its state is based on; None if not known"""

    id: str
    name: str
    state: str
    time: int | None
    told_at: int | None


class LiveStates:
    """The rows of all homes. Thread-safe."""

    def __init__(self, database: Database, store: Store, sites: Sites) -> None:
        self._database, self._store, self._sites = database, store, sites
        self._looking = threading.Lock()

    def look(self, record: SiteRecord, end: int) -> None:
        """Update one home's row. end : its last reading [ms UTC]"""
        cached = self._cached([record.id]).get(record.id)
        if cached is None or (cached.updated, cached.heard) != (record.updated, end):
            self._write({record.id: self._made(record.site, record.updated, end, cached)})

    def rows(self, *, seconds: float = LOOK_S) -> list[LiveRow]:
        """All homes, by id. Updates homes with new readings, least recently updated first, for at most
        `seconds`; returns the others as stored."""
        states = self._states()
        ends = {}
        for site_id in states:
            span = attempt(site_id, "read its readings", partial(self._store.span, site_id))
            ends[site_id] = None if span is None or isinstance(span, Failure) else span[1]
        stale = [s for s, row in states.items() if row.is_stale(ends[s])]
        if stale and self._looking.acquire(blocking=False):
            try:
                self._renew(sorted(stale, key=lambda s: states[s].heard or 0), ends, seconds)
            finally:
                self._looking.release()
            states = self._states()
        return [
            LiveRow(s, row.name, row.state or "waiting", ends.get(s), row.heard) for s, row in states.items()
        ]

    def sentences(self, ids: Sequence[str], tell: Callable[[Site, dict[str, Any]], str]) -> dict[str, str]:
        """A sentence about each home's last readings. tell : function of a plant and its newest readings"""
        out = {}
        for site_id, live in self._cached(ids).items():
            site = live.site()
            if site is not None:
                out[site_id] = tell(site, orjson.loads(live.newest))
        return out

    def _states(self) -> dict[str, _State]:
        chosen = (
            select(SITES.c.id, _L.name, SITES.c.updated, _L.updated, _L.heard, _L.state)
            .select_from(SITES)
            .outerjoin(LIVE_STATES, _L.site == SITES.c.id)
            .order_by(SITES.c.id)
        )
        with self._database.reading() as db:
            return {
                site: _State(name or site, updated, made_with, heard, state)
                for site, name, updated, made_with, heard, state in db.execute(chosen)
            }

    def _cached(self, ids: Sequence[str]) -> dict[str, Live]:
        with self._database.reading() as db:
            rows = db.execute(select(LIVE_STATES).where(_L.site.in_(ids))).all()
        return {
            row.site: Live(
                row.name,
                row.updated,
                row.heard,
                row.state,
                row.worked,
                row.since,
                bytes(row.plant),
                bytes(row.newest),
            )
            for row in rows
        }

    def _renew(self, ids: Sequence[str], ends: dict[str, int | None], seconds: float) -> None:
        until = time.monotonic() + seconds
        for start in range(0, len(ids), _AT_ONCE):
            made = {}
            for site_id, site, updated, cached in self._plants(ids[start : start + _AT_ONCE]):
                end = ends[site_id]
                make = (
                    partial(self._made, site, updated, end, cached)
                    if site
                    else partial(_unread, site_id, updated, end)
                )
                live = attempt(site_id, "tell what it does", make)
                if not isinstance(live, Failure):
                    made[site_id] = live
            self._write(made)
            if time.monotonic() > until:
                return

    def _plants(self, ids: Sequence[str]) -> Iterator[tuple[str, Site | None, datetime, Live | None]]:
        """Homes with their plant: from a valid row, else from the site file; None if that can't be read."""
        with self._database.reading() as db:
            updated: dict[str, datetime] = dict(
                db.execute(select(SITES.c.id, SITES.c.updated).where(SITES.c.id.in_(ids))).all()
            )
        cached = {s: live for s, live in self._cached(ids).items() if live.updated == updated.get(s)}
        held = {s: site for s, live in cached.items() if (site := live.site()) is not None}
        for site_id, site in held.items():
            yield site_id, site, cached[site_id].updated, cached[site_id]
        for record in self._sites.some([s for s in ids if s not in held]):
            yield record.id, getattr(record, "site", None), record.updated, None

    def _made(self, site: Site, updated: datetime, end: int | None, before: Live | None) -> Live:
        """State of a home at its last reading, continued from the stored state."""
        if end is None:
            return Live(site.name, updated, None, "unknown", None, None, _plant(site), b"{}")
        start = end - _LOOKS_BACK_MS
        if before is not None and before.updated == updated and start <= (before.heard or 0) <= end:
            start = max(start, (before.heard or 0) - JOINED_MS)
        else:
            before = None
        found = self._store.read(site.id, None, start, None)
        newest = newest_of(site, found)
        now = at_present(site, newest)
        state = "unknown" if now is None else _STATES.get(now.use, "runs")
        worked, since = worked_last(site, found)
        if before is not None:
            worked = max((t for t in (worked, before.worked) if t is not None), default=None)
            since = before.since if before.since is not None else since
        quiet = worked if worked is not None else since
        if state == "rests" and quiet is not None and end - quiet >= STANDS_AFTER_MS:
            if before is not None:  # late readings are older than those already read
                return self._made(site, updated, end, None)
            state = "stands"
        plant = before.plant if before is not None else _plant(site)
        return Live(site.name, updated, end, state, worked, since, plant, orjson.dumps(newest))

    def _write(self, made: dict[str, Live]) -> None:
        """Replace rows, except of homes that were removed meanwhile."""
        locked = select(SITES.c.id).where(SITES.c.id.in_(made)).order_by(SITES.c.id).with_for_update()
        with self._database.writing() as db:
            there = list(db.scalars(locked))
            db.execute(delete(LIVE_STATES).where(_L.site.in_(there)))
            if there:
                db.execute(insert(LIVE_STATES), [{"site": s, **vars(made[s])} for s in there])


@dataclass(frozen=True)
class _State:
    """A home's name (its id before the first read) and the short columns of its row; None without a row."""

    name: str
    updated: datetime
    made_with: datetime | None
    heard: int | None
    state: str | None

    def is_stale(self, end: int | None) -> bool:
        return (self.made_with, self.heard) != (self.updated, end)


def _plant(site: Site) -> bytes:
    return site.model_dump_json(by_alias=True, exclude_defaults=True, exclude=_NOT_NEEDED).encode()


def _unread(site_id: str, updated: datetime, end: int | None) -> Live:
    """State of a home whose site file can't be read."""
    return Live(site_id, updated, end, "unknown", None, None, b"", b"{}")


def newest_of(site: Site, found: Readings) -> dict[str, Any]:
    """Point -> {time [ms], value, unit} of the newest of some readings."""
    newest = {}
    for point in site.point:
        samples = found.get(point.id)
        if samples is not None and len(samples.time):
            value = samples.value[-1]
            plain = value if isinstance(value, str) else float(value) if np.isfinite(float(value)) else None
            newest[point.id] = {"time": int(samples.time[-1]), "value": plain, "unit": point.unit}
    return newest
