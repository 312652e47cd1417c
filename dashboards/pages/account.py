"""Pages of the user's account: second factors, recovery codes, sessions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import segno
from markupsafe import Markup

from fieldfare.dashboards.templating import render

WAYS = {
    "password": "password",
    "totp": "password and app",
    "passkey": "password and passkey",
    "recovery": "password and recovery code",
    "invitation": "one-time address",
    "provider": "the firm's account",
}
KINDS = {"totp": "App", "passkey": "Passkey"}


def second_step_page(error: str, options: str, *, has_app: bool) -> str:
    """Page of the second factor at sign-in. options : a passkey's request as JSON, empty without one"""
    return render("second_step.html", title="Second step", error=error, options=options, has_app=has_app)


def account_page(
    visitor: dict[str, Any],
    factors: Sequence[Any],
    codes_left: int,
    sessions: Sequence[Any],
    *,
    problem: str,
    must_enrol: bool,
    has_password: bool,
    has_passkeys: bool,
) -> str:
    """Page of a person's sign-in methods and sessions.

    factors : with id, kind, name, created, used; sessions : with id, created, seen, address, device, way,
    is_this
    """
    return render(
        "account.html",
        title="Your account",
        here="account",
        visitor=visitor,
        factors=factors,
        codes_left=codes_left,
        sessions=sessions,
        problem=problem,
        must_enrol=must_enrol,
        has_password=has_password,
        has_passkeys=has_passkeys,
        ways=WAYS,
        kinds=KINDS,
    )


def new_app_page(visitor: dict[str, Any], secret: str, address: str, problem: str, name: str = "") -> str:
    """Page with an authenticator app's secret: as a QR code (ISO/IEC 18004), in groups of four, and as a
    link.

    name : of the device, as it was typed
    """
    return render(
        "new_app.html",
        title="Add an app",
        visitor=visitor,
        picture=_qr_code(address),
        secret=" ".join(secret[i : i + 4] for i in range(0, len(secret), 4)),
        address=address,
        problem=problem,
        name=name,
    )


def _qr_code(text: str) -> Markup:
    """QR code as SVG: dark on light in every colour scheme, with the quiet zone that cameras need."""
    code = segno.make(text, error="m", micro=False)
    drawn = code.svg_inline(
        scale=4, border=4, light="#fff", title="QR code of the key", svgclass="qr", lineclass=None
    )
    return Markup(drawn)  # noqa: S704  # made here, of squares alone


def new_passkey_page(visitor: dict[str, Any], options: str) -> str:
    return render("new_passkey.html", title="Add a passkey", visitor=visitor, options=options)


def codes_page(visitor: dict[str, Any], codes: Sequence[str]) -> str:
    return render("codes.html", title="Recovery codes", visitor=visitor, codes=codes)


def confirm_page(
    visitor: dict[str, Any],
    where: str,
    kept: str,
    problem: str,
    options: str,
    *,
    has_factor: bool,
    provider: str,
) -> str:
    """Ask the user to confirm their identity. where, kept : action and fields (JSON) of the held form"""
    return render(
        "confirm.html",
        title="Confirm it is you",
        visitor=visitor,
        where=where,
        kept=kept,
        problem=problem,
        options=options,
        has_factor=has_factor,
        provider=provider,
    )


def go_on_page(visitor: dict[str, Any], where: str, fields: Sequence[tuple[str, str]]) -> str:
    """Page that submits the held form."""
    return render("go_on.html", title="Confirmed", visitor=visitor, where=where, fields=fields)


def leave_page(address: str, provider: str) -> str:
    """Page with the link to the firm's sign-in provider."""
    return render("leave.html", title="Sign in elsewhere", address=address, provider=provider)
