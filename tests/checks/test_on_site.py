"""Accessibility of on-site pages: axe, 320 pixels, keyboard, no scripts."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.checks.field import (
    HOME,
    add_photos,
    answer,
    entries,
    installation,
    item,
    let_in,
    phone,
    sheet_address,
    status,
    take_along,
)
from tests.checks.pictures import photo
from tests.dashboards.browser import Running, browser
from tests.dashboards.every_page import violations
from tests.dashboards.test_browser import fits


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    with installation(tmp_path_factory.mktemp("served")) as made:
        yield made


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as made:
        yield made


def is_sound(page: Page) -> None:
    """axe finds nothing, and 320 pixels are wide enough (WCAG 2.2, 1.4.10 Reflow)."""
    assert violations(page) == []
    page.set_viewport_size({"width": 320, "height": 700})
    assert fits(page)
    page.set_viewport_size({"width": 1280, "height": 900})
    assert fits(page)
    assert violations(page) == []


@pytest.mark.parametrize("scheme", ["light", pytest.param("dark", marks=pytest.mark.slow)])
def test_pages_are_accessible_in_every_state(run: Running, chromium: Browser, scheme: str) -> None:
    with phone(chromium, color_scheme=scheme) as context:
        page = context.new_page()
        let_in(page, run, "installer")
        page.goto(f"{run.address}/checks/lists")
        page.get_by_label("Items, as TOML").fill("[[item]\n")
        page.get_by_role("button", name="Keep").click()
        expect(page.get_by_role("alert")).to_contain_text("TOML")
        is_sound(page)
        take_along(page, run, "Alder Row")
        is_sound(page)
        page.goto(sheet_address(run, "service"))
        page.locator(".known summary").click()
        answer(page, "vessel", "Not done")
        item(page, "pressure").get_by_role("textbox", name="Cold").fill("18")
        expect(item(page, "pressure").get_by_text("18 can't be right")).to_be_visible()
        add_photos(page, "strainer", 1)
        expect(status(page)).to_have_text("All sent.")
        expect(item(page, "strainer").locator(".photo img")).not_to_have_count(0)
        context.set_offline(True)
        item(page, "vessel").get_by_role("textbox", name="Note").fill(f"mine {scheme}")
        add_photos(page, "vessel", 2)
        expect(status(page)).to_contain_text("1 photo kept on this device, no signal")
        is_sound(page)
        context.set_offline(False)
        expect(status(page)).to_have_text("All sent.")


def test_a_conflict_is_accessible_and_solved_by_keyboard(run: Running, chromium: Browser) -> None:
    with phone(chromium) as one, phone(chromium) as two:
        here, there = one.new_page(), two.new_page()
        for page, who in ((here, "engineer"), (there, "second")):
            let_in(page, run, who)
            page.goto(sheet_address(run, "commissioning"))
            expect(status(page)).to_have_text("Nothing is entered yet.")
        one.set_offline(True)
        item(here, "flow").get_by_role("textbox", name="Flow").fill("0.7")
        item(there, "flow").get_by_role("textbox", name="Flow").fill("0.9")
        expect(status(there)).to_have_text("All sent.")
        one.set_offline(False)
        mine = item(here, "flow").get_by_role("button", name="Keep mine: 0.7")
        expect(mine).to_be_visible()
        is_sound(here)
        mine.focus()
        here.keyboard.press("Enter")
        expect(status(here)).to_have_text("All sent.")
        first = item(here, "vessel").get_by_role("radio", name="Done", exact=True)
        first.focus()
        here.keyboard.press("Space")
        here.keyboard.press("ArrowRight")
        expect(item(here, "vessel").get_by_role("radio", name="Not done")).to_be_checked()
        expect(status(here)).to_have_text("All sent.")
    kept = entries(run, kind="commissioning")
    assert (kept["flow"]["found"][0]["value"], kept["vessel"]["state"]) == ("0.7", "not_done")


def test_without_scripts_it_is_a_plain_form(run: Running, chromium: Browser) -> None:
    with phone(chromium, java_script_enabled=False) as context:
        page = context.new_page()
        let_in(page, run, "engineer")
        page.goto(f"{run.address}/sites/beech-end/checks/winter")
        answer(page, "vessel")
        item(page, "vessel").get_by_label("Pre-charge").first.fill("1,1")
        file = {"name": "g.jpg", "mimeType": "image/jpeg", "buffer": photo(900, 600)}
        item(page, "vessel").locator("input[type=file]").set_input_files([file])  # type: ignore[list-item]
        page.get_by_role("button", name="Save").click()
        page.wait_for_url("**#saved")
        expect(item(page, "vessel").get_by_role("radio", name="Done", exact=True)).to_be_checked()
        expect(item(page, "vessel").locator(".photo img")).to_have_count(1)
        item(page, "vessel").get_by_role("button", name="Remove").click()
        expect(item(page, "vessel").locator(".photo img")).to_have_count(0)
    kept = entries(run, "beech-end")["vessel"]
    assert (kept["state"], kept["found"][0]["value"], kept["photos"]) == ("done", "1,1", [])


def test_the_app_can_be_installed_and_photos_of_a_job_are_made_smaller(
    run: Running, chromium: Browser
) -> None:
    with phone(chromium) as context:
        page = context.new_page()
        let_in(page, run, "engineer")
        page.goto(f"{run.address}/field")
        page.evaluate("navigator.serviceWorker.ready.then(() => 1)")
        session = context.new_cdp_session(page)
        assert session.send("Page.getInstallabilityErrors")["installabilityErrors"] in (
            [],
            [{"errorId": "in-incognito", "errorArguments": []}],
        )
        page.goto(f"{run.address}/sites/{HOME}/works/new")
        page.get_by_label("What was done").fill("strainer cleaned")
        file = {"name": "big.png", "mimeType": "image/png", "buffer": photo(2600, 1900, "PNG")}
        page.get_by_label("Photos").set_input_files([file])  # type: ignore[list-item]
        expect(page.get_by_text("1 chosen")).to_be_visible()
        sent = page.get_by_label("Photos").evaluate("e => [e.files[0].type, e.files[0].size]")
        assert (sent[0], sent[1] < 500_000) == ("image/jpeg", True)
        page.get_by_role("button", name="Log it").click()
        page.wait_for_url(f"**/sites/{HOME}#job-*")
        expect(page.locator(".job-photos img")).to_have_count(1)
