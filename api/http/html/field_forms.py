"""Forms for decisions about findings, and for jobs.

Invalid forms are shown again as typed, with their problems.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any

from fastapi import Depends, File, Form, HTTPException, Request, UploadFile
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError
from fieldfare.api.alerts.decisions import Decision
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import AppStateHere, SiteRecordHere
from fieldfare.api.http.finding_actions import colleagues, decide, undo
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.form_values import is_code, printable, today_at, typed_day
from fieldfare.api.http.html.site_pages import (
    Csrf,
    reader,
    see_other,
    visitor,
    writer,
)
from fieldfare.api.http.job_actions import change_job, remove_job
from fieldfare.api.http.photo_actions import keep_photos, with_photos_again
from fieldfare.api.http.routers import page_router
from fieldfare.api.http.schemas import Code, RowId
from fieldfare.api.records.maintenance_log import (
    MOST_FINDINGS,
    MOST_MINUTES,
    MOST_TEXT,
    Job,
    WorkRow,
)
from fieldfare.api.records.sign_off import is_sign_off
from fieldfare.dashboards import pages
from fieldfare.dashboards.text import words

router = page_router()
Text = Annotated[str, Form(max_length=10_000)]
Uploads = Annotated[list[UploadFile], File()]


def _form_values(
    day: Text = "",
    what: Text = "",
    used: Annotated[str, Form(alias="parts", max_length=10_000)] = "",
    minutes: Text = "",
    finding: Annotated[list[str], Form()] = [],  # noqa: B006 (FastAPI copies it)
) -> dict[str, Any]:
    """Values of the job form, as typed."""
    return pages.job_values(day, what=what, parts=used, minutes=minutes, findings=tuple(finding))


FormValues = Annotated[dict[str, Any], Depends(_form_values)]


@router.post("/sites/{site_id}/findings/{code}")
def handle(
    code: Code,
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    do: Text = "",
    who: Text = "",
    until: Text = "",
    reason: Text = "",
) -> Response:
    """Decide about a finding, or undo the decision."""
    site = record.site.id
    actor = writer(request, "alerts.handle", csrf, site)
    try:
        if do == "undo":
            undo(parts, record, code, actor)
        else:
            decide(parts, record, code, Decision(do, who or actor.name, typed_day(until), reason), actor)
    except InputError as error:
        values = pages.form_values(today_at(record), {"who": who, "until": until, "reason": reason})
        row = page_rows.row_of(parts, record, None)
        page = pages.handle_again_page(
            row, code, colleagues(parts, actor), values, str(error), visitor(request)
        )
        return HTMLResponse(page, 422)
    return see_other(f"/sites/{site}#finding-{code}")


@router.get("/sites/{site_id}/works/new")
def new_job(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Show the form of a job; `?finding=` ticks a finding."""
    reader(request, "works.write", record.site.id)
    codes = request.query_params.getlist("finding")
    values = pages.job_values(today_at(record).isoformat(), findings=tuple(codes))
    return _job_page(request, parts, record, values, {})


@router.post("/sites/{site_id}/works")
def add_job(
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    values: FormValues,
    csrf: Csrf = "",
    photo: Uploads = [],  # noqa: B006 (FastAPI copies it)
) -> Response:
    """Log a job."""
    actor = writer(request, "works.write", csrf, record.site.id)
    job, problems = _read(record, values)
    if job is None:
        return _job_page(request, parts, record, values, with_photos_again(problems, photo))
    work = parts.works.add(record.site.id, job, actor)
    parts.audit.note(actor, "work entered", record.site.id, work=work.id)
    if refused := keep_photos(parts, record.site.id, work.id, photo, actor):
        return _job_page(request, parts, record, values, {"photo": f"The job is logged. {refused}"}, work)
    return see_other(f"/sites/{record.site.id}#job-{work.id}")


@router.get("/sites/{site_id}/works/{work}")
def job(work: RowId, record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Show the form to correct or delete a job."""
    reader(request, "works.write", record.site.id)
    row = _correctable(parts, record, work)
    values = pages.job_values(
        row.day.isoformat(),
        what=row.what,
        parts=row.parts,
        minutes="" if row.minutes is None else str(row.minutes),
        findings=tuple(row.findings),
    )
    return _job_page(request, parts, record, values, {}, row)


@router.post("/sites/{site_id}/works/{work}")
def correct_job(
    work: RowId,
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    values: FormValues,
    csrf: Csrf = "",
    photo: Uploads = [],  # noqa: B006 (FastAPI copies it)
) -> Response:
    """Correct a job."""
    actor = writer(request, "works.write", csrf, record.site.id)
    row = _correctable(parts, record, work)
    job, problems = _read(record, values)
    if job is None:
        return _job_page(request, parts, record, values, with_photos_again(problems, photo), row)
    change_job(parts, record.site.id, work, job, actor)
    if refused := keep_photos(parts, record.site.id, work, photo, actor):
        return _job_page(request, parts, record, values, {"photo": f"The rest is saved. {refused}"}, row)
    return see_other(f"/sites/{record.site.id}#job-{work}")


@router.post("/sites/{site_id}/works/{work}/delete")
def delete_job(
    work: RowId, record: SiteRecordHere, request: Request, parts: AppStateHere, csrf: Csrf = ""
) -> Response:
    """Delete a job."""
    actor = writer(request, "works.write", csrf, record.site.id)
    _correctable(parts, record, work)
    remove_job(parts, record.site.id, work, actor)
    return see_other(f"/sites/{record.site.id}#works")


def _correctable(parts: AppState, record: SiteRecord, work: int) -> WorkRow:
    """A job that may be corrected. Raises UnknownWork; 409 for a signed check, which is reopened on its
    sheet."""
    row = parts.works.get(record.site.id, work)
    if is_sign_off(row.finding):
        raise HTTPException(409, "a signed check can't be changed; open it again on its sheet")
    return row


def _job_page(
    request: Request,
    parts: AppState,
    record: SiteRecord,
    values: Mapping[str, Any],
    problems: dict[str, str],
    row: WorkRow | None = None,
) -> Response:
    """Render the form of a job, with the open findings and those it already names."""
    result = parts.service.results.newest(record.site.id) or {}
    named = row.findings if row else []
    chosen = [c for c in values["findings"] if _is_code(c)]
    codes = sorted({f["code"] for f in result.get("findings", []) if not f["until"]} | {*named, *chosen})
    at = page_rows.row_of(parts, record, None)
    photos = parts.photos.of_works(record.site.id).get(row.id, []) if row else []
    page = pages.job_page(at, values, codes, problems, visitor(request), row.id if row else None, photos)
    return HTMLResponse(page, 422 if problems else 200)


def _read(record: SiteRecord, values: Mapping[str, Any]) -> tuple[Job | None, dict[str, str]]:
    """The job, or None and the problem of each field."""
    problems, on, spent = {}, typed_day(values["day"]), values["minutes"].strip()
    what, used = values["what"], values["parts"]
    if on is None:
        problems["day"] = "Give the day on which it was done."
    elif on > today_at(record):
        problems["day"] = f"{words.day(on)} is still to come; a job is logged when it has been done."
    elif on < date(1990, 1, 1):
        problems["day"] = f"{words.day(on)} is too long ago; give the day on which it was done."
    if not what.strip():
        problems["what"] = "Say what was done."
    elif (longest := max(len(what), len(used))) > MOST_TEXT:
        name = "What was done" if longest == len(what) else "Parts used"
        problems["what"] = f"{name} has {longest} characters; at most {MOST_TEXT} are kept."
    if spent and not (spent.isascii() and spent.isdecimal() and 1 <= int(spent) <= MOST_MINUTES):
        problems["minutes"] = f"Time spent is a whole number of minutes up to {MOST_MINUTES}, such as 45."
    if problems or on is None:
        return None, problems
    codes = tuple(dict.fromkeys(c for c in values["findings"] if _is_code(c)))[:MOST_FINDINGS]
    return Job(on, printable(what), codes, printable(used), int(spent) if spent else None), {}


def _is_code(text: str) -> bool:
    return is_code(text) and not is_sign_off(text)
