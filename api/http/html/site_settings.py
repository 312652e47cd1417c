"""The site file of an existing home in the browser: a form, or its own text; shown before it is saved."""

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
from fieldfare.api.http.html.screens import (
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
    """What was sent, or what the page opens with. mark : of the file that was opened"""

    text: str
    values: dict[str, str]
    mark: str
    as_text: bool = False
    problems: list[Problem] = field(default_factory=list)
    proposal: SiteFileChange | None = None
    told: str = ""


@router.get("/sites/{site_id}/settings")
def open_settings(site_id: SiteId, request: Request, parts: AppStateHere) -> Response:
    """The form; `?as=text` the file itself."""
    reader(request, "site.write", site_id)
    kept = parts.service.sites.file(site_id)
    asked = SentSite(kept, {}, mark_of_file(kept), request.query_params.get("as") == "text")
    if not asked.as_text:
        _fill(asked)
    return _page(request, parts, site_id, asked)


@router.post("/sites/{site_id}/settings")
async def send_settings(site_id: SiteId, request: Request, parts: AppStateHere) -> Response:
    """Show what changes, or save what was shown."""
    form = await request.form(max_files=0, max_fields=MOST_FIELDS)
    actor = writer(request, "site.write", str(form.get(CSRF_FIELD, "")), site_id)
    asked = _asked(form, parts.service.sites.file(site_id))
    if not asked.problems:
        try:
            if form.get("do") == "save":
                done = save(parts.service, site_id, asked.text, asked.mark)
                keys = [change.key for change in done.changes]
                parts.audit.note(actor, "site changed", site_id, keys=keys[:50])
                return see_other(f"/sites/{site_id}/settings?saved=1{'&as=text' if asked.as_text else ''}")
            asked.proposal = propose(parts.service, site_id, asked.text)
            asked.mark = asked.proposal.mark
        except SiteError as error:
            asked.problems = list(error.problems)
        except ChangedMeanwhile:
            asked.proposal = propose(parts.service, site_id, asked.text)
            asked.mark = asked.proposal.mark
            asked.told = (
                "Somebody saved this file meanwhile. The list below compares yours with theirs: "
                "look before you save."
            )
    return _page(request, parts, site_id, asked, 409 if asked.told else 422 if asked.problems else 200)


def _asked(form: FormData, kept: str) -> SentSite:
    """What a form asks for: the file's own text, or fields that are put into the kept file."""
    values = {k: v for k, v in form.multi_items() if isinstance(v, str)}
    mark = values.get("mark", "")
    if "text" in values:
        asked = SentSite(values["text"].replace("\r\n", "\n"), {}, mark, values.get("as") == "text")
        if not asked.as_text:
            _fill(asked)
        return asked
    fields = {k: v for k, v in values.items() if is_field(k) or is_point_name(k)}
    asked = SentSite(kept, fields, mark)
    try:
        asked.text = edited(kept, fields)
    except tomllib.TOMLDecodeError as error:
        asked.problems = [Problem("TOML", f"the kept file can't be read ({error}); change its text instead")]
    except InputError as error:
        asked.problems = [Problem("TOML", str(error))]
    return asked


def _fill(asked: SentSite) -> None:
    """The form's values from the file; a file that is no TOML is shown as text, with what is wrong."""
    try:
        asked.values = values_of(asked.text)
    except tomllib.TOMLDecodeError as error:
        asked.as_text = True
        asked.problems = [Problem("TOML", str(error))]


def _page(request: Request, parts: AppState, site_id: str, asked: SentSite, status: int = 200) -> Response:
    card = next((c for c in parts.service.sites.cards() if c.id == site_id), None)
    if card is None:
        raise UnknownSite(site_id)
    page = pages.site_settings_page(
        {"id": site_id, "name": card.name},
        asked.values,
        asked.text,
        visitor(request),
        as_text=asked.as_text,
        problems=asked.problems,
        mark=asked.mark,
        changes=asked.proposal.changes if asked.proposal else None,
        recalculates=asked.proposal.recalculates if asked.proposal else (),
        told=asked.told,
        proposed=asked.proposal.text if asked.proposal else "",
        saved="saved" in request.query_params,
        trouble=card.trouble or "",
    )
    return HTMLResponse(page, status)
