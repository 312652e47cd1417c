"""Edit the site file of an existing home, by form or as text; changes are previewed before saving."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field

from fastapi import Request
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import FormData

from fieldfare.analysis.errors import InputError, Problem, SiteError
from fieldfare.api.core.sites import UnknownSite
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import CSRF_FIELD, AppStateHere, SiteId
from fieldfare.api.http.html.site_pages import (
    reader,
    see_other,
    visitor,
    writer,
)
from fieldfare.api.http.routers import page_router
from fieldfare.api.records.site_changes import (
    ChangedMeanwhile,
    SiteFileChange,
    mark_of_file,
    propose,
    save,
)
from fieldfare.dashboards import pages
from fieldfare.dashboards.site_form.edit import edited
from fieldfare.dashboards.site_form.fields import is_field, is_point_name, values_of

router = page_router()
MOST_FIELDS = 12_000
"""A site file may have a thousand points; each has some ten fields."""


@dataclass
class SentSite:
    """The submitted form, or the initial contents of the page. mark : version of the opened file"""

    text: str
    values: dict[str, str]
    mark: str
    as_text: bool = False
    problems: list[Problem] = field(default_factory=list)
    proposal: SiteFileChange | None = None
    notice: str = ""


@router.get("/sites/{site_id}/settings")
def open_settings(site_id: SiteId, request: Request, parts: AppStateHere) -> Response:
    """Show the form; `?as=text` shows the file."""
    reader(request, "site.write", site_id)
    stored = parts.service.sites.file(site_id)
    sent = SentSite(stored, {}, mark_of_file(stored), request.query_params.get("as") == "text")
    if not sent.as_text:
        _fill(sent)
    return _page(request, parts, site_id, sent)


@router.post("/sites/{site_id}/settings")
async def send_settings(site_id: SiteId, request: Request, parts: AppStateHere) -> Response:
    """Preview changes, or save previewed ones."""
    form = await request.form(max_files=0, max_fields=MOST_FIELDS)
    actor = writer(request, "site.write", str(form.get(CSRF_FIELD, "")), site_id)
    sent = _sent(form, parts.service.sites.file(site_id))
    if not sent.problems:
        try:
            if form.get("do") == "save":
                done = save(parts.service, site_id, sent.text, sent.mark)
                keys = [change.key for change in done.changes]
                parts.audit.note(actor, "site changed", site_id, keys=keys[:50])
                return see_other(f"/sites/{site_id}/settings?saved=1{'&as=text' if sent.as_text else ''}")
            sent.proposal = propose(parts.service, site_id, sent.text)
            sent.mark = sent.proposal.mark
        except SiteError as error:
            sent.problems = list(error.problems)
        except ChangedMeanwhile:
            sent.proposal = propose(parts.service, site_id, sent.text)
            sent.mark = sent.proposal.mark
            sent.notice = (
                "Somebody saved this file meanwhile. The list below compares yours with theirs: "
                "look before you save."
            )
    return _page(request, parts, site_id, sent, 409 if sent.notice else 422 if sent.problems else 200)


def _sent(form: FormData, stored: str) -> SentSite:
    """Apply a form to the stored file: a whole text, or single fields."""
    values = {k: v for k, v in form.multi_items() if isinstance(v, str)}
    mark = values.get("mark", "")
    if "text" in values:
        sent = SentSite(values["text"].replace("\r\n", "\n"), {}, mark, values.get("as") == "text")
        if not sent.as_text:
            _fill(sent)
        return sent
    fields = {k: v for k, v in values.items() if is_field(k) or is_point_name(k)}
    sent = SentSite(stored, fields, mark)
    try:
        sent.text = edited(stored, fields)
    except tomllib.TOMLDecodeError as error:
        sent.problems = [Problem("TOML", f"the kept file can't be read ({error}); change its text instead")]
    except InputError as error:
        sent.problems = [Problem("TOML", str(error))]
    return sent


def _fill(sent: SentSite) -> None:
    """The form's values from the file; an invalid TOML file is shown as text with its problem."""
    try:
        sent.values = values_of(sent.text)
    except tomllib.TOMLDecodeError as error:
        sent.as_text = True
        sent.problems = [Problem("TOML", str(error))]


def _page(request: Request, parts: AppState, site_id: str, sent: SentSite, status: int = 200) -> Response:
    card = next((c for c in parts.service.sites.cards() if c.id == site_id), None)
    if card is None:
        raise UnknownSite(site_id)
    page = pages.site_settings_page(
        {"id": site_id, "name": card.name},
        sent.values,
        sent.text,
        visitor(request),
        as_text=sent.as_text,
        problems=sent.problems,
        mark=sent.mark,
        changes=sent.proposal.changes if sent.proposal else None,
        recalculates=sent.proposal.recalculates if sent.proposal else (),
        notice=sent.notice,
        proposed=sent.proposal.text if sent.proposal else "",
        saved="saved" in request.query_params,
        trouble=card.trouble or "",
    )
    return HTMLResponse(page, status)
