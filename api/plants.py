"""The sites the service looks after: site files in, Sites out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, delete, select, text

from analysis.errors import InputError
from analysis.plant.load import parse_site
from analysis.plant.site import Site
from api.state.database import Database
from api.state.tables import SiteRow

AT_ONCE = 200
"""Site files that are read together on the way through a fleet."""
_ONE = select(SiteRow.file, SiteRow.added, SiteRow.updated).where(SiteRow.id == bindparam("site_id"))
_SOME = (
    select(SiteRow.file, SiteRow.added, SiteRow.updated)
    .where(SiteRow.id.in_(bindparam("ids", expanding=True)))
    .order_by(SiteRow.id)
)


@dataclass(frozen=True)
class Plant:
    """A site with its file as it was given."""

    site: Site
    file: str
    added: datetime
    updated: datetime


class Card(NamedTuple):
    """What lists of sites need of each: a fleet's cards are held, its site files are not."""

    id: str
    name: str
    zone: ZoneInfo
    handed_over: date | None
    updated: datetime


@dataclass(frozen=True)
class Added:
    """What became of one site file."""

    site: Site
    is_new: bool


class UnknownSite(InputError):
    """No site of that id is here."""

    def __init__(self, site_id: str, known: Sequence[str] = ()) -> None:
        some = ", ".join(known[:8]) + (", ..." if len(known) > 8 else "")
        super().__init__(
            f"unknown site {site_id!r}" + (f"; known: {some}" if known else "; none was added yet")
        )


def read_site_files(paths: Sequence[Path]) -> list[tuple[str, Site]]:
    """Read and check site files; one that is wrong refuses them all.

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
        site = parse_site(content, str(path))
        if site.id in seen:
            raise InputError(
                f"{path}: site.id: {site.id!r} stands in {seen[site.id]} too; each site has its own"
            )
        if site.site.outdoor_from == site.id:
            raise InputError(f"{path}: site.outdoor_from: must name another site, not {site.id!r} itself")
        seen[site.id] = path
        read.append((content, site))
    return read


class Plants:
    """Keeps the site files in the state database."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._cards: dict[str, Card] = {}

    def add(self, files: Sequence[tuple[str, Site]]) -> list[Added]:
        """Keep site files, all or none; one of a known id replaces the older file."""
        now, done = datetime.now(UTC), []
        with self._database.write() as session:
            for content, site in files:
                row = session.get(SiteRow, site.id)
                done.append(Added(site, row is None))
                if row is None:
                    session.add(SiteRow(id=site.id, file=content, added=now, updated=now))
                elif row.file != content:
                    row.file, row.updated = content, now
        return done

    def ids(self) -> list[str]:
        with self._database.read() as session:
            return list(session.scalars(select(SiteRow.id).order_by(SiteRow.id)))

    def find(self, site_id: str) -> Plant | None:
        with self._database.reading() as db:
            row = db.execute(_ONE, {"site_id": site_id}).first()
        return _plant(row.file, row.added, row.updated) if row else None

    def get(self, site_id: str) -> Plant:
        """Raises UnknownSite."""
        plant = self.find(site_id)
        if plant is None:
            raise UnknownSite(site_id, self.ids())
        return plant

    def all(self) -> Iterator[Plant]:
        """Every site, in order of ids; some are read at a time, so that a fleet of any size fits."""
        ids = self.ids()
        for start in range(0, len(ids), AT_ONCE):
            yield from self.some(ids[start : start + AT_ONCE])

    def cards(self) -> list[Card]:
        """A card of every site, in order of ids. Only files that changed are read: it is asked every minute, and for
        every list."""
        chosen = select(SiteRow.id, SiteRow.updated).order_by(SiteRow.id)
        with self._database.reading() as db:
            updated: dict[str, datetime] = dict(db.execute(chosen).all())
        cards = {s: card for s, card in self._cards.items() if updated.get(s) == card.updated}
        changed = [s for s in updated if s not in cards]
        for start in range(0, len(changed), AT_ONCE):
            for plant in self.some(changed[start : start + AT_ONCE]):
                about = plant.site.site
                cards[about.id] = Card(
                    about.id, about.name, plant.site.zone, about.handed_over, plant.updated
                )
        self._cards = cards
        return [cards[s] for s in updated if s in cards]

    def some(self, ids: Sequence[str]) -> list[Plant]:
        """Those of the named sites that are here, in order of ids."""
        with self._database.reading() as db:
            rows = db.execute(_SOME, {"ids": ids}).all()
        return [_plant(row.file, row.added, row.updated) for row in rows]

    def remove(self, site_id: str) -> None:
        """Forget a site and everything the state database holds of it. Raises UnknownSite."""
        self.get(site_id)
        with self._database.write() as session:
            session.execute(delete(SiteRow).where(SiteRow.id == site_id))
        if self._database.is_sqlite:
            with self._database.engine.connect() as connection:
                connection.execute(text("PRAGMA wal_checkpoint(TRUNCATE)"))


def _plant(file: str, added: datetime, updated: datetime) -> Plant:
    return Plant(_parsed(file), file, added, updated)


@lru_cache(maxsize=1024)
def _parsed(file: str) -> Site:
    """Sites never change, so one file is parsed once."""
    return parse_site(file, "a kept site file")
