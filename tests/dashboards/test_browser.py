"""Each person's day in a real browser, at phone and desktop width, against the running service."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from fieldfare.api.people.access import COMMAND_LINE
from tests.dashboards.browser import (
    DESKTOP,
    PASSWORD,
    PHONE,
    Running,
    Watched,
    browser,
    csv_export,
    fill,
    running,
    sign_in,
)
from tests.dashboards.every_page import violations

WIDTHS = pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
FIRM_PAGES = (
    "/",
    "/visits",
    "/winter",
    "/learning",
    "/first-run",
    "/first-run/site",
    "/field",
    "/checks/lists",
    "/cold-snap",
)
SITE_PAGES = (
    "",
    "/home",
    "/winter",
    "/what-if?lower_curve_k=2",
    "/advice",
    "/expectations",
    "/commissioned",
    "/tuning",
    "/answers",
    "/answers/bill?against=design",
    "/answers/cold?from_hour=5&to_hour=9",
    "/answers/hot-water/paper",
    "/readings",
    "/progress",
    "/papers/hand-over/first",
    "/works/new?finding=short_cycling",
    "/findings/short_cycling/pack",
    "/checks/winter",
    "/checks/service",
    "/checks/commissioning",
)
WAIT_MS = 60_000
SMALLEST_TEXT = (
    "Math.min(...[...document.querySelectorAll('svg.picture text')].map("
    "t => parseFloat(getComputedStyle(t).fontSize) * t.getScreenCTM().a))"
)
"""Height of the smallest letters in a household's pictures [px]."""


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    with running(tmp_path_factory.mktemp("served")) as run:
        fill(run)
        yield run


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as made:
        yield made


class Desk:
    """A reader's own browser window."""

    def __init__(self, chromium: Browser, size: dict[str, int], **more: Any) -> None:
        self.context = chromium.new_context(viewport=size, **more)  # type: ignore[arg-type]
        self.context.set_default_timeout(WAIT_MS)
        self.watched = Watched()
        self.watched.watch(self.context)
        self.page: Page = self.context.new_page()

    def __enter__(self) -> Desk:
        return self

    def __exit__(self, *why: object) -> None:
        self.context.close()
        if why[0] is None:
            assert self.watched.errors == []
            assert all(h.startswith("127.0.0.1:") for h in self.watched.hosts), "no outside requests"


def fits(page: Page) -> bool:
    """No sideways scrolling."""
    return bool(page.evaluate("document.documentElement.scrollWidth <= innerWidth"))


@WIDTHS
def test_an_installers_morning(service: Running, chromium: Browser, size: dict[str, int]) -> None:
    """Which home needs a visit this week, and why?"""
    with Desk(chromium, size) as desk:
        page = desk.page
        sign_in(page, service, "installer")
        expect(page.get_by_role("heading", level=1)).to_have_text("Homes")
        assert fits(page)
        first = page.locator("ol.round > li").first
        expect(first).to_contain_text("Beech End")
        expect(first).to_contain_text("Starts too often")
        page.get_by_label("Find").fill("beech")
        page.get_by_role("button", name="Show").click()
        expect(page.locator("ol.round > li")).to_have_count(1)
        page.get_by_role("link", name="Beech End").click()
        finding = page.locator("#finding-short_cycling")
        expect(finding).to_contain_text("Next:")
        expect(finding.locator("svg.fig")).to_have_count(1)
        assert fits(page)
        finding.get_by_role("button", name="Look closer").click()
        expect(finding.locator(".js-plotly-plot .main-svg").first).to_be_visible(timeout=WAIT_MS)
        page.get_by_role("heading", name="Right now").click()
        live = page.locator('[data-point="flow_temp"]')
        live.scroll_into_view_if_needed()
        expect(live.locator(".age")).to_contain_text("ago")
        page.get_by_role("navigation").get_by_role("link", name="Visits").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Visits")
        assert fits(page)


def test_the_trace_zooms_from_all_days_to_readings_by_keyboard(service: Running, chromium: Browser) -> None:
    with Desk(chromium, DESKTOP) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        page.goto(f"{service.address}/sites/beech-end#trace")
        trace = page.locator("[data-trace]")
        expect(trace).to_have_attribute("data-drawn-ms", re.compile(r"\d+"), timeout=WAIT_MS)
        day = trace.get_by_role("button", name="Day")
        day.focus()
        page.keyboard.press("Enter")
        expect(trace).to_have_attribute("data-zoom-ms", re.compile(r"\d+"), timeout=WAIT_MS)
        expect(trace.locator("[role=status]")).to_contain_text("site's time", timeout=WAIT_MS)
        names = page.evaluate("document.querySelector('[data-trace] .room').data.map(t => t.name)")
        assert {
            "Flow temperature",
            "Outdoor temperature",
            "Heat pump electricity",
            "heating",
            "hot water",
            "a start",
        } <= set(names)
        before = page.evaluate(
            "document.querySelector('[data-trace] .room').layout.xaxis.range.map(v => +new Date(v))"
        )
        page.keyboard.press("ArrowLeft")
        page.wait_for_function(
            "b => +new Date(document.querySelector('[data-trace] .room').layout.xaxis.range[0]) < b",
            arg=before[0],
        )


@pytest.fixture
def untouched(service: Running) -> Iterator[None]:
    """Leave no decision and no job behind for the tests after."""
    yield
    parts = service.parts
    for code in parts.handlings.of_site("beech-end"):
        parts.handlings.undo("beech-end", code, COMMAND_LINE)
    for job in parts.works.page("beech-end", 0, 50)[0]:
        parts.works.remove("beech-end", job.id, COMMAND_LINE)


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_a_job_is_logged_corrected_and_deleted(
    service: Running, chromium: Browser, untouched: None, script: bool
) -> None:
    with Desk(chromium, PHONE, java_script_enabled=script) as desk:
        page = desk.page
        sign_in(page, service, "installer")
        page.goto(f"{service.address}/sites/beech-end")
        card = page.locator("#finding-short_cycling")
        card.get_by_role("link", name="Log a job").click()
        expect(page.get_by_role("checkbox", name="Starts too often")).to_be_checked()
        page.get_by_label("What was done").fill("thermostats <opened>")
        page.get_by_label("Parts used").fill("two valve heads")
        page.get_by_label("Day").fill("2099-01-01")
        page.get_by_role("button", name="Log it", exact=True).click()
        expect(page.get_by_role("alert")).to_contain_text("still to come")
        expect(page.get_by_label("What was done")).to_have_value("thermostats <opened>")
        expect(page.get_by_label("Parts used")).to_have_value("two valve heads")
        expect(page.get_by_role("checkbox", name="Starts too often")).to_be_checked()
        page.get_by_label("Day").fill(datetime.now(UTC).date().isoformat())
        page.get_by_role("button", name="Log it", exact=True).click()
        expect(page.locator("#works > ol")).to_contain_text("thermostats <opened>")
        expect(page.locator("#works > ol")).to_contain_text("Starts too often")
        expect(card.locator(".held")).to_contain_text("Job done, logged by Installer")
        page.get_by_role("link", name="Correct or delete").click()
        page.get_by_label("Time spent, in minutes").fill("45")
        page.get_by_role("checkbox", name="Starts too often").uncheck()
        page.get_by_role("button", name="Save").click()
        expect(page.locator("#works > ol")).to_contain_text("by Installer")
        expect(card.locator(".held")).to_have_count(0)
        page.get_by_role("link", name="Correct or delete").click()
        page.get_by_text("Delete this job").click()
        page.get_by_role("button", name="Delete it").click()
        expect(page.locator("#works > ol")).to_have_count(0)


@pytest.mark.parametrize(
    "size", [PHONE, pytest.param(DESKTOP, marks=pytest.mark.slow)], ids=["phone", "desktop"]
)
def test_a_finding_is_taken_in_hand_muted_and_undone(
    service: Running, chromium: Browser, untouched: None, size: dict[str, int]
) -> None:
    with Desk(chromium, size, bypass_csp=True) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        page.goto(f"{service.address}/sites/beech-end")
        card = page.locator("#finding-short_cycling")
        card.get_by_text("Take in hand, mute, not a fault").click()
        assert violations(page) == []
        card.get_by_label("Who").select_option("installer@heating.example")
        card.get_by_role("button", name="Take in hand").click()
        page.wait_for_url("**#finding-short_cycling")
        expect(card.locator(".held")).to_contain_text("In hand: Installer, until")
        assert violations(page) == []
        page.goto(f"{service.address}/?show=dealt")
        expect(page.locator("ol.round > li")).to_have_count(1)
        expect(page.locator("ol.round > li")).to_contain_text("in hand, Installer until")
        page.goto(f"{service.address}/sites/beech-end")
        card.get_by_text("Take in hand, mute, not a fault").click()
        card.get_by_label("Reason").fill("waits for <parts>")
        card.get_by_label("Until and including").nth(1).fill("2099-01-01")
        card.get_by_role("button", name="Mute").click()
        expect(page.get_by_role("alert")).to_contain_text("366 days from now at most")
        expect(page.get_by_label("Reason")).to_have_value("waits for <parts>")
        assert violations(page) == []
        # In the home's zone it may be tomorrow already.
        soon = datetime.now(UTC).date() + timedelta(1)
        page.get_by_label("Until and including").nth(1).fill(soon.isoformat())
        page.get_by_role("button", name="Mute").click()
        expect(card.locator(".held")).to_contain_text("by Engineer: waits for <parts>.")
        expect(page.locator("main .mark").first).to_contain_text("Needs work")
        page.set_viewport_size({"width": 320, "height": 640})
        assert fits(page)
        card.get_by_role("button", name="Undo").focus()
        page.keyboard.press("Enter")
        expect(card.locator(".held")).to_have_count(0)


@WIDTHS
def test_a_householders_month_by_link(service: Running, chromium: Browser, size: dict[str, int]) -> None:
    """Am I paying more than with the old fuel?"""
    _, text = service.parts.links.make("alder-row", 30, "installer@heating.example")
    with Desk(chromium, size) as desk:
        page = desk.page
        page.goto(f"{service.address}/home/{text}")
        page.wait_for_url("**/sites/alder-row/home")
        assert text not in page.url
        money = page.locator("section", has_text="What did it cost?")
        expect(money).to_contain_text(
            re.compile(r"the electricity used cost .*: (.* (less|more)|about the same)")
        )
        expect(page.locator("svg.picture").first).to_be_visible()
        assert fits(page)
        page.set_viewport_size({"width": 320, "height": size["height"]})
        assert fits(page)
        assert page.evaluate(SMALLEST_TEXT) >= 11.0
        page.set_viewport_size(size)  # type: ignore[arg-type]
        expect(page.get_by_role("navigation")).to_have_count(0)
        answer = page.goto(f"{service.address}/sites/beech-end/home")
        assert answer is not None
        assert answer.status == 404
        expect(page.get_by_role("heading", level=1)).to_have_text("No such site")
        page.goto(f"{service.address}/visits")
        expect(page.get_by_role("heading", level=1)).to_have_text("Forbidden")


def test_a_caller_is_answered_by_keyboard_alone(service: Running, chromium: Browser) -> None:
    """The phone rings: it is cold in the morning."""
    with Desk(chromium, DESKTOP) as desk:
        page = desk.page
        sign_in(page, service, "installer")
        page.goto(f"{service.address}/sites/alder-row")
        page.get_by_role("link", name="Answer a call").focus()
        page.keyboard.press("Enter")
        page.get_by_role("link", name="It is cold").focus()
        page.keyboard.press("Enter")
        page.get_by_label("From hour").focus()
        page.keyboard.press("Control+A")
        page.keyboard.type("5")
        page.keyboard.press("Tab")
        page.keyboard.press("Control+A")
        page.keyboard.type("9")
        page.keyboard.press("Enter")
        page.wait_for_url("**to_hour=9**")
        expect(page.get_by_role("heading", level=1)).to_have_text("Why it is cold")
        expect(page.get_by_text("05:00 to 09:00")).to_be_visible()
        expect(page.get_by_text("Tomorrow:")).to_be_visible()
        assert violations(page) == []
        page.set_viewport_size({"width": 320, "height": 640})
        assert fits(page)


def test_an_engineer_signs_a_home_off_for_winter(service: Running, chromium: Browser) -> None:
    with Desk(chromium, DESKTOP) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        page.get_by_role("link", name="Before winter").click()
        page.get_by_role("link", name="Alder Row").click()
        expect(page.get_by_role("heading", name="Manual checks")).to_be_visible()
        expect(page.locator("table.checks").first.locator("tbody tr")).to_have_count(10)
        page.get_by_role("link", name="Fill in the sheet and sign").click()
        page.get_by_label("What was checked and found").fill("Strainer cleaned, vessel at 1.0 bar.")
        page.get_by_role("button", name="Sign off").click()
        expect(page.locator("#signed")).to_have_count(0)  # boxes are still to tick
        for box in page.get_by_role("checkbox").all():
            box.check()
        page.get_by_role("button", name="Sign off").click()
        expect(page.locator(".problem")).to_contain_text("say done, not done or not applicable")
        for item in page.locator("[data-item]").all():
            item.get_by_role("radio", name="Done", exact=True).check()
        expect(page.locator("#device")).to_have_text("All sent.")
        page.get_by_role("button", name="Sign off").click()
        page.wait_for_url("**/checks/winter/*#signed")
        expect(page.locator("#signed")).to_contain_text("Signed by Engineer on")
        page.goto(f"{service.address}/sites/alder-row#works")
        expect(page.locator("#works > ol")).to_contain_text("vessel at 1.0 bar")
        paper = page.goto(f"{service.address}/sites/alder-row/papers/hand-over/first")
        assert paper is not None
        assert paper.ok
        assert page.evaluate("getComputedStyle(document.querySelector('.top')).display") == "flex", (
            "its styles are loaded"
        )


def test_a_new_firm_comes_from_nothing_to_a_first_result(chromium: Browser, tmp_path: Path) -> None:
    with running(tmp_path / "new") as run, Desk(chromium, DESKTOP) as desk:
        page = desk.page
        page.goto(f"{run.address}/first/{run.parts.accounts.first_user_secret()}")
        page.get_by_label("Your name").fill("Kim")
        page.get_by_label("E-mail").fill("kim@heating.example")
        page.get_by_label("A password").fill(PASSWORD)
        page.get_by_role("button", name="Continue").click()
        page.wait_for_url("**/first-run")
        page.get_by_role("link", name="Fill in a form").click()
        page.get_by_label("Name (needed)", exact=True).fill("Cedar Cottage")
        page.get_by_label("Time zone (needed)").fill("Europe/Londn")
        page.get_by_label("Heat loss", exact=True).fill("6,5")
        page.get_by_role("button", name="Go on to the readings").click()
        zone = page.get_by_label("Time zone (needed)")
        expect(zone).to_have_attribute("aria-invalid", "true")
        expect(page.get_by_label("Heat loss", exact=True)).to_have_value("6,5")
        zone.fill("Europe/London")
        page.get_by_role("button", name="Go on to the readings").click()
        page.wait_for_url("**/sites/cedar-cottage/readings")
        export = tmp_path / "export.csv"
        export.write_text(csv_export(), encoding="utf-8")
        page.get_by_label("CSV file").set_input_files(export)
        page.get_by_role("button", name="Bring it in").click()
        expect(page.get_by_label("What Outside [°C] is")).to_have_value("outdoor_temperature")
        expect(page.get_by_label("How Electricity meter [kWh] is read")).to_have_value("register")
        page.get_by_role("button", name="Take these columns").click()
        page.wait_for_url("**/sites/cedar-cottage/progress")
        expect(page.locator(".good-news")).to_contain_text("readings came in", timeout=WAIT_MS)
        page.get_by_role("link", name="To Cedar Cottage").click()
        expect(page.locator("#figures")).to_be_visible()
        page.get_by_role("heading", name="House, water and efficiency").click()
        expect(page.locator("#weather svg.fig").first).to_be_visible()


@pytest.mark.parametrize(
    ("scheme", "size"),
    [pytest.param("light", DESKTOP, marks=pytest.mark.slow), ("dark", PHONE)],
    ids=["light", "dark phone"],
)
def test_nothing_stands_in_anybodys_way(
    service: Running, chromium: Browser, scheme: str, size: dict[str, int]
) -> None:
    """axe-core finds nothing serious on any page, and none scrolls sideways."""
    with Desk(chromium, size, color_scheme=scheme, bypass_csp=True) as desk:
        page = desk.page
        sign_in(page, service, "installer")
        for path in (*FIRM_PAGES, *(f"/sites/beech-end{p}" for p in SITE_PAGES), "/sign-in"):
            page.goto(service.address + path)
            assert violations(page) == [], path
            assert fits(page), path


def test_the_keyboard_alone_reaches_the_content(service: Running, chromium: Browser) -> None:
    with Desk(chromium, DESKTOP) as desk:
        page = desk.page
        sign_in(page, service, "installer")
        page.goto(service.address)
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "Skip to the content"
        page.keyboard.press("Enter")
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.name") == "q"
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline == "solid", "the focus is seen"


def test_a_closer_look_keeps_the_readers_place(service: Running, chromium: Browser) -> None:
    with Desk(chromium, DESKTOP) as desk:
        page = desk.page
        sign_in(page, service, "installer")
        page.goto(f"{service.address}/sites/beech-end")
        figure = page.locator("figure", has=page.get_by_role("button", name="Look closer")).first
        figure.get_by_role("button", name="Look closer").focus()
        page.keyboard.press("Enter")
        expect(page.locator(".drawn.room").first).to_be_focused(timeout=WAIT_MS)


def test_pages_are_whole_without_script(service: Running, chromium: Browser) -> None:
    with Desk(chromium, PHONE, java_script_enabled=False) as desk:
        page = desk.page
        sign_in(page, service, "installer")
        page.goto(f"{service.address}/sites/beech-end")
        page.get_by_role("heading", name="Trace").click()
        expect(page.locator("[data-trace] svg.fig").first).to_be_visible()
        page.get_by_role("heading", name="Right now").click()
        expect(page.locator('[data-point="flow_temp"] .value')).to_contain_text("°C")
        # Buttons that nothing would answer to.
        expect(page.locator("[data-trace] .acts").first).to_be_hidden()
        page.locator("figure summary").first.click()
        page.locator("figure details[open] a").first.click()
        expect(page.locator("main table").first).to_be_visible()
