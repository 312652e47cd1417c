"""Readings that come in through the browser: kept, recognised, read in the background, with their
progress."""

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
from fieldfare.api.http.app_state import AppState
from fieldfare.api.people.access import Actor
from fieldfare.api.records.file_imports import FileImports, undone_text
from fieldfare.api.running.intake import check_site_text, ingest_files, undo_file
from fieldfare.collector.csv.column_mapping import AGREED
from fieldfare.collector.csv.other_home import OtherHome
from fieldfare.dashboards.text.words import capital

log = logging.getLogger(__name__)
_INTERNAL = "internal error; the service's log has the details"


@dataclass
class Taking:
    """A file on its way in. state : running, done, failed or doubted (it looks like another home's, and
    waits). done of `of` : bytes of the file. name : as the sender calls it"""

    kind: str
    name: str = ""
    state: str = "running"
    done: int = 0
    of: int = 0
    told: str = ""

    def as_dict(self) -> dict[str, Any]:
        return dict(self.__dict__)


class TakingIn:
    """Files from browsers, one at a time for each site."""

    def __init__(self, parts: AppState) -> None:
        self._parts = parts
        self._lock = threading.Lock()
        self._now: dict[str, Taking] = {}
        self._names: dict[str, str] = {}

    def of(self, site: str) -> dict[str, Any] | None:
        """How far a site's newest file has come."""
        taking = self._now.get(site)
        return taking.as_dict() if taking else None

    def keep(self, site: str, name: str, content: BinaryIO) -> Path:
        """Keep an uploaded file until its columns are agreed on. Raises InputError for an empty one."""
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
        """The file that was kept last."""
        folder = self._parts.settings.data / "uploads" / site
        return next(iter(sorted(folder.iterdir())), None) if folder.is_dir() else None

    def start(self, site: str, path: Path, actor: Actor, *, anyway: bool = False) -> None:
        """Read a file in the background, then work out the site's result. Raises InputError while one is
        being read. anyway : though it looks like another home's"""
        taking = Taking("reading the file", self._names.get(site, path.name), of=path.stat().st_size)
        self._begin(site, taking, partial(self._take, site, path, taking, actor, anyway))

    def undo(self, site: str, number: int, actor: Actor) -> None:
        """Undo the newest file in the background. number : which one that is. Raises InputError if another is
        by now, or while a file is being read."""
        newest = next(iter(FileImports(self._parts.service, site).listed()), None)
        if newest is None or newest.id != number:
            raise InputError("another file is the newest by now; look at the list again")
        taking = Taking("undoing the file", newest.name)
        self._begin(site, taking, partial(self._undo, site, taking, actor))

    def _begin(self, site: str, taking: Taking, work: Callable[[], None]) -> None:
        with self._lock:
            now = self._now.get(site)
            if now is not None and now.state == "running":
                raise InputError("another file of this home is being read; wait until it is done")
            self._now[site] = taking
        threading.Thread(target=work, name=f"taking in {site}", daemon=True).start()

    def _undo(self, site: str, taking: Taking, actor: Actor) -> None:
        try:
            told = undone_text(undo_file(self._parts.service, site, actor))
            self._work_out(site, taking)
            taking.told, taking.state = f"{told}.", "done"
        except FieldfareError as error:
            taking.told, taking.state = capital(str(error)), "failed"
        except Exception:
            log.exception("undoing a file of %s", site)
            taking.told, taking.state = _INTERNAL, "failed"

    def _work_out(self, site: str, taking: Taking) -> None:
        taking.kind = "working out the answers"
        parts = self._parts
        with suppress(NoReadings):
            parts.service.results.rolling_result(parts.service.sites.get(site), parts.settings.rolling_days)

    def _take(self, site: str, path: Path, taking: Taking, actor: Actor, anyway: bool) -> None:
        parts = self._parts
        try:
            done = ingest_files(
                parts.service,
                site,
                [path],
                lambda step: _step(taking, step),
                actor=actor,
                name=taking.name,
                anyway=anyway,
            )
            taking.told = f"{done['readings']:,} readings are in"
            self._work_out(site, taking)
            rejected = done["rejected"]["count"]
            remark = f"; {rejected:,} rows were kept aside: {_reasons(done)}" if rejected else ""
            taking.told = f"{done['readings']:,} readings came in{remark}."
            taking.state = "done"
        except OtherHome as error:
            taking.told, taking.state = _without_path(str(error), path), "doubted"
        except InputError as error:
            message = _without_path(str(error), path)
            if may_agree_anew(parts, parts.service.sites.get(site).site):
                message += ". Bring the file in again to set its columns and times anew."
            taking.told, taking.state = message, "failed"
        except Exception:
            log.exception("taking in a file of %s", site)
            taking.told, taking.state = _INTERNAL, "failed"
        finally:
            if taking.state != "doubted":
                path.unlink(missing_ok=True)


def taking_in(parts: AppState) -> TakingIn:
    """The one of this application."""
    found: TakingIn = parts.__dict__.setdefault("_taking_in", TakingIn(parts))
    return found


def with_points(parts: AppState, site: Site, sections: str) -> Site:
    """Add [csv] and [[point]] sections to a site's file and keep it. Raises InputError, SiteError."""
    old = parts.service.sites.get(site.id).file
    if may_agree_anew(parts, site):
        old = old.partition(AGREED)[0]
    text = f"{old.rstrip()}\n\n{sections}"
    changed = check_site_text(text)
    parts.service.sites.add([(text, changed)])
    return changed


def may_agree_anew(parts: AppState, site: Site) -> bool:
    """True for columns that were agreed on in the browser and have brought no reading yet."""
    added = AGREED in parts.service.sites.get(site.id).file
    return added and parts.service.store.span(site.id) is None


def _without_path(text: str, path: Path) -> str:
    """A message about a file that nobody but the service knows by its path."""
    message = text.replace(f"{path}: ", "").replace(str(path), "the file").strip()
    return capital(message)


def _step(taking: Taking, step: int) -> None:
    taking.done += step
    taking.told = ""


def _reasons(done: dict[str, Any]) -> str:
    reasons = sorted(done["rejected"]["reasons"].items(), key=lambda r: -r[1])
    return ", ".join(f"{name.replace('_', ' ')} ({n})" for name, n in reasons[:4])
