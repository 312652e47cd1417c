"""Correct or delete a job, with its audit entry: shared by the API and the pages."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis.errors import InputError
from fieldfare.api.http.app_state import AppState
from fieldfare.api.people.access import Actor
from fieldfare.api.records.maintenance_log import Job, WorkRow
from fieldfare.api.records.sign_off import is_sign_off


def change_job(parts: AppState, site: str, work: int, job: Job, actor: Actor) -> WorkRow:
    """Correct a job. Raises InputError, UnknownWork."""
    before = parts.works.get(site, work)
    if is_sign_off(before.finding):
        raise InputError("a signed check can't be changed; open it again on its sheet")
    row = parts.works.change(site, work, job, actor)
    parts.audit.note(actor, "work changed", site, work=work, before=_as_dict(before), after=_as_dict(row))
    return row


def remove_job(parts: AppState, site: str, work: int, actor: Actor) -> None:
    """Delete a job. Raises UnknownWork."""
    photos = parts.photos.of_works(site).get(work, [])
    row = parts.works.remove(site, work, actor)
    parts.photos.remove(photos)
    parts.audit.note(actor, "work removed", site, work=work, before=_as_dict(row))


def _as_dict(row: WorkRow) -> dict[str, Any]:
    return {
        "day": row.day.isoformat(),
        "what": row.what,
        "findings": row.findings,
        "parts": row.parts,
        "minutes": row.minutes,
        "who": row.who,
    }
