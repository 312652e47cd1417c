"""Uploads of readings: stored, columns recognised, imported in the background, with their progress."""

from __future__ import annotations

import logging
import shutil
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO

from fieldfare.analysis.errors import FieldfareError, InputError
from fieldfare.analysis.plant.site import Site
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.sites import admitted
from fieldfare.api.http.app_state import AppState
from fieldfare.api.people.access import Actor
from fieldfare.api.records.file_imports import FileImports, undone_text
from fieldfare.api.running.intake import (
    ingest_files,
    odd_registers_text,
    rows_as_utc_text,
    undo_file,
)
from fieldfare.collector.csv.column_mapping import AGREED
from fieldfare.collector.csv.other_home import AnotherHomesFile
from fieldfare.dashboards.text.words import capital, number

log = logging.getLogger(__name__)
_INTERNAL = "internal error; the service's log has the details"


@dataclass
class Upload:
    """An upload in progress. state : running, done, failed or doubted (looks like another home's, held).
    done, of : bytes read, size of the file. name : original file name"""

    kind: str
    name: str = ""
    state: str = "running"
    done: int = 0
    of: int = 0
    message: str = ""

    def as_dict(self) -> dict[str, Any]:
        return dict(self.__dict__)


class UploadReader:
    """Imports uploads, one at a time for each site."""

    def __init__(self, parts: AppState) -> None:
        self._parts = parts
        self._lock = threading.Lock()
        self._now: dict[str, Upload] = {}
        self._names: dict[str, str] = {}

    def of(self, site: str) -> dict[str, Any] | None:
        """Progress of a site's newest file."""
        upload = self._now.get(site)
        return upload.as_dict() if upload else None

    def keep(self, site: str, name: str, content: BinaryIO) -> Path:
        """Store an uploaded file until its columns are confirmed. Raises InputError for an empty one."""
        start = content.read(2)
        if not start:
            raise InputError("the file is empty")
        content.seek(0)
        folder = self._parts.settings.data / "uploads" / site
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        path = folder / ("export.csv.gz" if start == b"\x1f\x8b" or name.endswith(".gz") else "export.csv")
        for old in folder.iterdir():
            old.unlink()
        with path.open("wb") as target:
            shutil.copyfileobj(content, target)
        self._names[site] = Path(name).name
        return path

    def waiting(self, site: str) -> Path | None:
        """The last stored file."""
        folder = self._parts.settings.data / "uploads" / site
        return next(iter(sorted(folder.iterdir())), None) if folder.is_dir() else None

    def start(self, site: str, path: Path, actor: Actor, *, anyway: bool = False) -> None:
        """Import a file in the background, then compute the site's result. Raises InputError while another is
        being imported. anyway : even if it looks like another home's"""
        upload = Upload("reading the file", self._names.get(site, path.name), of=path.stat().st_size)
        self._begin(site, upload, partial(self._read, site, path, upload, actor, anyway))

    def undo(self, site: str, number: int, actor: Actor) -> None:
        """Undo the newest file in the background. number : id of that file. Raises InputError if it is no
        longer the newest, or while a file is being imported."""
        newest = next(iter(FileImports(self._parts.service, site).listed()), None)
        if newest is None or newest.id != number:
            raise InputError("another file is now the newest; reload the list")
        upload = Upload("undoing the file", newest.name)
        self._begin(site, upload, partial(self._undo, site, upload, actor))

    def _begin(self, site: str, upload: Upload, work: Callable[[], None]) -> None:
        with self._lock:
            now = self._now.get(site)
            if now is not None and now.state == "running":
                raise InputError("another file of this home is being read; wait until it is done")
            self._now[site] = upload
        threading.Thread(target=work, name=f"upload of {site}", daemon=True).start()

    def _undo(self, site: str, upload: Upload, actor: Actor) -> None:
        try:
            zone = self._parts.service.sites.get(site).site.timezone
            message = undone_text(undo_file(self._parts.service, site, actor), zone)
            self._analyse(site, upload)
            upload.message, upload.state = f"{message}.", "done"
        except FieldfareError as error:
            upload.message, upload.state = capital(str(error)), "failed"
        except Exception:
            log.exception("undoing a file of %s", site)
            upload.message, upload.state = _INTERNAL, "failed"

    def _analyse(self, site: str, upload: Upload) -> None:
        upload.kind = "working out the answers"
        parts = self._parts
        with suppress(NoReadings):
            parts.service.results.rolling_result(parts.service.sites.get(site), parts.settings.rolling_days)

    def _read(self, site: str, path: Path, upload: Upload, actor: Actor, anyway: bool) -> None:
        parts = self._parts
        try:
            done = ingest_files(
                parts.service,
                site,
                [path],
                lambda step: _step(upload, step),
                actor=actor,
                name=upload.name,
                anyway=anyway,
            )
            upload.message = f"{number(done['readings'])} readings are in"
            self._analyse(site, upload)
            rejected = done["rejected"]["count"]
            remark = f"; {number(rejected)} rows were rejected: {_reasons(done)}" if rejected else ""
            upload.message = f"{number(done['readings'])} readings came in{remark}."
            if said := rows_as_utc_text(done):
                upload.message += f" {said}."
            zone = parts.service.sites.get(site).site.timezone
            for said in odd_registers_text(done, zone):
                upload.message += f" {said[0].upper()}{said[1:]}."
            upload.state = "done"
        except AnotherHomesFile as error:
            upload.message, upload.state = _without_path(str(error), path), "doubted"
        except InputError as error:
            message = _without_path(str(error), path)
            if may_agree_anew(parts, parts.service.sites.get(site).site):
                message += ". Upload the file again to set its columns and times."
            upload.message, upload.state = message, "failed"
        except Exception:
            log.exception("reading a file of %s", site)
            upload.message, upload.state = _INTERNAL, "failed"
        finally:
            if upload.state != "doubted":
                path.unlink(missing_ok=True)


def upload_reader(parts: AppState) -> UploadReader:
    """The application's UploadReader."""
    found: UploadReader = parts.__dict__.setdefault("_upload_reader", UploadReader(parts))
    return found


def with_points(parts: AppState, site: Site, sections: str) -> Site:
    """Add [csv] and [[point]] sections to a site's file and save it. Raises InputError, SiteError."""
    old = parts.service.sites.get(site.id).file
    if may_agree_anew(parts, site):
        old = old.partition(AGREED)[0]
    text = f"{old.rstrip()}\n\n{sections}"
    changed = admitted(text)
    parts.service.sites.add([(text, changed)])
    return changed


def may_agree_anew(parts: AppState, site: Site) -> bool:
    """Whether the columns were confirmed in the browser and no reading is stored yet."""
    added = AGREED in parts.service.sites.get(site.id).file
    return added and parts.service.store.span(site.id) is None


def _without_path(text: str, path: Path) -> str:
    """The message without the temporary path of the file."""
    message = text.replace(f"{path}: ", "").replace(str(path), "the file").strip()
    return capital(message)


def _step(upload: Upload, step: int) -> None:
    upload.done += step
    upload.message = ""


def _reasons(done: dict[str, Any]) -> str:
    reasons = sorted(done["rejected"]["reasons"].items(), key=lambda r: -r[1])
    return ", ".join(f"{name.replace('_', ' ')} ({n})" for name, n in reasons[:4])
