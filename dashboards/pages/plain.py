"""Pages without figures: sign-in and messages."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.language import gettext as _
from fieldfare.dashboards.text.language import marked

GIVE_BOTH = marked("give your e-mail and your password")


def message_page(title: str, words: str, visitor: dict[str, Any]) -> str:
    """Page with a short message, such as page not found."""
    return render("message.html", title=title, words=words, visitor=visitor)


def ended_invitation_page() -> str:
    """Page for a used or expired invitation."""
    said = _("It was used already, or its time is over. Ask for a new one.")
    return message_page(_("This invitation has ended"), said, {})


def invited_page(
    row: dict[str, Any],
    values: dict[str, str],
    visitor: dict[str, Any],
    *,
    problem: str = "",
    link: str = "",
    days: int = 0,
    ends: str = "",
) -> str:
    """Page with a householder's one-time link and its validity, or the form again with its problem."""
    return render(
        "invited.html",
        title=f"Householder, {row['name']}",
        here="site",
        visitor=visitor,
        row=row,
        invited=values,
        problem=problem,
        link=link,
        days=days,
        ends=ends,
    )


def sign_in_page(error: str, provider: str = "", email: str = "") -> str:
    """Page of the sign-in form.

    provider : text of the sign-in provider's button, empty without one. email : as typed
    """
    return render(
        "sign_in.html",
        title=_("Sign in"),
        error=_(error),
        notice="",
        provider=provider,
        typed={"email": email},
        asks_who=False,
        asks_email=True,
        is_new=False,
        password_label=_("Password"),
        button=_("Sign in"),
    )


def welcome_page(
    error: str,
    *,
    is_first: bool,
    name: str = "",
    role: str = "",
    homes: Sequence[str] = (),
    typed: Mapping[str, str] = MappingProxyType({}),
) -> str:
    """Page where an invited person, or the first user, sets a password. homes : names of a householder's
    homes. typed : name and e-mail of the first user, as typed"""
    text = ""
    if homes:
        text = _(
            "This shows how the heating of {homes} is doing. You set a password once; then you sign in with"
            " your e-mail.",
            homes=words.listed(list(homes)),
        )
    elif role:
        text = _(
            "You look after the firm's homes as {role}. You set a password once; then you sign in with your"
            " e-mail.",
            role=role,
        )
    return render(
        "sign_in.html",
        title=_("Welcome, {name}", name=name) if name else _("Welcome"),
        error=_(error),
        notice=text,
        provider="",
        typed=typed,
        asks_who=is_first,
        asks_email=is_first,
        is_new=True,
        password_label=_("A password of 12 characters or more"),
        button=_("Continue"),
    )
