"""Add and remove photos: shared by the API and the pages."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime

from fastapi import UploadFile

from fieldfare.analysis.errors import InputError
from fieldfare.api.checks.photos import LARGEST_BYTES, Subject
from fieldfare.api.checks.sheets import SIGNED, Signed
from fieldfare.api.http.app_state import AppState
from fieldfare.api.people.access import Actor


def remove_photo(parts: AppState, site: str, photo: str, actor: Actor) -> None:
    """Remove a photo. Raises UnknownPhoto, Signed."""
    row = parts.photos.get(site, photo)
    if parts.sheets.of_photo(row):
        raise Signed(SIGNED)
    parts.photos.remove([row])
    parts.audit.note(actor, "photo removed", site, photo=photo, work=row.work, item=row.item)


def keep_photos(parts: AppState, site: str, work: int, sent: Iterable[UploadFile], actor: Actor) -> str:
    """Store the photos of a job's form. Returns the problems of those refused."""
    named = [(upload.filename, upload.file.read(LARGEST_BYTES + 1)) for upload in sent if upload.filename]
    now = datetime.now(UTC)
    return " ".join(
        refused(
            named,
            lambda photo, data: parts.photos.add(site, photo, Subject(work=work), data, now, actor.name),
        )
    )


def refused(sent: Iterable[tuple[str, bytes]], keep: Callable[[str, bytes], object]) -> list[str]:
    """Store each photo under a new id. sent : file name, bytes. Returns a line for each refused photo."""
    problems = []
    for name, data in sent:
        try:
            keep(secrets.token_hex(16), data)
        except InputError as error:
            problems.append(f"{name[:60]}: {error}.")
    return problems


def with_photos_again(problems: Mapping[str, str], sent: Iterable[UploadFile]) -> dict[str, str]:
    """The problem of a form, with a note that photos must be chosen again, as forms can't be refilled with
    files."""
    chosen = any(upload.filename for upload in sent)
    return {**problems, **({"photo": "Choose the photos again."} if chosen else {})}
