"""Accessibility of every page for every reader: screen reader, small screens, keyboard."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Browser

from fieldfare.api.http.app import create_app
from fieldfare.api.people.access import COMMAND_LINE
from fieldfare.api.records.maintenance_log import Job
from fieldfare.api.visits.bookings import BookingRequest
from fieldfare.dashboards.pages import EXPECTATIONS
from tests.dashboards.browser import Running, browser, fill, running, sign_in
from tests.dashboards.every_page import Trouble, addresses, walk

pytestmark = [pytest.mark.slow, pytest.mark.timeout(1800)]
HOME, TOMORROW = "beech-end", datetime.now(UTC) + timedelta(days=1)
YEAR, LAST_MONTH = TOMORROW.year, (TOMORROW.replace(day=1) - timedelta(days=3))
FILL = {
    "site_id": (HOME,),
    "kind": ("winter", "month", "hand-over", "service", "commissioning"),
    "period": (f"{YEAR}", f"{LAST_MONTH:%Y-%m}", "first"),
    "key": ("short_cycling", "heat", "limits"),
    "code": ("short_cycling",),
    "name": ("trace", "heat", next(iter(EXPECTATIONS))),
    "question": ("bill", "cold", "hot-water", "noise", "ice"),
    "day": (f"{TOMORROW:%Y-%m-%d}",),
    "work": ("1",),
    "visit": ("1",),
    "person": ("1", "3"),
    "secret": (),
    "text": (),
}
"""A value or more for each parameter of a page's address. Those with a secret are asked for below."""
QUERIES = {
    "/": ("rows=full", "sort=cost&verdict=act", "q=nothing-like-it"),
    "/compare": (f"a={HOME}&b=alder-row",),
    "/homes/chosen": (f"site={HOME}",),
    "/homes/report": (f"site={HOME}",),
    "/sites/{site_id}": ("from=2020-01-01&to=2020-01-02",),
    "/sites/{site_id}/settings": ("as=text",),
    "/sites/{site_id}/what-if": ("lower_curve_k=2", "rooms_warmer_k=-1"),
    "/sites/{site_id}/works/new": ("finding=short_cycling",),
    "/sites/{site_id}/answers/{question}": ("from_hour=5&to_hour=9", "against=design"),
}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """The homes of the other browser tests with a job and a visit."""
    with running(tmp_path_factory.mktemp("served")) as run:
        fill(run)
        done = (TOMORROW - timedelta(days=20)).date()
        run.parts.works.add(HOME, Job(done, "curve lowered by 4 K", ("short_cycling",)), COMMAND_LINE)
        wish = BookingRequest(TOMORROW.replace(hour=9, minute=0), 60, None, ("short_cycling",), "ring first")
        run.parts.bookings.book(HOME, wish, COMMAND_LINE, datetime.now(UTC))
        yield run


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as made:
        yield made


READERS = [
    ("installer", "en", 60),
    ("engineer", "en", 50),
    *(("householder", language, 8) for language in ("en", "de", "fr")),
    *(("link", language, 3) for language in ("en", "de", "fr")),
    ("nobody", "en", 3),
    ("nobody", "de", 3),
]


@pytest.mark.parametrize(("reader", "language", "least"), READERS)
def test_no_page_keeps_anybody_out(
    service: Running, chromium: Browser, reader: str, language: str, least: int
) -> None:
    context = chromium.new_context(bypass_csp=True)
    context.set_default_timeout(60_000)
    page = context.new_page()
    own = {"site_id": ("alder-row",)} if reader == "householder" else {}
    paths = addresses(create_app(service.parts), {**FILL, **own}, QUERIES)
    if reader == "link":
        _, text = service.parts.links.make(HOME, 30, COMMAND_LINE.name)
        page.goto(f"{service.address}/home/{text}")
    elif reader == "nobody":
        first = ["/sign-in", f"/first/{'x' * 20}", f"/welcome/{welcome(service, language)}", "/nowhere"]
        paths = [*first, *paths]
    else:
        sign_in(page, service, reader)
    context.set_extra_http_headers({"Accept-Language": language})
    found = list(walk(page, service.address, paths, keyboard=reader != "engineer"))
    context.close()
    assert [str(t) for t in found if isinstance(t, Trouble)] == []
    assert sum(isinstance(t, str) for t in found) >= least, "so many pages were looked at"


def welcome(service: Running, language: str) -> str:
    """The secret of an invitation."""
    person = service.parts.accounts.add(f"new-{language}@heating.example", "New", "engineer", [])
    return service.parts.accounts.invite(person.id)
