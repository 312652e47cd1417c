"""Every form of every page: missing input is reported on the form, with the typed values."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from typing import Any

import pytest
from fastapi.routing import iter_route_contexts

from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.http.app import PREFIX
from tests.api.web import OWN, Web, make_web

SITE = f"/sites/{OWN}"
PAGES = (
    "/account",
    "/cold-snap",
    "/first-run/site",
    "/people",
    f"{SITE}/readings",
    f"{SITE}/visits/new",
    f"{SITE}/works/new",
    f"{SITE}/visits/1",
    f"{SITE}/works/1",
    SITE,
    "/?sort=name",
)
OF_NOBODY = ("/sign-in", "/first/no-such-secret")
BARE = {
    "/sign-out": "a button",
    "/sign-in/provider": "a button",
    "/account/app": "a button",
    "/account/passkey": "a button",
    "/account/codes": "a button",
    "/account/factors/{factor}/remove": "a button",
    "/account/sessions/end": "a button",
    "/account/sessions/{session}/end": "a button",
    "/views/{view}/remove": "a button",
    "/sites/{site_id}/readings/anyway": "a button",
    "/sites/{site_id}/readings/undo": "a button",
    "/settings": "every field may be empty; wrong ones: tests/api/test_settings_pages.py",
    "/settings/firm": "every field may be empty; wrong ones: tests/api/test_settings_pages.py",
    "/settings/calendar": "buttons and a tick",
    "/cold-snap/fetch": "a button",
    "/sites/{site_id}/tuning": "on a page with a step to take: tests/api/test_season.py",
    "/sites/{site_id}/photos/{photo}/remove": "a button",
    "/sites/{site_id}/visits/{visit}/cancel": "a button",
    "/sites/{site_id}/works/{work}/delete": "a button",
    "/sites/{site_id}/checks/{kind}/{period}": "every field may be empty",
    "/sites/{site_id}/checks/{kind}/{period}/reopen": "a button",
    "/sites/{site_id}/settings": "empty fields end a key; tests/api/test_site_changes.py",
    "/sites/{site_id}/points": "choices; tests/dashboards/test_first_site.py",
    "/checks/lists": "an empty text ends the firm's lists",
    "/people/{person}": "choices and buttons",
    "/confirm": "tests/api/test_second_factor.py",
    "/account/passkey/confirm": "filled by a script",
}
"""Routes without a field that must be filled, or tried elsewhere."""
ALONE = {
    "/account/app/confirm": {"name": "My phone"},
    "/homes/chosen": {"do": "muted", "reason": "", "until": "2030-01-01", "site": OWN},
    "/sites/{site_id}/findings/{code}": {"do": "muted", "until": "2030-01-01"},
    "/sites/{site_id}/checks/{kind}/{period}/sign": {"what": "strainer cleaned"},
    "/sign-in/second": {},
    "/welcome/{secret}": {},
    "/settings/logo": {},
}
"""Forms that stand on pages with a state of their own: sent here without what they need."""


@dataclass
class Form:
    """A form as a page has it. fields : name -> value, needed : names that must be filled"""

    action: str
    fields: dict[str, str] = field(default_factory=dict)
    needed: set[str] = field(default_factory=set)
    kinds: dict[str, str] = field(default_factory=dict)


class Forms(HTMLParser):
    """The POST forms of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self._open: Form | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given: dict[str, Any] = {k: v or "" for k, v in attrs}
        if tag == "form":
            self._open = Form(given.get("action", "")) if given.get("method") == "post" else None
            if self._open:
                self.forms.append(self._open)
        elif self._open and tag in ("input", "textarea", "select") and (name := given.get("name")):
            kind = given.get("type", tag)
            self._open.kinds[name] = kind
            if kind not in ("checkbox", "radio"):
                self._open.fields[name] = given.get("value", "")
            if "required" in given:
                self._open.needed.add(name)

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._open = None


@pytest.fixture(scope="module")
def web(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Web]:
    with opened(Settings(data=tmp_path_factory.mktemp("web"), workers=1)) as service:
        made = make_web(service)
        day = (datetime.now(UTC) + timedelta(days=4)).date().isoformat()
        visit = {"day": day, "at": "09:00", "minutes": "60"}
        job = {"day": datetime.now(UTC).date().isoformat(), "what": "strainer cleaned"}
        for at, data in ((f"{SITE}/visits", visit), (f"{SITE}/works", job)):
            assert sent(made, "installer", at, data).status_code == 303
        yield made


def forms_of(web: Web, at: str) -> list[Form]:
    reader = Forms()
    answer = web["nobody" if at in OF_NOBODY else "installer"].get(at)
    assert answer.status_code == 200, at
    reader.feed(answer.text)
    return [Form(f.action or at, f.fields, f.needed, f.kinds) for f in reader.forms]


def typed_into(form: Form) -> dict[str, str]:
    """Something in every field that takes a text."""
    soon = (datetime.now(UTC) + timedelta(days=3)).date().isoformat()
    past = (datetime.now(UTC) - timedelta(days=3)).date().isoformat()
    by_kind = {
        "date": past if "/works" in form.action else soon,
        "email": "somebody@home.example",
        "time": "10:15",
    }
    return {
        name: value
        or by_kind.get(form.kinds[name], "30" if form.kinds[name] == "number" else f"typed in {name}")
        for name, value in form.fields.items()
        if form.kinds[name] not in ("file", "password", "select")
    }


def route_of(web: Web, at: str) -> str:
    """The route's own address, such as /sites/{site_id}/visits, of one that is filled in."""
    for path in posts(web):
        if re.fullmatch(re.sub(r"\{\w+(?::\w+)?\}", "[^/]+", path), re.split("[?#]", at)[0]):
            return path
    raise AssertionError(f"no route takes {at}")


def posts(web: Web) -> list[str]:
    found = {c.path for c in iter_route_contexts(web["nobody"].app.routes) if "POST" in (c.methods or ())}
    return sorted(p for p in found if p and not p.startswith(PREFIX))


def sent(web: Web, role: str, at: str, data: dict[str, str]) -> Any:
    csrf = web[role].headers.get("X-CSRF-Token", "")
    return web[role].post(
        at, data={**data, "csrf": csrf}, headers={"Accept": "text/html"}, follow_redirects=False
    )


def shows_the_form(answer: Any, without: str) -> list[str]:
    """What the answer lacks of a form that comes back."""
    main = answer.text.split("<main")[-1]
    lacks = []
    if not 400 <= answer.status_code < 500:
        lacks.append(f"status {answer.status_code}")
    if "can&#39;t be read" in answer.text or "<form" not in main:
        lacks.append("the form")
    if 'role="alert"' not in main and 'class="wrong"' not in main:
        lacks.append(f"a line about {without}")
    return lacks


def test_what_is_missing_comes_back_on_the_form(web: Web) -> None:
    wrong, tried = [], set()
    for page in (*PAGES, *OF_NOBODY):
        role = "nobody" if page in OF_NOBODY else "installer"
        for form in forms_of(web, page):
            if not form.needed:
                continue
            tried.add(route_of(web, form.action))
            for name in sorted(form.needed):
                data = typed_into(form)
                for empty in ({**data, name: ""}, {k: v for k, v in data.items() if k != name}):
                    answer = sent(web, role, form.action, empty)
                    lacks = shows_the_form(answer, name)
                    kept = {
                        k
                        for k, v in empty.items()
                        if form.kinds[k] not in ("hidden", "password") and v and v not in answer.text
                    }
                    if lacks or kept:
                        wrong.append((form.action, name, lacks, sorted(kept)))
    assert wrong == []
    untried = set(posts(web)) - tried - BARE.keys() - ALONE.keys()
    assert untried == set(), "a new form: add its page to PAGES, or say why it has nothing to fill in"


@pytest.mark.parametrize("path", sorted(ALONE))
def test_a_form_of_a_page_with_a_state_comes_back_too(web: Web, path: str) -> None:
    season = web["installer"].get(f"{SITE}/checks/winter", follow_redirects=False).headers["location"]
    accounts, secret = web.parts.accounts, ""
    if "{secret}" in path:
        secret = accounts.invite(accounts.add("new@heating.example", "New", "engineer").id)
    filled = path.format(site_id=OWN, code="short_cycling", kind="winter", period=season[-4:], secret=secret)
    if path == "/account/app/confirm":
        sent(web, "installer", "/account/app", {})
    role = "nobody" if path in ("/sign-in/second", "/welcome/{secret}") else "installer"
    answer = sent(web, role, filled, ALONE[path])
    assert shows_the_form(answer, path) == []
    assert all(v in answer.text for k, v in ALONE[path].items() if v and k in ("name", "what"))


@pytest.mark.parametrize(
    ("query", "told"),
    [
        ("from=soon", "must be a day"),
        ("from=2026-03-05&to=2026-03-01", "ends before it starts"),
        ("from=2040-01-01&to=2040-02-01", "no readings"),
    ],
)
def test_days_that_cannot_be_shown_leave_the_page(web: Web, query: str, told: str) -> None:
    answer = web["installer"].get(f"{SITE}?{query}", headers={"Accept": "text/html"})
    assert answer.status_code == 422
    assert 'id="findings"' in answer.text
    assert re.search(rf'class="wrong" id="period-e"[^<]*{told}', answer.text)


def test_a_number_out_of_range_is_told_at_its_field(web: Web) -> None:
    page = (
        web["installer"]
        .get(f"{SITE}/what-if?rooms_warmer_k=4&lower_curve_k=99&hot_water_c=warm&band_price=0.1")
        .text
    )
    assert 'id="rooms_warmer_k-e" role="alert">A number from' in page
    assert 'id="lower_curve_k-e" role="alert">A number from 0.50 to 15.' in page
    assert 'id="hot_water_c-e" role="alert">A number from 35 to 65.' in page
    assert "band_price-e" not in page
    assert 'value="warm"' in page


def test_a_text_that_is_too_long_is_told_in_plain_words(web: Web) -> None:
    answer = sent(web, "installer", f"{SITE}/works", {"day": "2026-01-02", "what": "x" * 10_001})
    assert answer.status_code == 422
    assert "“what” is too long: at most 10000 characters" in answer.text
    assert "String should" not in answer.text
