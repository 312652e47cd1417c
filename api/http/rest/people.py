"""People, sessions, links, tokens, the audit trail."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

from fastapi import HTTPException, Path, Query, Request, Response

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.site_id import SITE_ID
from fieldfare.api.http.auth import (
    AppStateHere,
    SignInFirst,
    SiteRecordHere,
    actor_of,
    need,
    session_of,
)
from fieldfare.api.http.routers import rest_router
from fieldfare.api.http.schemas import (
    ConfirmIn,
    HowMany,
    Invited,
    LinkIn,
    LinkOut,
    Offset,
    Page,
    PasswordIn,
    PersonChange,
    PersonIn,
    PersonOut,
    RowId,
    SessionOut,
    SignInIn,
    TokenIn,
    TokenOut,
    page,
)
from fieldfare.api.http.sessions import (
    Proof,
    client_address,
    complete_session,
    confirm_session,
    end_session,
    forget_in_browser,
    mark_device,
    note_refusal,
    open_session,
    set_cookie,
    tell,
)
from fieldfare.api.people.access import Actor
from fieldfare.api.people.accounts import AccountRefused
from fieldfare.api.people.audit import AuditRow
from fieldfare.api.people.invitations import take_in, welcome_address
from fieldfare.api.people.passwords import check_strength

router = rest_router("people")
Key = Annotated[str, Path(pattern=r"^[0-9a-f]{16}$")]


@router.post("/session")
def sign_in(body: SignInIn, request: Request, response: Response, parts: AppStateHere) -> SessionOut:
    """Sign in; sets the session cookie. Accounts with a second factor also send its code."""
    opened = open_session(request, parts, body.email, body.password.get_secret_value())
    if opened.pending:
        code = body.code.get_secret_value() if body.code is not None else ""
        if not code:
            parts.sign_in.sign_out(opened.secret)
            raise AccountRefused(
                "this account has a second factor; send its code, or a recovery code, as `code`"
            )
        opened = complete_session(request, parts, opened.secret, Proof(code))
    set_cookie(response, parts, opened.secret)
    live = parts.sign_in.live_session(opened.secret)
    if live is None:
        raise HTTPException(401, "this account was stopped")
    mark_device(response, parts, live.actor.person)
    return session_out(live.actor, live.csrf)


@router.get("/session")
def read_session(request: Request, parts: AppStateHere) -> SessionOut:
    """The current session; the role is `nobody` without one."""
    live = session_of(request)
    return session_out(live.actor if live else actor_of(request), live.csrf if live else None)


@router.delete("/session", status_code=204, response_class=Response)
def sign_out(request: Request, response: Response, parts: AppStateHere) -> None:
    """Sign out; ends the session."""
    actor_of(request)
    end_session(request, parts)
    forget_in_browser(response, parts)


@router.post("/session/password", status_code=204, response_class=Response)
def change_password(
    body: PasswordIn, request: Request, parts: AppStateHere, actor: Actor = need("site.read")
) -> None:
    """Change your password; ends all your sessions."""
    if actor.person is None:
        raise HTTPException(403, "only people have passwords")
    new, address = body.new.get_secret_value(), client_address(request)
    check_strength(new, actor.name)
    try:
        parts.sign_in.check_password(actor.name, body.old.get_secret_value(), address)
    except InputError as error:
        note_refusal(request, parts, error)
        raise
    parts.accounts.set_password(actor.person, new)
    parts.audit.note(actor, "password changed", address=address)
    tell(parts, actor.person, "Your password was changed", "The password of your account was changed.")


@router.post("/session/confirm", status_code=204, response_class=Response)
def confirm_again(body: ConfirmIn, request: Request, response: Response, parts: AppStateHere) -> None:
    """Confirm the password or second factor again, as required before changes of people, links and tokens,
    and before deletion. The answer renews the cookie."""
    actor = actor_of(request)
    live = session_of(request)
    if actor.role == "nobody":
        raise SignInFirst
    if live is None or actor.person is None:
        raise HTTPException(403, "only people have passwords")
    code = body.code.get_secret_value() if body.code is not None else ""
    secret = confirm_session(request, parts, live, body.password.get_secret_value(), Proof(code))
    set_cookie(response, parts, secret)


@router.get("/people")
def list_people(parts: AppStateHere, actor: Actor = need("people.read")) -> list[PersonOut]:
    """List all accounts."""
    return [PersonOut(**asdict(row)) for row in parts.accounts.all()]


@router.post("/people", status_code=201)
def add_person(body: PersonIn, parts: AppStateHere, actor: Actor = need("people.write")) -> PersonOut:
    """Add a person; invite them next."""
    row = take_in(parts.accounts, parts.audit, actor, body.email, body.name, body.role, body.sites)
    return PersonOut(**asdict(row))


@router.get("/people/{person}")
def read_person(person: RowId, parts: AppStateHere, actor: Actor = need("people.read")) -> PersonOut:
    return PersonOut(**asdict(parts.accounts.get(person)))


@router.patch("/people/{person}")
def change_person(
    person: RowId, body: PersonChange, parts: AppStateHere, actor: Actor = need("people.write")
) -> PersonOut:
    """Change the given fields. A changed role or home ends the person's sessions."""
    row = parts.accounts.change(person, **body.model_dump(exclude_none=True))
    parts.audit.note(actor, "person changed", person=person, role=row.role, active=row.active)
    return PersonOut(**asdict(row))


@router.delete("/people/{person}", status_code=204, response_class=Response)
def remove_person(person: RowId, parts: AppStateHere, actor: Actor = need("people.write")) -> None:
    """Remove a person."""
    parts.accounts.remove(person)
    parts.audit.note(actor, "person removed", person=person)


@router.post("/people/{person}/invitation", status_code=201)
def invite(person: RowId, parts: AppStateHere, actor: Actor = need("people.write")) -> Invited:
    """A one-time address at which the person sets a password; good for a week."""
    address = welcome_address(parts.accounts, person, parts.settings.address)
    parts.audit.note(actor, "person invited", person=person)
    return Invited(address=address)


@router.get("/sites/{site_id}/links")
def list_links(
    record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("links.write")
) -> list[LinkOut]:
    """List links to this home, newest first."""
    return [LinkOut(**asdict(row)) for row in parts.links.of_site(record.site.id)]


@router.post("/sites/{site_id}/links", status_code=201)
def make_link(
    body: LinkIn, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("links.write")
) -> LinkOut:
    """Create a link that shows this home to its householder without an account."""
    row, text = parts.links.make(record.site.id, body.days, actor.name)
    parts.audit.note(actor, "link made", record.site.id, link=row.id)
    return LinkOut(**asdict(row), address=f"{parts.settings.address}/home/{text}")


@router.delete("/sites/{site_id}/links/{link}", status_code=204, response_class=Response)
def revoke_link(
    link: Key, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("links.write")
) -> None:
    """Revoke a link and the sessions opened with it."""
    parts.links.revoke(record.site.id, link)
    parts.audit.note(actor, "link revoked", record.site.id, link=link)


@router.get("/devices")
def list_tokens(parts: AppStateHere, actor: Actor = need("devices.write")) -> list[TokenOut]:
    """List tokens of gateways and programs, newest first."""
    return [TokenOut(**asdict(row)) for row in parts.tokens.all()]


@router.post("/devices", status_code=201)
def make_token(body: TokenIn, parts: AppStateHere, actor: Actor = need("devices.write")) -> TokenOut:
    """Create a token for a gateway (`readings`, of one site) or for a program that reads `/metrics`."""
    if body.site is not None:
        parts.service.sites.get(body.site)
    row, secret = parts.tokens.make(body.name, body.purpose, body.site, body.days)
    parts.audit.note(actor, "token made", body.site, token=row.id)
    return TokenOut(**asdict(row), token=secret)


@router.delete("/devices/{token}", status_code=204, response_class=Response)
def revoke_token(token: Key, parts: AppStateHere, actor: Actor = need("devices.write")) -> None:
    """Revoke a token."""
    row = parts.tokens.revoke(token)
    parts.audit.note(actor, "token revoked", row.site, token=token)


@router.get("/audit")
def read_audit(
    request: Request,
    response: Response,
    parts: AppStateHere,
    actor: Actor = need("audit.read"),
    site: Annotated[str | None, Query(pattern=SITE_ID)] = None,
    offset: Offset = 0,
    limit: HowMany = 100,
) -> Page[AuditRow]:
    """List the audit trail, newest first."""
    rows, total = parts.audit.page(offset, limit, site)
    return page(request, response, rows, total, offset, limit)


def session_out(actor: Actor, csrf: str | None) -> SessionOut:
    sites = None if actor.sites is None else sorted(actor.sites)
    return SessionOut(name=actor.name, role=actor.role, sites=sites, csrf=csrf)
