"""Plain pages: tables and sentences, no script."""

from __future__ import annotations

from html import escape
from typing import Any

from api.cli.plain_result import plain_result


def fleet_page(rows: list[dict[str, Any]], visitor: dict[str, Any]) -> str:
    """Every site, worst first."""
    body = "".join(
        f'<tr><td>{escape(row["severity"] or "ok")}</td><td><a href="/sites/{row["id"]}">{escape(row["name"])}</a></td>'
        f"<td>{_figure(row['H4'])}</td><td>{escape(row['headline'] or row['reason'] or '')}</td></tr>"
        for row in rows
    )
    head = "<tr><th>State</th><th>Site</th><th>Performance</th><th>First thing to look at</th></tr>"
    return _page("Sites, worst first", f"<table>{head}{body}</table>", visitor)


def site_page(site: Any, row: dict[str, Any], result: dict[str, Any] | None, visitor: dict[str, Any]) -> str:
    """One site's findings and figures."""
    told = plain_result(result, site.site.name) if result else "Nothing was read yet."
    return _page(site.site.name, f"<pre>{escape(told)}</pre>", visitor)


def sign_in_page(error: str) -> str:
    form = (
        '<form method="post"><p><label>E-mail <input name="email" type="email" autocomplete="username" required></label>'
        '<p><label>Password <input name="password" type="password" autocomplete="current-password" required></label>'
        "<p><button>Sign in</button></form>"
    )
    return _page("Sign in", f'<p role="alert">{escape(error)}</p>{form}', {})


def welcome_page(error: str, *, is_first: bool) -> str:
    who = (
        '<p><label>Name <input name="name" required></label>'
        '<p><label>E-mail <input name="email" type="email" autocomplete="username" required></label>'
        if is_first
        else ""
    )
    form = (
        f'<form method="post">{who}<p><label>A password of 12 characters or more '
        '<input name="password" type="password" autocomplete="new-password" minlength="12" required></label>'
        "<p><button>Go on</button></form>"
    )
    return _page("Welcome", f'<p role="alert">{escape(error)}</p>{form}', {})


def _page(title: str, body: str, visitor: dict[str, Any]) -> str:
    out = ""
    if visitor.get("csrf"):
        out = (
            f'<form method="post" action="/sign-out"><input type="hidden" name="csrf" value="{escape(visitor["csrf"])}">'
            f"<button>Sign out {escape(visitor['name'])}</button></form>"
        )
    return (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{escape(title)}</title>'
        f"<body><main><h1>{escape(title)}</h1>{body}</main>{out}</body></html>"
    )


def _figure(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"
