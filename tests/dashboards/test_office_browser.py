"""Visits, people and settings in a real browser: phone, desktop, keyboard, no script, axe-core."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import orjson
import pytest
from playwright.sync_api import Browser, expect

from fieldfare.analysis.plant.load import parse_site
from tests.api.sites import readings, site_text
from tests.dashboards.browser import DESKTOP, PASSWORD, PHONE, Running, browser, running, sign_in
from tests.dashboards.conftest import SHORT_CYCLING
from tests.dashboards.every_page import violations
from tests.dashboards.test_browser import WIDTHS, Desk, fits

NARROW = {"width": 320, "height": 640}
TOMORROW = (datetime.now(UTC) + timedelta(days=1)).date().isoformat()
HOMES = (
    ("alder-row", "Alder Row", 52.10),
    ("beech-end", "Beech End", 52.12),
    ("cedar-close", "Cedar Close", 52.50),
)
CONTACT = """
[contact]
name = "R. Example"
phone = "+44 1632 960111"
address = "1 Example Row, Exampleton"
latitude = {}
longitude = -2.3
"""
FIRM = ("/visits", "/visits/calendar", f"/visits/day/{TOMORROW}", "/sites/beech-end/visits/new", "/settings")
HANDBOOK = ("/handbook", "/handbook/short_cycling", "/handbook/heat", "/handbook/limits")
INSTALLER = (
    "/people",
    "/people/1",
    "/settings/firm",
    "/sites/alder-row/settings",
    "/sites/alder-row/settings?as=text",
)


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """Three homes that start too often, a firm with a place, and people of every role."""
    with running(tmp_path_factory.mktemp("office")) as run:
        made, parts = run.parts.service, run.parts
        start = datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0) - timedelta(days=2)
        for site, name, latitude in HOMES:
            text = site_text(site, name) + CONTACT.format(latitude)
            made.sites.add([(text, parse_site(text))])
            made.store.append(site, readings(2, start))
            found = made.results.rolling_result(made.sites.get(site), 365)
            found["findings"] = [SHORT_CYCLING.as_dict()]
            days = (start + timedelta(days=n) for n in (0, 1))
            made.results.keep(
                site, *(d.date() for d in days), "made for this test", orjson.dumps(found), True
            )
        for role, sites in (("installer", []), ("engineer", []), ("householder", ["alder-row", "beech-end"])):
            person = parts.accounts.add(f"{role}@heating.example", role.title(), role, sites)
            parts.accounts.set_password(person.id, PASSWORD)
        yield run


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as made:
        yield made


@pytest.mark.parametrize(
    ("scheme", "size"),
    [pytest.param("light", DESKTOP, marks=pytest.mark.slow), ("dark", PHONE)],
    ids=["light", "dark phone"],
)
def test_nothing_stands_in_anybodys_way(
    service: Running, chromium: Browser, scheme: str, size: dict[str, int]
) -> None:
    with Desk(chromium, size, color_scheme=scheme, bypass_csp=True) as desk:
        page = desk.page
        sign_in(page, service, "installer")
        for path in (*FIRM, *INSTALLER, *HANDBOOK):
            answer = page.goto(service.address + path)
            assert answer is not None
            assert answer.ok, path
            page.set_viewport_size(size)
            assert violations(page) == [], path
            page.set_viewport_size(NARROW)
            assert fits(page), path


@WIDTHS
def test_a_round_is_planned_booked_and_changed(
    service: Running, chromium: Browser, size: dict[str, int]
) -> None:
    with Desk(chromium, size, bypass_csp=True) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        page.goto(f"{service.address}/visits")
        expect(page.locator("h3.area")).to_have_count(2)
        first = page.locator("ol.round > li", has_text="Cedar Close")
        expect(first).to_contain_text("1 Example Row, Exampleton")
        expect(first.get_by_role("link", name="Navigate")).to_have_attribute(
            "href", "geo:52.500000,-2.300000"
        )
        expect(first.get_by_role("link", name="960111")).to_have_attribute("href", "tel:+441632960111")
        expect(page.locator("svg.round-plot").first).to_be_visible()
        first.get_by_role("link", name="Book a visit").click()
        page.get_by_label("Length").fill("an hour")
        page.get_by_label("Day", exact=True).fill(TOMORROW)
        page.locator("select[name=person]").select_option("Engineer")
        page.get_by_role("button", name="Book it").click()
        expect(page.get_by_role("alert")).to_contain_text("whole number of minutes")
        expect(page.get_by_label("Day", exact=True)).to_have_value(TOMORROW)
        expect(page.locator("select[name=person]")).to_have_value(re.compile(r"\d+"))
        assert violations(page) == []
        page.get_by_label("Length").fill("60")
        page.get_by_role("button", name="Book it").click()
        page.wait_for_url("**/visits/calendar?from=*")
        visit = page.locator(".visit", has_text="Cedar Close")
        expect(visit).to_contain_text("09:00 to 10:00")
        page.get_by_role("link", name="Day sheet").first.click()
        expect(page.get_by_role("heading", level=1)).to_contain_text(str(int(TOMORROW[-2:])))
        expect(page.locator("ol.sheet")).to_contain_text("Starts too often")
        page.go_back()
        visit.get_by_role("link").click()
        page.get_by_text("Cancel this visit").click()
        page.get_by_role("button", name="Cancel it").click()
        expect(page.locator(".visit", has_text="Cedar Close")).to_have_count(0)


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_a_site_file_is_changed_on_a_phone(service: Running, chromium: Browser, script: bool) -> None:
    with Desk(chromium, PHONE, java_script_enabled=script) as desk:
        page = desk.page
        sign_in(page, service, "installer")
        page.goto(f"{service.address}/sites/alder-row/settings")
        page.get_by_label("Telephone").fill("call me")
        page.get_by_label("Access notes").fill("dog & <cat>")
        page.get_by_role("button", name="Show what changes").click()
        told = page.get_by_role("alert")
        expect(told).to_contain_text("telephone number")
        told.get_by_role("link", name="Contact · Telephone").click()
        expect(page.get_by_label("Telephone")).to_have_attribute("aria-invalid", "true")
        expect(page.get_by_label("Access notes")).to_have_value("dog & <cat>")
        page.get_by_label("Telephone").fill(f"01632 96022{int(script)}")
        page.get_by_role("button", name="Show what changes").click()
        shown = page.locator(".preview")
        expect(shown).to_contain_text(f"01632 96022{int(script)}")
        expect(shown).to_contain_text("Nothing is recalculated.")
        shown.get_by_role("button", name="Save").click()
        expect(page.get_by_role("status")).to_have_text("Saved.")
        expect(page.get_by_label("Access notes")).to_have_value("dog & <cat>")


def test_a_person_is_invited_by_keyboard_alone_and_comes_in(service: Running, chromium: Browser) -> None:
    with Desk(chromium, DESKTOP) as desk:
        page = desk.page
        sign_in(page, service, "installer")
        page.goto(f"{service.address}/people")
        page.get_by_label("Name", exact=True).focus()
        page.keyboard.type("Robin")
        page.keyboard.press("Tab")
        page.keyboard.type("robin@heating.example")
        page.keyboard.press("Tab")
        page.keyboard.press("h")
        page.keyboard.press("Tab")
        page.keyboard.type("Beech End")
        page.keyboard.press("Enter")
        link = page.get_by_label("Link for Robin").input_value()
        with Desk(chromium, PHONE) as other:
            other.page.goto(link)
            other.page.get_by_label("A password").fill(PASSWORD)
            other.page.get_by_role("button", name="Continue").click()
            other.page.wait_for_url("**/sites/beech-end/home")


def test_a_householder_finds_both_homes_what_if_and_settings(service: Running, chromium: Browser) -> None:
    with Desk(chromium, PHONE, bypass_csp=True) as desk:
        page = desk.page
        sign_in(page, service, "householder")
        page.get_by_role("navigation", name="Your homes").get_by_role("link", name="Beech End").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Beech End")
        expect(page.get_by_text("1 Example Row, Exampleton")).to_be_visible()
        assert violations(page) == []
        page.set_viewport_size(NARROW)
        assert fits(page)
        page.get_by_role("link", name="Ask about your own heating").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("What if")
        page.get_by_role("link", name="Settings").click()
        page.get_by_label("Energy").select_option("MJ")
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_role("status")).to_have_text("Saved.")
        expect(page.get_by_label("Energy")).to_have_value("MJ")
        assert fits(page)
        page.goto(f"{service.address}/sites/beech-end/home")
        expect(page.locator("main")).to_contain_text("MJ")


def test_the_firm_s_logo_is_seen_on_its_papers(service: Running, chromium: Browser, tmp_path: Path) -> None:
    logo = tmp_path / "logo.svg"
    logo.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 30 10"><script>document.title = "run"</script>'
        '<rect width="30" height="10" fill="#356"/></svg>',
        encoding="utf-8",
    )
    with Desk(chromium, DESKTOP) as desk:
        page = desk.page
        sign_in(page, service, "installer")
        page.goto(f"{service.address}/settings/firm")
        page.get_by_label("Name", exact=True).fill("Heron & Co")
        page.get_by_role("button", name="Save", exact=True).click()
        page.get_by_label("Logo PNG or SVG").set_input_files(logo)
        page.get_by_role("button", name="Use this logo").click()
        expect(page.get_by_role("status")).to_contain_text("Saved without script")
        page.goto(f"{service.address}/sites/alder-row/papers/hand-over/first")
        image = page.locator(".top img.logo")
        expect(image).to_be_visible()
        assert image.evaluate("i => i.naturalWidth > 0")
        expect(page.locator(".top")).to_contain_text("Heron & Co")
