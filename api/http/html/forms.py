"""Forms of a site's pages that bind somebody: the winter check's signature, the householder's invitation."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.fleet_summary import rolling_result
from fieldfare.api.http.auth import AppStateHere, PlantHere
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.screens import (
    Csrf,
    see_other,
    visitor,
    writer,
)
from fieldfare.api.people.accounts import INVITED_FOR
from fieldfare.api.people.inviting import take_in, welcome_address
from fieldfare.api.records.papers import winter_paper
from fieldfare.dashboards import pages

router = APIRouter()


@router.post("/sites/{site_id}/winter")
def sign_winter(
    plant: PlantHere,
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    season: Annotated[str, Form(pattern=r"^(\d{4})?$")] = "",
    what: Annotated[str, Form(max_length=1500)] = "",
    hands: Annotated[str, Form(max_length=10)] = "",
    left: Annotated[str, Form(max_length=400)] = "",
) -> Response:
    """Sign the check: with a text, the hands' checks gone through, and the points named that stay open."""
    actor = writer(request, "works.write", csrf, plant.site.id)
    paper = winter_paper(parts.service, plant, int(season) if season else None)
    points = pages.points_left(plant.site, paper.contents)
    now = page_rows.clock(parts)
    problems = []
    if not what.strip():
        problems.append("Say what was checked and found.")
    if not hands:
        problems.append("Tick that you have gone through the checks by hand and eye.")
    if left != " ".join(key for key, _ in points):  # those that the signer saw may have changed since
        problems.append("Tick that you sign with the open points that are named.")
    if problems:
        row = page_rows.row_of(parts, plant, paper.contents["result"])
        row["rolling"] = rolling_result(parts.service, plant, paper.contents["result"])
        page = pages.winter_page(
            row,
            paper.contents,
            visitor(request),
            {"season": paper.period},
            now,
            problems=tuple(problems),
            what=what,
        )
        return HTMLResponse(page, 422)
    today = now.astimezone(plant.site.zone).date()
    names = [title.lower().rstrip("?") for _, title in points]
    work = parts.works.sign_winter(plant.site.id, today, int(paper.period), what, names, actor)
    parts.audit.note(actor, "winter check signed", plant.site.id, work=work.id)
    return see_other(f"/sites/{plant.site.id}/winter?season={paper.period}#signed")


@router.post("/sites/{site_id}/householder")
def invite_householder(
    plant: PlantHere,
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    email: Annotated[str, Form(max_length=254)] = "",
    name: Annotated[str, Form(max_length=120)] = "",
) -> Response:
    """Make the householder's account and show, this once, the address at which they set a password."""
    actor = writer(request, "people.write", csrf, plant.site.id)
    row = page_rows.row_of(parts, plant, None)
    asked = {"email": email, "name": name}
    try:
        person = take_in(parts.accounts, parts.audit, actor, email, name, "householder", [plant.site.id])
    except InputError as error:
        return HTMLResponse(pages.invited_page(row, asked, visitor(request), problem=str(error)), 422)
    reached = parts.settings.public_url or str(request.base_url)
    link = welcome_address(parts.accounts, person.id, reached)
    ends = (datetime.now(plant.site.zone) + INVITED_FOR).date()
    page = pages.invited_page(
        row, asked, visitor(request), link=link, days=INVITED_FOR.days, ends=ends.isoformat()
    )
    return HTMLResponse(page, headers={"Cache-Control": "no-store"})
