"""Pages of personal settings, and of the firm's name, contact, place and logo."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import File, Form, HTTPException, Request, UploadFile
from fastapi.responses import HTMLResponse, Response
from pydantic import ValidationError

from fieldfare.analysis.errors import InputError
from fieldfare.api.firm.about import change_firm, set_logo
from fieldfare.api.firm.logo import LARGEST_FILE, SVG, safe_logo
from fieldfare.api.firm.personal_settings import PersonalSettings, keep_settings, personal_settings
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import AppStateHere
from fieldfare.api.http.html.form_values import own_address, sentence
from fieldfare.api.http.html.site_pages import (
    NO_STORE,
    Csrf,
    reader,
    see_other,
    visitor,
    writer,
)
from fieldfare.api.http.routers import page_router
from fieldfare.api.people.access import OF_THE_FIRM, Actor
from fieldfare.dashboards import pages
from fieldfare.dashboards.text import words

router = page_router()
Text = Annotated[str, Form(max_length=2000)]
Ticks = Annotated[list[str], Form()]
_LOGO_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox"


@router.get("/settings")
def settings(request: Request, parts: AppStateHere) -> Response:
    """Show the user's settings."""
    actor = reader(request, "own.settings")
    notice = "Saved." if "saved" in request.query_params else ""
    return _own_page(request, parts, actor, notice=notice)


@router.post("/settings")
def save_settings(
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    notices: Text = "",
    channel: Text = "",
    new_channel: Text = "",
    at_once: Ticks = [],  # noqa: B006 (FastAPI copies it)
    digest: Ticks = [],  # noqa: B006
    quiet_from: Text = "",
    quiet_to: Text = "",
    energy: Text = "kWh",
    flow: Text = "m3/h",
    pressure: Text = "bar",
) -> Response:
    """Save personal settings; on errors the form returns with all values."""
    actor = writer(request, "own.settings", csrf)
    person = _person(actor)
    before = personal_settings(parts.service.database, person)
    units = {"energy": energy, "flow": flow, "pressure": pressure}
    values = {
        "notices": bool(notices),
        "channel": channel,
        "shown_channel": before.shown_channel,
        "new_channel": new_channel,
        "at_once": tuple(at_once),
        "digest": tuple(digest),
        "quiet_from": quiet_from,
        "quiet_to": quiet_to,
        "units": units,
    }
    try:
        address = {"mail": "", "kept": before.channel}.get(channel, new_channel.strip())
        if channel == "new" and not address:
            raise InputError("give the address of the channel, or choose e-mail")
        firm = actor.role in OF_THE_FIRM
        own = PersonalSettings(
            address,
            tuple(at_once) if firm else before.at_once,
            tuple(digest) if firm else before.digest,
            _hour(quiet_from),
            _hour(quiet_to),
            units,
        )
        keep_settings(parts.service.database, person, own, parts.settings)
        parts.accounts.change(person, notices=bool(notices))
    except InputError as error:
        return _own_page(request, parts, actor, values, problem=sentence(error))
    parts.audit.note(actor, "own settings changed", person=person)
    return see_other("/settings?saved=1")


@router.post("/settings/calendar")
def renew_calendar(
    request: Request, parts: AppStateHere, csrf: Csrf = "", do: Text = "", with_contact: Text = ""
) -> Response:
    """Create, renew or revoke the address of the user's calendar; a new one is shown once."""
    actor = writer(request, "visits.read", csrf)
    person = _person(actor)
    if do == "end":
        parts.feeds.end(person)
        parts.audit.note(actor, "calendar address ended", person=person)
        return see_other("/settings#calendar")
    secret = parts.feeds.renew(person, with_contact=bool(with_contact))
    parts.audit.note(actor, "calendar address renewed", person=person, with_contact=bool(with_contact))
    address = f"{own_address(request, parts)}/calendar/{secret}.ics"
    return _own_page(request, parts, actor, new_address=address)


@router.get("/settings/firm")
def firm(request: Request, parts: AppStateHere) -> Response:
    """Show the firm's details, as printed on papers."""
    reader(request, "firm.write")
    notice = "Saved." if "saved" in request.query_params else ""
    return _firm_page(request, parts, notice=notice)


@router.post("/settings/firm")
def save_firm(
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    name: Text = "",
    contact: Text = "",
    latitude: Text = "",
    longitude: Text = "",
) -> Response:
    """Save the firm's name, contact and place."""
    actor = writer(request, "firm.write", csrf)
    values = {"name": name, "contact": contact, "latitude": latitude, "longitude": longitude}
    try:
        change_firm(
            parts.service.database, actor, name=name, contact=contact, position=_position(latitude, longitude)
        )
    except InputError as error:
        return _firm_page(request, parts, values, problem=sentence(error))
    parts.audit.note(actor, "firm changed")
    return see_other("/settings/firm?saved=1")


@router.post("/settings/logo")
def save_logo(
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    do: Text = "",
    file: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Save a sanitised logo, or remove it."""
    actor = writer(request, "firm.write", csrf)
    if do == "remove":
        set_logo(parts.service.database, actor, b"", "")
        parts.audit.note(actor, "logo removed")
        return see_other("/settings/firm?saved=1#logo")
    try:
        logo = safe_logo(file.file.read(LARGEST_FILE + 1) if file is not None else b"")
    except InputError as error:
        return _firm_page(request, parts, problem=sentence(error))
    set_logo(parts.service.database, actor, logo.content, logo.kind)
    parts.audit.note(actor, "logo changed", kind=logo.kind, bytes=len(logo.content))
    if logo.left_out:
        notice = (
            f"Saved without {words.listed(list(logo.left_out))}. If the logo looks wrong, save it as a PNG."
        )
        return _firm_page(request, parts, notice=notice)
    return see_other("/settings/firm?saved=1#logo")


@router.get("/firm/logo")
def logo(request: Request, parts: AppStateHere) -> Response:
    """Return the firm's logo, for papers on screen."""
    reader(request, "site.read")
    firm = parts.service.firm
    if not firm.logo:
        raise HTTPException(404, "the firm has no logo")
    headers = {"Content-Security-Policy": _LOGO_POLICY, "Cache-Control": "private, max-age=86400"}
    return Response(
        firm.logo, media_type=firm.logo_kind if firm.logo_kind == SVG else "image/png", headers=headers
    )


def _own_page(
    request: Request,
    parts: AppState,
    actor: Actor,
    values: dict[str, Any] | None = None,
    *,
    problem: str = "",
    notice: str = "",
    new_address: str = "",
) -> Response:
    if actor.person is None:  # a demo's visitor
        page = pages.settings_page(_values(PersonalSettings(), True), visitor(request), has_account=False)
        return HTMLResponse(page)
    stored = _values(
        personal_settings(parts.service.database, actor.person), parts.accounts.get(actor.person).notices
    )
    feed = parts.feeds.of_person(actor.person) if actor.may("visits.read") else None
    page = pages.settings_page(
        values or stored,
        visitor(request),
        problem=problem,
        notice=notice,
        new_address=new_address,
        feed=vars(feed) if feed else None,
        channels=parts.settings.person_channels.split(),
        firm_quiet=(parts.settings.quiet_from, parts.settings.quiet_to),
    )
    headers = NO_STORE if new_address else None
    return HTMLResponse(page, 422 if problem else 200, headers=headers)


def _values(own: PersonalSettings, notices: bool) -> dict[str, Any]:
    return {
        "notices": notices,
        "channel": "kept" if own.channel else "mail",
        "shown_channel": own.shown_channel,
        "new_channel": "",
        "at_once": own.at_once,
        "digest": own.digest,
        "units": own.units,
        "quiet_from": "" if own.quiet_from is None else str(own.quiet_from),
        "quiet_to": "" if own.quiet_to is None else str(own.quiet_to),
    }


def _firm_page(
    request: Request,
    parts: AppState,
    values: dict[str, str] | None = None,
    *,
    problem: str = "",
    notice: str = "",
) -> Response:
    firm = parts.service.firm
    at = firm.position or ("", "")
    shown = {"name": firm.name, "contact": firm.contact, "latitude": str(at[0]), "longitude": str(at[1])}
    page = pages.firm_page(
        values or shown,
        visitor(request),
        problem=problem,
        notice=notice,
        logo=firm.logo_path,
        from_outside=firm.changed is None and bool(firm.name),
    )
    return HTMLResponse(page, 422 if problem else 200)


def _person(actor: Actor) -> int:
    if actor.person is None:
        raise HTTPException(403, "only people with an account have settings")
    return actor.person


def _hour(text: str) -> int | None:
    text = text.strip()
    if not text:
        return None
    if not (text.isascii() and text.isdecimal() and len(text) <= 2):
        raise InputError(f"quiet hours are full hours from 0 to 23, not {text[:20]!r}")
    return int(text)


def _position(latitude: str, longitude: str) -> tuple[float, float] | None:
    """Parse latitude and longitude, both or neither. Raises InputError."""
    given = [text.strip().replace(",", ".").replace("−", "-") for text in (latitude, longitude)]
    if not any(given):
        return None
    from fieldfare.analysis.plant.contact import Contact
    from fieldfare.analysis.plant.refusals import refusal

    try:
        made = Contact.model_validate({"latitude": given[0] or None, "longitude": given[1] or None})
    except ValidationError as error:
        first = error.errors()[0]
        where = f"{first['loc'][0]}: " if first["loc"] else ""
        raise InputError(f"{where}{refusal(first)}") from None
    return (
        (made.latitude, made.longitude) if made.latitude is not None and made.longitude is not None else None
    )
