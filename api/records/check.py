"""Integrity check of all stored data: databases, site files, readings, facts and results."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from sqlalchemy import delete, select

from fieldfare.analysis.errors import FieldfareError
from fieldfare.api.checks.lists import lists_trouble
from fieldfare.api.checks.photos import Photos
from fieldfare.api.core.fact_tables import unpacked
from fieldfare.api.core.service import Service, has_state
from fieldfare.api.core.settings import Settings
from fieldfare.api.core.site_guard import Failure, attempt, one_line
from fieldfare.api.people.secrets import KEY_FILE, Sealer, signing_key
from fieldfare.api.state.people_tables import HomeLink, SecondFactor
from fieldfare.api.state.row_marks import DamagedRow, damaged_rows
from fieldfare.api.state.site_tables import FACT_CHUNKS, KEPT_RESULTS
from fieldfare.collector.store.local import LocalStore


@dataclass(frozen=True)
class Damage:
    """One damaged or missing item. site : empty for shared items"""

    site: str
    what: str

    def __str__(self) -> str:
        return f"{self.site}: {self.what}" if self.site else self.what


def check_databases(settings: Settings) -> list[Damage]:
    """Check every SQLite file of the data folder, before anything else opens or creates one."""
    out = []
    for path in sorted(settings.data.rglob("*.sqlite")):
        state = _integrity(path)
        if state != "ok":
            out.append(Damage("", f"{path}: {state}"))
    readings = settings.readings_dir
    if not settings.store_url and (readings / "sealed").is_dir() and not _is_there(readings / "hot.sqlite"):
        out.append(
            Damage("", f"{readings / 'hot.sqlite'}: missing; the newest readings of every site are lost")
        )
    if readings.is_dir() and not has_state(settings):
        out.append(
            Damage("", f"{settings.data / 'state.sqlite'}: missing; sites, people and alerts are lost")
        )
    return out


def check_sites(service: Service, progress: Callable[[str], None] = lambda _: None) -> Iterator[Damage]:
    """Check every site's file, readings, facts, results and photos, and the firm's own checklist."""
    known, photos = [], Photos(service.database, service.settings.data)
    yield from (Damage("", problem) for problem in lists_trouble(service.settings))
    for card in service.sites.cards():
        progress(card.id)
        known.append(card.id)
        if card.trouble:
            yield Damage(card.id, card.trouble)
        troubles = attempt(card.id, "read its readings", partial(service.store.check, card.id))
        if isinstance(troubles, Failure):
            yield Damage(card.id, troubles.reason)
        else:
            yield from (Damage(card.id, str(trouble)) for trouble in troubles)
        yield from _derived_data(service, card.id)
        yield from (Damage(card.id, problem) for problem in photos.damage(card.id))
    if isinstance(service.store, LocalStore):
        for site in sorted(set(service.store.sites()) - {*known}):
            yield Damage(site, "has readings but no site file here; add its file, or remove them")


def check_rows(service: Service) -> list[Damage]:
    """Compare every row of people, jobs and decisions with its checksum."""
    return [Damage(home, str(row)) for row, home in damaged_rows_of(service)]


def damaged_rows_of(service: Service) -> list[tuple[DamagedRow, str]]:
    """Damaged rows of the state database, each with its site, empty if unknown."""
    if not service.database.is_sqlite:
        return []
    known = {*service.sites.ids()}
    with service.database.reading() as db:
        return [(row, row.site if row.site in known else "") for row in damaged_rows(db)]


def _derived_data(service: Service, site_id: str) -> Iterator[Damage]:
    """Derived data of a site, which can be recomputed."""
    facts = select(FACT_CHUNKS.c.kind, FACT_CHUNKS.c.month, FACT_CHUNKS.c.payload).where(
        FACT_CHUNKS.c.site == site_id
    )
    results = select(KEPT_RESULTS.c.first, KEPT_RESULTS.c.last, KEPT_RESULTS.c.payload).where(
        KEPT_RESULTS.c.site == site_id
    )
    with service.database.reading() as db:
        for kind, month, payload in db.execute(facts):
            if (said := _trouble_of(lambda: unpacked([payload]))) is not None:  # noqa: B023
                yield Damage(site_id, f"facts ({kind} of {month}) are damaged: {said}")
        for first, last, payload in db.execute(results):
            if (said := _trouble_of(lambda: zlib.decompress(payload))) is not None:  # noqa: B023
                yield Damage(site_id, f"the kept result of {first} to {last} is damaged: {said}")


def forget_damaged(service: Service, site_id: str) -> int:
    """Delete a site's derived data if some are damaged; they are recomputed from its readings.
    Returns the number of damaged items."""
    found = list(_derived_data(service, site_id))
    if found:
        service.facts_cache.forget(site_id, found[0].what)
        with service.database.writing() as db:
            db.execute(delete(KEPT_RESULTS).where(KEPT_RESULTS.c.site == site_id))
    return len(found)


def _trouble_of(read: Callable[[], object]) -> str | None:
    try:
        read()
    except Exception as error:  # damaged bytes can raise any exception
        return one_line(error, 120)
    return None


def _is_there(path: Path) -> bool:
    """False also for an empty file."""
    return path.exists() and path.stat().st_size > 0


def check_key(service: Service) -> list[Damage]:
    """Check the key that signs links and encrypts authenticators' secrets."""
    path = service.settings.data / KEY_FILE
    with service.database.read() as session:
        sealed = list(session.scalars(select(SecondFactor.secret).where(SecondFactor.kind == "totp")))
        needed = bool(sealed) or session.scalars(select(HomeLink.id).limit(1)).first() is not None
    if not path.exists():
        what = f"{path}: missing; links to homes and authenticator apps no longer work"
        return [Damage("", what)] if needed else []
    try:
        sealer = Sealer(signing_key(service.settings.data))
    except FieldfareError as error:
        return [Damage("", str(error))]
    lost = sum(sealer.open(text or "") is None for text in sealed)
    what = f"{path}: is not the key of {lost} of {len(sealed)} authenticator apps"
    return [Damage("", what)] if lost else []


def _integrity(path: Path) -> str:
    """Result of SQLite's integrity check: "ok", or the first error.

    The file is opened by SQLite alone: POSIX drops every lock that a process holds on a file as soon as the
    process closes any descriptor of it, and another process then deletes the log that is in use.
    """
    try:
        if not path.stat().st_size:
            return "ok"  # created, but still empty
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=60)) as db:
            return one_line(db.execute("PRAGMA integrity_check(1)").fetchone()[0])
    except sqlite3.DatabaseError as error:
        if error.sqlite_errorcode == sqlite3.SQLITE_NOTADB:
            return "is no database: its beginning was written over"
        return f"can't be read: {one_line(error)}"
    except (OSError, UnicodeDecodeError) as error:
        return f"can't be read: {one_line(error)}"
