"""Evidence and pages of several homes in a real browser: links, keyboard, touch, on phone and laptop."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect

from fieldfare.api.people.access import COMMAND_LINE
from tests.dashboards.browser import DESKTOP, PHONE, Running, browser, fill, running, sign_in
from tests.dashboards.every_page import violations
from tests.dashboards.test_browser import WAIT_MS, Desk, fits

SMALL, LAPTOP = {"width": 320, "height": 640}, {"width": 1280, "height": 800}
PAGES = (
    "/live",
    "/compare?a=alder-row&b=beech-end",
    "/homes/chosen?site=alder-row&site=beech-end",
    "/homes/report?site=beech-end",
    "/?show=drive",
    "/sites/beech-end",
)
RANGE = (
    "document.querySelector('[data-trace] .room').layout.xaxis.range.map(v => +new Date(typeof v === 'number'"
    " ? v : v.replace(' ', 'T') + 'Z'))"
)


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    with running(tmp_path_factory.mktemp("served")) as run:
        fill(run)
        yield run


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as made:
        yield made


def ends(page: Page) -> list[float]:
    return page.evaluate(RANGE)  # type: ignore[no-any-return]


def zoomed(page: Page) -> None:
    expect(page.locator("[data-trace]")).to_have_attribute(
        "data-zoom-ms", re.compile(r"\d+"), timeout=WAIT_MS
    )
    expect(page.locator("[data-trace] [role=status]")).to_contain_text("site's time", timeout=WAIT_MS)


def test_from_a_finding_to_the_event_on_by_key_and_by_link_to_a_colleague(
    service: Running, chromium: Browser
) -> None:
    with Desk(chromium, DESKTOP) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        page.goto(f"{service.address}/sites/beech-end")
        page.locator("#finding-short_cycling").get_by_role("link", name="See one in the trace").click()
        zoomed(page)
        status = page.locator("[data-trace] [role=status]")
        expect(status).to_contain_text("Run of ", timeout=WAIT_MS)
        shown = parse_qs(urlsplit(page.url).query)
        at = int(shown["mark"][0].split(".")[1]) * 1000
        marks = page.evaluate("document.querySelector('[data-trace] .room').layout.shapes.length")
        assert marks == 1
        first, last = ends(page)
        assert last - first < 12 * 3_600_000
        assert abs((first + last) / 2 - at) < 15 * 3_600_000
        named = status.inner_text().split(")")[0]
        page.locator("[data-trace] .room").focus()
        page.keyboard.press("Shift+R")
        expect(status).not_to_contain_text(named, timeout=WAIT_MS)
        expect(status).to_contain_text("Run of ", timeout=WAIT_MS)
        zoomed(page)
        before = page.url
        assert parse_qs(urlsplit(before).query)["mark"] != shown["mark"]
        page.get_by_role("button", name="Next run").press("Enter")
        expect(status).to_contain_text(named, timeout=WAIT_MS)
        zoomed(page)
        expect(page.get_by_role("link", name="Link to this view")).to_have_attribute("href", page.url)
        link = page.url
    with Desk(chromium, PHONE) as other:
        page = other.page
        sign_in(page, service, "installer")
        page.goto(link)
        zoomed(page)
        expect(page.locator("[data-trace] [role=status]")).to_contain_text(named)
        assert ends(page) == pytest.approx([first, last], abs=61_000)


def test_several_values_are_read_at_one_moment_by_key(service: Running, chromium: Browser) -> None:
    with Desk(chromium, DESKTOP) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        page.goto(f"{service.address}/sites/beech-end#trace")
        expect(page.locator("[data-trace]")).to_have_attribute(
            "data-drawn-ms", re.compile(r"\d+"), timeout=WAIT_MS
        )
        page.get_by_role("button", name="Day", exact=True).click()
        zoomed(page)
        slide = page.get_by_label("Read all values at one time")
        slide.focus()
        page.keyboard.press("ArrowRight")
        told = page.locator(".reading li").all_inner_texts()
        values = {t.split("\n")[0].strip(): t.split("\n")[-1] for t in told}
        assert {"Flow temperature", "Outdoor temperature", "Heat pump electricity", "Use"} <= set(values)
        assert re.search(r"\d °C$", values["Flow temperature"])
        assert re.search(r"\d kW$", values["Heat pump electricity"])
        assert "Flow temperature" in (slide.get_attribute("aria-valuetext") or "")
        line = page.locator(".crosshair")
        expect(line).to_be_visible()
        left = line.bounding_box()
        for _ in range(40):
            page.keyboard.press("ArrowRight")
        assert left is not None
        assert (line.bounding_box() or left)["x"] > left["x"]


def fingers(page: Page, *steps: list[tuple[float, float]]) -> None:
    """Touch the page with one finger or more: each step has a place for every finger."""
    client = page.context.new_cdp_session(page)
    for i, places in enumerate(steps):
        points = [{"x": x, "y": y, "id": n} for n, (x, y) in enumerate(places)]
        kind = "touchStart" if i == 0 else "touchMove"
        client.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        page.wait_for_timeout(40)
    client.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    page.wait_for_timeout(250)


def test_a_swipe_pans_a_pinch_zooms_and_the_page_scrolls_past(service: Running, chromium: Browser) -> None:
    with Desk(chromium, PHONE, has_touch=True, is_mobile=True) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        page.goto(f"{service.address}/sites/beech-end#trace")
        room = page.locator("[data-trace] .room")
        expect(page.locator("[data-trace]")).to_have_attribute(
            "data-drawn-ms", re.compile(r"\d+"), timeout=WAIT_MS
        )
        room.evaluate("e => e.scrollIntoView({block: 'center'})")
        page.wait_for_timeout(200)
        at = room.bounding_box()
        assert at is not None
        x, y = at["x"] + at["width"] / 2, at["y"] + at["height"] / 2
        before, down = ends(page), page.evaluate("scrollY")
        fingers(page, *[[(x + 80 - 20 * i, y)] for i in range(9)])
        panned = ends(page)
        assert panned[0] > before[0], "a swipe to the left shows later days"
        assert panned[1] - panned[0] == pytest.approx(before[1] - before[0], rel=0.01)
        assert page.evaluate("scrollY") == down
        fingers(page, *[[(x - 30 - 8 * i, y), (x + 30 + 8 * i, y)] for i in range(8)])
        pinched = ends(page)
        assert pinched[1] - pinched[0] < 0.7 * (panned[1] - panned[0]), "fingers apart zoom in"
        held = ends(page)
        fingers(page, *[[(x, y - 30 * i)] for i in range(9)])
        page.wait_for_timeout(300)
        assert page.evaluate("scrollY") > down + 60, "a finger up scrolls the page past the plot"
        assert ends(page) == pytest.approx(held, abs=1)


@pytest.mark.parametrize(
    "size", [SMALL, pytest.param(PHONE, marks=pytest.mark.slow), LAPTOP], ids=["320", "phone", "laptop"]
)
def test_figures_are_readable_in_every_width(
    service: Running, chromium: Browser, size: dict[str, int]
) -> None:
    """Text of at least 11 pixels inside its drawing, legends and ticks that don't overlap."""
    with Desk(chromium, size, java_script_enabled=True) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        for path in ("/sites/beech-end", "/compare?a=alder-row&b=beech-end"):
            page.goto(f"{service.address}{path}")
            page.evaluate("document.querySelectorAll('main details').forEach(d => d.open = true)")
            assert fits(page)
            if size is SMALL:
                assert sideways(page) == [], path
            found = page.evaluate(
                """() => [...document.querySelectorAll('svg.fig:not(.picture)')].map(f => {
                    const box = f.getBoundingClientRect();
                    const texts = [...f.querySelectorAll('text')].map(t => {
                        const b = t.getBoundingClientRect();
                        const size = parseFloat(getComputedStyle(t).fontSize) * t.getScreenCTM().a;
                        const box = [b.left, b.top, b.right, b.bottom];
                        return [t.textContent, t.getAttribute('class'), ...box, size];
                    });
                    return [f.getAttribute('aria-label').slice(0, 40), box.left, box.right, texts];
                })"""
            )
            assert len(found) >= 3
            for name, left, right, texts in found:
                assert min(t[6] for t in texts) >= 11.0, (name, min(texts, key=lambda t: t[6]))
                assert all(left - 2 <= t[2] and t[4] <= right + 2 for t in texts), name
                assert not overlapping([t for t in texts if t[1] == "key"]), name
                assert not overlapping([t for t in texts if t[1] == "tick"]), name


def sideways(page: Page) -> list[str]:
    """Elements whose content can only be seen by scrolling sideways."""
    found = page.evaluate(
        """() => [...document.querySelectorAll('main *')].filter(e => e.checkVisibility()
            && getComputedStyle(e).overflowX !== 'visible' && e.scrollWidth > e.clientWidth + 1
            && !e.closest('svg, summary, .visually-hidden')).map(e => e.outerHTML.slice(0, 120))"""
    )
    return list(found)


def overlapping(texts: list[Any]) -> list[tuple[str, str]]:
    """Pairs of texts whose boxes cover each other by more than a pixel."""
    return [
        (a[0], b[0])
        for i, a in enumerate(texts)
        for b in texts[i + 1 :]
        if min(a[4], b[4]) - max(a[2], b[2]) > 1 and min(a[5], b[5]) - max(a[3], b[3]) > 4
    ]


@pytest.mark.parametrize("size", [SMALL, pytest.param(LAPTOP, marks=pytest.mark.slow)], ids=["320", "laptop"])
def test_every_page_passes_axe_and_needs_no_sideways_scrolling(
    service: Running, chromium: Browser, size: dict[str, int]
) -> None:
    with Desk(chromium, size, bypass_csp=True) as desk:
        page = desk.page
        sign_in(page, service, "installer")
        for path in PAGES:
            page.goto(f"{service.address}{path}")
            assert fits(page), path
            if size is SMALL:
                assert sideways(page) == [], path
            assert violations(page) == [], path


def test_sections_stay_in_reach_and_a_laptop_s_page_is_short(service: Running, chromium: Browser) -> None:
    for size in (PHONE, LAPTOP):
        with Desk(chromium, size) as desk:
            page = desk.page
            sign_in(page, service, "engineer")
            page.goto(f"{service.address}/sites/beech-end#losses")
            page.wait_for_timeout(300)
            nav = page.get_by_role("navigation", name="On this page")
            expect(nav).to_have_count(1)
            assert (nav.bounding_box() or {"y": 99})["y"] < 5
            if size is PHONE:
                nav.get_by_text("Sections of this page").click()
            nav.get_by_role("link", name="Findings").click()
            page.wait_for_timeout(300)
            heading = page.get_by_role("heading", name="Findings").bounding_box()
            bar = nav.bounding_box()
            assert heading is not None
            assert bar is not None
            if size is LAPTOP:
                assert heading["y"] >= bar["y"] + bar["height"] - 2, (
                    "the bar does not cover what was asked for"
                )
                first, figures = (page.locator(f"#{k}").bounding_box() for k in ("findings", "figures"))
                assert first is not None
                assert figures is not None
                assert figures["x"] > first["x"], "what belongs together stands side by side"
                assert abs(figures["y"] - first["y"]) < 5


SECTIONS = ("sides", "now", "trace", "weather", "events", "losses", "works", "data")


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_what_matters_stands_open_and_a_link_unfolds_the_rest(
    service: Running, chromium: Browser, script: bool
) -> None:
    with Desk(chromium, PHONE, java_script_enabled=script) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        page.goto(f"{service.address}/sites/beech-end")
        expect(page.locator("#finding-short_cycling")).to_be_visible()
        expect(page.locator("#figures")).to_be_visible()
        for at in SECTIONS:
            expect(page.locator(f"#{at}")).to_be_hidden()
        page.get_by_text("Sections of this page").click()
        page.get_by_role("link", name="Losses").click()
        expect(page.locator("#losses svg.bridge")).to_be_in_viewport()
        page.goto(f"{service.address}/live")
        page.goto(f"{service.address}/sites/beech-end#now")
        expect(page.locator('[data-point="flow_temp"] .value')).to_be_visible()
        page.emulate_media(media="print")
        for at in set(SECTIONS) - {"events"}:  # fetched when it is opened; its line is printed
            expect(page.locator(f"#{at}")).to_be_visible()
        expect(page.get_by_label("What was done")).to_be_hidden()


def test_a_home_s_page_is_a_few_screens_long(service: Running, chromium: Browser) -> None:
    """As folded: one open finding with its plot, the figures, the tasks, and a line for each section."""
    for size, most in ((PHONE, 5.5), (LAPTOP, 2.8)):
        with Desk(chromium, size) as desk:
            page = desk.page
            sign_in(page, service, "engineer")
            page.goto(f"{service.address}/sites/beech-end")
            screens = page.evaluate("document.documentElement.scrollHeight / innerHeight")
            assert screens < most


def test_several_homes_are_taken_in_hand_by_keyboard_without_script(
    service: Running, chromium: Browser
) -> None:
    with Desk(chromium, PHONE, java_script_enabled=False) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        page.goto(f"{service.address}/")
        page.get_by_role("checkbox", name="Choose Beech End").press("Space")
        page.get_by_role("button", name="With the ticked homes").press("Enter")
        expect(page.get_by_role("checkbox", name="Starts too often")).to_be_checked()
        page.get_by_role("button", name="Take in hand").press("Enter")
        expect(page.get_by_role("status")).to_contain_text("Starts too often, Beech End")
        assert fits(page)
        for code in service.parts.handlings.of_site("beech-end"):
            service.parts.handlings.undo("beech-end", code, COMMAND_LINE)


def test_a_view_is_kept_and_the_live_overview_renews_itself(service: Running, chromium: Browser) -> None:
    with Desk(chromium, DESKTOP) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        page.goto(f"{service.address}/?sort=age")
        page.get_by_text("Keep this view").click()
        page.get_by_label("Name of the view").fill("oldest first")
        page.get_by_role("button", name="Keep it").click()
        expect(page.get_by_role("link", name="oldest first")).to_have_attribute("aria-current", "page")
        page.goto(f"{service.address}/live")
        expect(page.locator(".units li")).to_have_count(2)
        stamp = page.locator("#live-part .lead .small").inner_text()
        page.wait_for_timeout(1100)
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        expect(page.locator("#live-part .lead .small")).not_to_have_text(stamp, timeout=WAIT_MS)


def test_folded_figures_and_numbers_come_when_they_are_opened(service: Running, chromium: Browser) -> None:
    with Desk(chromium, PHONE) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        page.goto(f"{service.address}/sites/beech-end")
        calendars = page.locator("details.section", has=page.locator("#events"))
        assert calendars.locator("svg").count() == 0
        calendars.locator("summary").first.focus()
        page.keyboard.press("Enter")
        drawn = calendars.locator("figure svg.fig")
        expect(drawn.first).to_be_visible(timeout=WAIT_MS)
        expect(calendars.get_by_role("button", name="Look closer").first).to_be_visible()
        numbers = calendars.locator("details", has_text="Numbers").first
        numbers.locator("summary").click()
        expect(numbers.get_by_role("table")).to_be_visible(timeout=WAIT_MS)
        assert fits(page)
        count = calendars.locator("figure[data-figure]").count()
        for _ in range(2):
            calendars.locator("summary").first.click()
        expect(drawn.first).to_be_visible()
        assert calendars.locator("figure[data-figure]").count() == count, "fetched once"


def test_folded_figures_have_pages_of_their_own_without_script(service: Running, chromium: Browser) -> None:
    with Desk(chromium, PHONE, java_script_enabled=False) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        page.goto(f"{service.address}/sites/beech-end")
        page.get_by_role("heading", name="Calendars").click()
        page.locator("#events .later a").click()
        expect(page.locator("figure svg.fig").first).to_be_visible()
        page.locator("figure details > summary").first.click()
        page.locator("figure details .later a").first.click()
        expect(page.get_by_role("table")).to_be_visible()
        page.locator("p.acts a").click()
        page.wait_for_url("**/sites/beech-end#figure-*")
