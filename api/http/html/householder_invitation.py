"""Form to invite a householder."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import Form, Request
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import AppStateHere, SiteRecordHere
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.form_values import own_address
from fieldfare.api.http.html.site_pages import NO_STORE, Csrf, visitor, writer
from fieldfare.api.http.routers import page_router
from fieldfare.api.people.accounts import INVITED_FOR, PersonRow, UnknownPerson
from fieldfare.api.people.invitations import take_in, welcome_address
from fieldfare.dashboards import pages

router = page_router()


@router.post("/sites/{site_id}/householder")
def invite_householder(
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    email: Annotated[str, Form(max_length=254)] = "",
    name: Annotated[str, Form(max_length=120)] = "",
) -> Response:
    """Create the householder's account and show its one-time address once; one who has an account gets
    this home beside their others."""
    actor = writer(request, "people.write", csrf, record.site.id)
    row = page_rows.row_of(parts, record, None)
    values = {"email": email, "name": name}
    try:
        if (known := _householder(parts, email)) is not None and record.site.id not in known.sites:
            changed = parts.accounts.change(known.id, sites=[*known.sites, record.site.id])
            parts.audit.note(actor, "person changed", person=known.id, homes=list(changed.sites))
            return HTMLResponse(pages.invited_page(row, {**values, "name": known.name}, visitor(request)))
        person = take_in(parts.accounts, parts.audit, actor, email, name, "householder", [record.site.id])
    except InputError as error:
        return HTMLResponse(pages.invited_page(row, values, visitor(request), problem=str(error)), 422)
    link = welcome_address(parts.accounts, person.id, own_address(request, parts))
    ends = (datetime.now(record.site.zone) + INVITED_FOR).date()
    page = pages.invited_page(
        row, values, visitor(request), link=link, days=INVITED_FOR.days, ends=ends.isoformat()
    )
    return HTMLResponse(page, headers=NO_STORE)


def _householder(parts: AppState, email: str) -> PersonRow | None:
    """The householder of this e-mail; None where nobody has it, or somebody of the firm."""
    try:
        person = parts.accounts.find(email)
    except UnknownPerson:
        return None
    return person if person.role == "householder" else None
