"""A small running service for on-site pages, and an engineer's steps on a phone."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect

from fieldfare.api.people.access import COMMAND_LINE
from tests.api.conftest import add_site
from tests.api.sites import readings
from tests.checks.pictures import photo
from tests.dashboards.browser import PASSWORD, Running, running

PHONE = {"width": 360, "height": 800}
HOME = "alder-row"
WAIT_MS = 30_000


@contextmanager
def installation(folder: Path) -> Iterator[Running]:
    """Two homes with a few days of readings; an installer, two engineers and a householder."""
    with running(folder) as run:
        service, parts = run.parts.service, run.parts
        for site in (HOME, "beech-end"):
            add_site(service, site)
            service.store.append(site, readings(3))
        people = (("installer", "installer", []), ("engineer", "engineer", []), ("second", "engineer", []))
        for name, role, sites in (*people, ("householder", "householder", [HOME])):
            person = parts.accounts.add(f"{name}@heating.example", name.title(), role, sites)
            parts.accounts.set_password(person.id, PASSWORD)
        assert COMMAND_LINE.role == "installer"
        yield run


@contextmanager
def phone(chromium: Browser, **more: Any) -> Iterator[BrowserContext]:
    """A phone of its own, with its own storage; a script error on any of its pages fails the test."""
    context = chromium.new_context(viewport=PHONE, **more)  # type: ignore[arg-type]
    context.set_default_timeout(WAIT_MS)
    errors: list[str] = []
    context.on("weberror", lambda e: errors.append(str(e.error)))
    try:
        yield context
    finally:
        context.close()
    assert errors == []


def let_in(page: Page, run: Running, who: str) -> None:
    page.goto(f"{run.address}/sign-in")
    page.get_by_label("E-mail").fill(f"{who}@heating.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/sign-in" not in url)


def sheet_address(run: Running, kind: str = "winter", home: str = HOME) -> str:
    plant = run.parts.service.sites.get(home)
    year = run.parts.service.results.span(plant)[1].year
    return f"{run.address}/sites/{home}/checks/{kind}/{'first' if kind == 'commissioning' else year}"


def take_along(page: Page, run: Running, *homes: str) -> None:
    """In the office: keep the day's homes on the phone."""
    page.goto(f"{run.address}/field")
    for name in homes:
        page.get_by_role("checkbox", name=f"Keep {name} on this device").check()
    page.get_by_role("button", name="Keep the chosen ones on this device").click()
    many = f"{len(homes)} sheets are" if len(homes) > 1 else "1 sheet is"
    expect(page.locator("#device")).to_have_text(f"{many} on this device.")


def item(page: Page, name: str) -> Locator:
    return page.locator(f"#item-{name}")


def answer(page: Page, name: str, word: str = "Done") -> None:
    item(page, name).get_by_role("radio", name=word, exact=True).check()


def add_photos(page: Page, name: str, *seeds: int) -> None:
    files = [
        {"name": f"{s}.jpg", "mimeType": "image/jpeg", "buffer": photo(2400, 1800, seed=s)} for s in seeds
    ]
    item(page, name).locator("input[type=file]").set_input_files(files)  # type: ignore[arg-type]


def status(page: Page) -> Locator:
    return page.locator("#device")


def entries(run: Running, home: str = HOME, kind: str = "winter") -> dict[str, dict[str, Any]]:
    """The sheet as the service has it: item -> its entry."""
    from fieldfare.api.checks.sheets import SheetKey

    plant = run.parts.service.sites.get(home)
    key = SheetKey(kind, sheet_address(run, kind, home).rsplit("/", 1)[1])  # type: ignore[arg-type]
    return {i["id"]: i for i in run.parts.sheets.read(plant, key)["items"]}
