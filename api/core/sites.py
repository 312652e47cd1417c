"""Storage of site files, parsed to Site objects."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, delete, insert, select, text, update

from fieldfare.analysis.errors import InputError, Problem, SiteError
from fieldfare.analysis.plant.contact import Contact
from fieldfare.analysis.plant.load import parse_kept_site, parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.api.core.fleet_marks import mark_stale
from fieldfare.api.state.database import Database
from fieldfare.api.state.site_tables import SITES

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

log = logging.getLogger(__name__)
LATEST_HAND_OVER = timedelta(days=731)
"""Maximum time between adding a site and its hand-over."""
AT_ONCE = 200
"""Batch size for reading site files of a fleet."""
_ONE = select(SITES.c.file, SITES.c.added, SITES.c.updated).where(SITES.c.id == bindparam("site_id"))
_REPLACE = update(SITES).where(SITES.c.id == bindparam("site_id"))
_SOME = (
    select(SITES.c.id, SITES.c.file, SITES.c.added, SITES.c.updated)
    .where(SITES.c.id.in_(bindparam("ids", expanding=True)))
    .order_by(SITES.c.id)
)


@dataclass(frozen=True)
class SiteRecord:
    """A site with its file text."""

    site: Site
    file: str
    added: datetime
    updated: datetime

    @property
    def id(self) -> str:
        return self.site.id


@dataclass(frozen=True)
class BrokenSite:
    """A site whose stored file can't be read. reason : one line with the key and the error"""

    id: str
    file: str
    reason: str
    updated: datetime


class Card(NamedTuple):
    """Summary of a site for lists, small enough to cache for a whole fleet.

    trouble : why the site's file can't be read; name and zone are placeholders then
    position : latitude and longitude [degrees]
    """

    id: str
    name: str
    zone: ZoneInfo
    handed_over: date | None
    updated: datetime
    trouble: str | None = None
    contact: Contact | None = None
    position: tuple[float, float] | None = None


@dataclass(frozen=True)
class Added:
    """Result of adding one site file."""

    site: Site
    is_new: bool


class UnknownSite(InputError):
    """There is no site with that id."""

    def __init__(self, site_id: str, known: Sequence[str] = ()) -> None:
        self.site_id = site_id
        some = ", ".join(known[:8]) + (", ..." if len(known) > 8 else "")
        super().__init__(
            f"unknown site {site_id!r}"
            + (f"; known: {some}" if known else "; none was added yet to this data folder (--data)")
        )


def read_site_files(paths: Sequence[Path]) -> list[tuple[str, Site]]:
    """Read and validate site files; one invalid file rejects all.

    Returns (text, Site) of each file. Raises InputError naming the file, and the key where one is wrong.
    """
    read: list[tuple[str, Site]] = []
    seen: dict[str, Path] = {}
    for path in paths:
        try:
            content = path.read_text(encoding="utf-8-sig")
        except OSError as error:
            raise InputError(f"{path}: {error.strerror or error}") from None
        except UnicodeDecodeError:
            raise InputError(f"{path}: is not UTF-8 text; a site file is TOML") from None
        site = admitted(content, str(path))
        if site.id in seen:
            raise InputError(
                f"{path}: site.id: {site.id!r} is also in {seen[site.id]}; each site needs its own id"
            )
        seen[site.id] = path
        read.append((content, site))
    return read


def admitted(content: str, file: str = "site file") -> Site:
    """Validate the text of a new site file. Raises SiteError."""
    site = parse_site(content, file)
    if site.id.startswith("-"):  # commands would parse it as an option
        said = f"{site.id!r} must begin with a letter or a digit, such as alder-row"
        raise SiteError(file, [Problem("site.id", said)])
    latest = datetime.now(UTC).date() + LATEST_HAND_OVER
    if site.handed_over is not None and site.handed_over > latest:
        said = f"{site.handed_over} lies too far ahead; give a day until {latest}, or leave the key out"
        raise SiteError(file, [Problem("site.handed_over", said)])
    return site


class Sites:
    """Site files in the state database."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._cards: dict[str, Card] = {}

    def add(self, files: Sequence[tuple[str, Site]]) -> list[Added]:
        """Store site files, all or none; a known id replaces the older file."""
        now, done = datetime.now(UTC), []
        with self._database.writing() as db:
            for content, site in files:
                row = db.execute(_ONE, {"site_id": site.id}).first()
                done.append(Added(site, row is None))
                if row is None:
                    db.execute(insert(SITES), {"id": site.id, "file": content, "added": now, "updated": now})
                elif row.file != content:
                    db.execute(_REPLACE, {"site_id": site.id, "file": content, "updated": now})
                    mark_stale(db, [site.id], with_result=True)
        return done

    def ids(self) -> list[str]:
        with self._database.reading() as db:
            return list(db.scalars(select(SITES.c.id).order_by(SITES.c.id)))

    def find(self, site_id: str) -> SiteRecord | None:
        """Return a site, or None if there is none. Raises SiteError if its stored file can't be read."""
        with self._database.reading() as db:
            row = db.execute(_ONE, {"site_id": site_id}).first()
        return SiteRecord(_parsed(row.file), row.file, row.added, row.updated) if row else None

    def get(self, site_id: str) -> SiteRecord:
        """Like `find`. Raises UnknownSite if there is none."""
        record = self.find(site_id)
        if record is None:
            raise UnknownSite(site_id, self.ids())
        return record

    def file(self, site_id: str) -> str:
        """A site's file text, whether valid or not. Raises UnknownSite."""
        with self._database.reading() as db:
            row = db.execute(_ONE, {"site_id": site_id}).first()
        if row is None:
            raise UnknownSite(site_id, self.ids())
        return str(row.file)

    def all(self) -> Iterator[SiteRecord]:
        """Yield every site with a valid file, by id, in batches for fleets of any size."""
        return (record for record in self.every() if isinstance(record, SiteRecord))

    def every(self) -> Iterator[SiteRecord | BrokenSite]:
        """Like `all`, including sites whose file can't be read."""
        ids = self.ids()
        for start in range(0, len(ids), AT_ONCE):
            yield from self.some(ids[start : start + AT_ONCE])

    def cards(self) -> list[Card]:
        """Cards of all sites, by id. Parses only changed files: called every minute and for every list."""
        chosen = select(SITES.c.id, SITES.c.updated).order_by(SITES.c.id)
        with self._database.reading() as db:
            updated: dict[str, datetime] = dict(db.execute(chosen).all())
        cards = {s: card for s, card in self._cards.items() if updated.get(s) == card.updated}
        changed = [s for s in updated if s not in cards]
        for start in range(0, len(changed), AT_ONCE):
            for record in self.some(changed[start : start + AT_ONCE]):
                card = card_of(record)
                if card.trouble:
                    log.warning("site %s: its file can't be read: %s", card.id, card.trouble)
                cards[card.id] = card
        self._cards = cards
        return [cards[s] for s in updated if s in cards]

    def some(self, ids: Sequence[str]) -> list[SiteRecord | BrokenSite]:
        """The existing sites among the given ids, by id."""
        with self._database.reading() as db:
            rows = db.execute(_SOME, {"ids": ids}).all()
        return [_plant(row.id, row.file, row.added, row.updated) for row in rows]

    def remove(self, site_id: str) -> None:
        """Delete a site and all its rows in the state database. Raises UnknownSite."""
        self.file(site_id)
        with self._database.writing() as db:
            db.execute(delete(SITES).where(SITES.c.id == site_id))
        if self._database.is_sqlite:
            with self._database.engine.connect() as connection:
                connection.execute(text("PRAGMA wal_checkpoint(TRUNCATE)"))


def site_names(session: Session) -> dict[str, str]:
    """Site id -> name; the id if its file can't be read."""
    records = (
        _plant(row.id, row.file, row.added, row.updated)
        for row in session.execute(select(SITES).order_by(SITES.c.id))
    )
    return {card.id: card.name for card in map(card_of, records)}


def card_of(record: SiteRecord | BrokenSite) -> Card:
    """Data of a site for lists."""
    if isinstance(record, BrokenSite):
        return Card(record.id, record.id, ZoneInfo("UTC"), None, record.updated, record.reason)
    about = record.site.site
    return Card(
        about.id,
        about.name,
        record.site.zone,
        about.handed_over,
        record.updated,
        None,
        record.site.contact,
        record.site.position,
    )


def _plant(site_id: str, file: str, added: datetime, updated: datetime) -> SiteRecord | BrokenSite:
    try:
        return SiteRecord(_parsed(file), file, added, updated)
    except SiteError as error:
        return BrokenSite(site_id, file, str(error), updated)


@lru_cache(maxsize=1024)
def _parsed(file: str) -> Site:
    """Parse a file; cached, as Sites are immutable."""
    return parse_kept_site(file, "the kept site file")
