"""The list of imported files, and undoing the newest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import orjson
from sqlalchemy import delete, func, insert, select, update

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.fleet_marks import mark_stale
from fieldfare.api.core.service import Service
from fieldfare.api.people.access import Actor
from fieldfare.api.state.site_tables import FILE_IMPORTS, KEPT_RESULTS
from fieldfare.collector.csv.ingest import Ingested
from fieldfare.collector.csv.undo import Undo

UNDO_KEPT = 5
"""Newest files of a home that can be undone; what an older one changed is no longer kept."""
LISTED = 10
_F = FILE_IMPORTS.c


@dataclass(frozen=True)
class FileImport:
    """An imported file. first, last : times of its readings; None without readings. can_undo : whether it is
    the newest and its changes are stored"""

    id: int
    time: datetime
    who: str
    name: str
    readings: int
    replaced: int
    first: datetime | None
    last: datetime | None
    can_undo: bool


class FileImports:
    """The imported files of one home."""

    def __init__(self, service: Service, site: str) -> None:
        self._service, self._site = service, site
        self._database = service.database

    def begin(self, name: str, who: str) -> tuple[int, Undo]:
        """Record a file before its import. Returns its number and its undo notes."""
        row = {
            "site": self._site,
            "time": datetime.now(UTC),
            "who": who,
            "name": name,
            "readings": 0,
            "replaced": 0,
            "after_files": self._is_after_files(),
            "serials": "{}",
        }
        with self._database.writing() as db:
            number = db.execute(insert(FILE_IMPORTS).returning(_F.id), row).scalar_one()
        return number, self._undo(number)

    def finish(self, number: int, done: Ingested) -> None:
        """Record the result of an import; undo data of the oldest files are deleted."""
        values = {
            "readings": done.readings,
            "replaced": done.replaced,
            "first": done.first,
            "last": done.last,
            "serials": orjson.dumps(done.serials).decode(),
        }
        with self._database.writing() as db:
            db.execute(update(FILE_IMPORTS).where(_F.id == number).values(**values))
            mark_stale(db, [self._site])
            numbers = db.scalars(select(_F.id).where(_F.site == self._site).order_by(_F.id.desc())).all()
        for old in numbers[UNDO_KEPT:]:
            self._undo(old).forget()

    def drop(self, number: int) -> None:
        """Remove the record of a file if nothing of it was stored."""
        with self._database.writing() as db:
            db.execute(delete(FILE_IMPORTS).where(_F.id == number))
        self._undo(number).forget()

    def listed(self) -> list[FileImport]:
        """The newest files, newest first."""
        chosen = select(FILE_IMPORTS).where(_F.site == self._site).order_by(_F.id.desc()).limit(LISTED)
        with self._database.reading() as db:
            rows = db.execute(chosen).all()
        return [
            FileImport(
                row.id,
                row.time,
                row.who,
                row.name,
                row.readings,
                row.replaced,
                _moment(row.first),
                _moment(row.last),
                place == 0 and self._undo(row.id).folder.is_dir(),
            )
            for place, row in enumerate(rows)
        ]

    def known_serials(self) -> dict[str, set[str]]:
        """Column -> serial numbers of devices in the files so far."""
        known: dict[str, set[str]] = {}
        with self._database.reading() as db:
            for text in db.scalars(select(_F.serials).where(_F.site == self._site)):
                for column, serial in orjson.loads(text).items():
                    known.setdefault(column, set()).add(serial)
        return known

    def undo_last(self, actor: Actor) -> dict[str, Any]:
        """Undo the newest file: readings are as they were before it, except those that changed again since.

        Returns file, time, removed, restored and kept. Raises InputError where there is nothing to undo.
        """
        from fieldfare.api.people.audit import Audit  # imports the tables of people

        newest = next(iter(self.listed()), None)
        if newest is None:
            raise InputError(f"{self._site}: no file was imported, so there is nothing to undo")
        if not newest.can_undo and newest.readings:
            raise InputError(
                f"{self._site}: what {newest.name} changed is no longer kept (only of the newest {UNDO_KEPT}"
                " files), so it can't be undone"
            )
        done = self._undo(newest.id).run(self._service.store, self._site)
        self._service.store.flush()
        with self._database.writing() as db:
            db.execute(delete(FILE_IMPORTS).where(_F.id == newest.id))
            db.execute(delete(KEPT_RESULTS).where(KEPT_RESULTS.c.site == self._site))
            mark_stale(db, [self._site], with_result=True)
        self._undo(newest.id).forget()
        undone: dict[str, Any] = {
            "file": newest.name,
            "time": newest.time.isoformat(timespec="seconds").replace("+00:00", "Z"),
            "removed": done.removed,
            "restored": done.restored,
            "kept": done.kept,
        }
        Audit(self._database).note(actor, "file undone", self._site, **undone)
        return undone

    def _undo(self, number: int) -> Undo:
        return Undo(undo_folder(self._service, self._site) / str(number))

    def _is_after_files(self) -> bool:
        """Whether the newest reading came from a file, or there are none yet."""
        span = self._service.store.span(self._site)
        if span is None:
            return True
        with self._database.reading() as db:
            last = db.scalar(select(func.max(_F.last)).where(_F.site == self._site))
        return last is not None and span[1] <= last


def undo_folder(service: Service, site: str) -> Path:
    """Folder of the undo notes of a home's files."""
    return service.settings.data / "undo" / site


def undone_text(undone: Mapping[str, Any], zone: str) -> str:
    """Summary of an undo as text. undone : as of `undo_last`. zone : time zone of the home"""
    from fieldfare.dashboards.text.words import count, moment, number  # babel, which no import needs

    when = moment(datetime.fromisoformat(undone["time"]), zone)
    text = f"{undone['file']} of {when} was undone: {count(undone['removed'], 'reading')} removed"
    if undone["restored"]:
        text += f", {number(undone['restored'])} set back to their earlier values"
    if undone["kept"]:
        text += f"; {number(undone['kept'])} have changed again since and were left alone"
    return text


def _moment(ms: int | None) -> datetime | None:
    return None if ms is None else datetime.fromtimestamp(ms / 1000, UTC)
