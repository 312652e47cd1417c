"""The sites the service looks after: site files in, Sites out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, delete, select, text

from analysis.errors import InputError
from analysis.plant.load import parse_site
from analysis.plant.site import Site
from api.state.database import Database
from api.state.tables import SiteRow

_ONE = select(SiteRow.file, SiteRow.added, SiteRow.updated).where(SiteRow.id == bindparam("site_id"))


@dataclass(frozen=True)
class Plant:
    """A site with its file as it was given."""

    site: Site
    file: str
    added: datetime
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
        self._zones: dict[str, tuple[datetime, ZoneInfo]] = {}

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

    def all(self) -> list[Plant]:
        with self._database.read() as session:
            rows = list(session.scalars(select(SiteRow).order_by(SiteRow.id)))
        return [_plant(row.file, row.added, row.updated) for row in rows]

    def zones(self) -> dict[str, ZoneInfo]:
        """The zone of every site. Only files that changed are read: it is asked every minute, of fleets of any size."""
        chosen = select(SiteRow.id, SiteRow.updated).order_by(SiteRow.id)
        with self._database.read() as session:
            updated: dict[str, datetime] = dict(session.execute(chosen).all())
        zones = {s: kept for s, kept in self._zones.items() if updated.get(s) == kept[0]}
        for site_id in updated.keys() - zones.keys():
            if plant := self.find(site_id):
                zones[site_id] = (plant.updated, plant.site.zone)
        self._zones = zones
        return {site_id: zones[site_id][1] for site_id in updated if site_id in zones}

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
