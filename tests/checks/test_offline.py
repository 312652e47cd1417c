"""The winter check offline: no network, a killed page, two devices, several people."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Error, expect
from sqlalchemy import func, select

from fieldfare.api.state.check_tables import CheckChange, Photo
from tests.checks.field import (
    HOME,
    WAIT_MS,
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
from tests.dashboards.browser import Running, browser

SETTLED = re.compile(r"(All sent|Nothing is entered yet)\.")
"""What a page says of an empty or a wholly sent sheet."""


@pytest.fixture
def run(tmp_path: Path) -> Iterator[Running]:
    with installation(tmp_path / "served") as made:
        yield made


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as made:
        yield made


def rows(run: Running, table: type) -> int:
    with run.parts.service.database.read() as session:
        return session.scalar(select(func.count()).select_from(table)) or 0


def test_ten_items_and_two_photos_without_a_signal_are_sent_once_each(
    run: Running, chromium: Browser
) -> None:
    with phone(chromium) as context:
        page = context.new_page()
        let_in(page, run, "engineer")
        take_along(page, run, "Alder Row", "Beech End")
        context.set_offline(True)
        page.goto(sheet_address(run))
        expect(page.get_by_role("heading", level=1)).to_contain_text("Check before winter")
        names = [e.get_attribute("data-item") or "" for e in page.locator("[data-item]").all()][:10]
        assert len(names) == 10
        for name in names:
            answer(page, name)
        item(page, "pressure").get_by_role("textbox", name="Cold").fill("1,4")
        item(page, "pressure").get_by_role("textbox", name="Hot").fill("1.9")
        item(page, "strainer").get_by_role("textbox", name="Note").fill("gasket worn, new one fitted")
        add_photos(page, "strainer", 1, 2)
        expect(item(page, "strainer").locator(".waits")).to_have_count(2)
        expect(status(page)).to_contain_text("13 entries and 2 photos kept on this device, no signal")
        assert rows(run, CheckChange) == rows(run, Photo) == 0
        page.close()  # the phone kills the app

        page = context.new_page()
        page.goto(sheet_address(run))
        expect(item(page, "pressure").get_by_role("textbox", name="Cold")).to_have_value("1,4")
        expect(item(page, "strainer").get_by_role("textbox", name="Note")).to_have_value(
            "gasket worn, new one fitted"
        )
        expect(item(page, "strainer").locator(".waits img")).to_have_count(2)
        expect(page.locator("#answered")).to_have_text("10")
        expect(page.get_by_role("button", name="Sign off")).to_be_disabled()
        context.set_offline(False)
        expect(status(page)).to_have_text("All sent.")
        expect(item(page, "strainer").locator(".photo:not(.waits) img")).to_have_count(2)
        page.reload()
        expect(status(page)).to_have_text(SETTLED)
    kept = entries(run)
    assert [kept[n]["state"] for n in names] == ["done"] * 10
    assert [f["value"] for f in kept["pressure"]["found"]] == ["1,4", "1.9"]
    assert kept["strainer"]["who"] == "Engineer"
    assert (rows(run, CheckChange), rows(run, Photo)) == (13, 2)
    for row in run.parts.photos.of_site(HOME):
        assert max(row.width, row.height) == 1600, "scaled down on the device"


def test_an_answer_that_got_lost_is_no_conflict_and_nothing_is_kept_twice(
    run: Running, chromium: Browser
) -> None:
    with phone(chromium) as context:
        page = context.new_page()
        let_in(page, run, "engineer")
        page.goto(sheet_address(run))
        expect(status(page)).to_have_text(SETTLED)
        lost = [0]

        def lose(route, request):  # type: ignore[no-untyped-def]
            lost[0] += 1
            if lost[0] <= 2:
                route.fetch()  # the service gets it, the phone hears nothing
                route.abort()
            else:
                route.continue_()

        context.route("**/changes", lose)
        item(page, "vessel").get_by_role("textbox", name="Note").fill("first")
        expect(status(page)).to_contain_text("1 entry kept on this device, no signal")
        item(page, "vessel").get_by_role("textbox", name="Note").fill("first and second")
        expect(status(page)).to_have_text("All sent.", timeout=WAIT_MS)
        expect(page.locator("[data-clash]:visible")).to_have_count(0)
        assert lost[0] >= 3
    assert entries(run)["vessel"]["note"] == "first and second"
    with run.parts.service.database.read() as session:
        values = list(session.scalars(select(CheckChange.value).where(CheckChange.item == "vessel")))
    assert values == ["first", "first and second"]


def test_two_devices_at_once_show_both_values_and_one_is_chosen(run: Running, chromium: Browser) -> None:
    with phone(chromium) as one, phone(chromium) as two:
        here, there = one.new_page(), two.new_page()
        for page, who in ((here, "engineer"), (there, "second")):
            let_in(page, run, who)
            page.goto(sheet_address(run))
            expect(status(page)).to_have_text(SETTLED)
        take_along(here, run, "Alder Row")
        here.goto(sheet_address(run))
        one.set_offline(True)
        item(here, "pressure").get_by_role("textbox", name="Cold").fill("1.2")
        answer(here, "electrics")
        item(here, "insulation").get_by_role("textbox", name="Note").fill("mine")
        item(there, "pressure").get_by_role("textbox", name="Cold").fill("1.8")
        item(there, "pressure").get_by_role("textbox", name="Hot").fill("2.1")
        item(there, "insulation").get_by_role("textbox", name="Note").fill("theirs")
        answer(there, "electrics", "Done")
        expect(status(there)).to_have_text("All sent.")
        one.set_offline(False)
        clash = item(here, "pressure").locator("[data-clash]")
        expect(clash).to_contain_text(
            re.compile(r"Cold.*you entered “1\.2” \(.+\); Second entered “1\.8” \(.+\)")
        )
        expect(item(here, "pressure").get_by_role("textbox", name="Hot")).to_have_value(
            "2.1"
        )  # another field is no conflict
        expect(
            item(here, "electrics").locator("[data-clash]")
        ).to_be_hidden()  # the same answer is none either
        expect(here.get_by_role("button", name="Sign off")).to_be_disabled()
        assert entries(run)["pressure"]["found"][0]["value"] == "1.8", "nothing is overwritten in silence"
        here.reload()
        expect(clash).to_be_visible()
        clash.get_by_role("button", name="Keep mine: 1.2").click()
        item(here, "insulation").get_by_role("button", name="Take theirs: theirs").click()
        expect(status(here)).to_have_text("All sent.")
        expect(item(here, "insulation").get_by_role("textbox", name="Note")).to_have_value("theirs")
        there.reload()
        expect(item(there, "pressure").get_by_role("textbox", name="Cold")).to_have_value("1.2")
        expect(item(there, "pressure").locator("[data-by]")).to_contain_text("Engineer")
    kept = entries(run)
    assert (kept["pressure"]["found"][0]["value"], kept["insulation"]["note"]) == ("1.2", "theirs")


@pytest.mark.slow
def test_two_devices_offline_at_once_and_both_killed_lose_nothing(run: Running, chromium: Browser) -> None:
    with phone(chromium) as one, phone(chromium) as two:
        for context, who, cold, mine in ((one, "engineer", "1.2", "vessel"), (two, "second", "1.8", "flow")):
            page = context.new_page()
            let_in(page, run, who)
            take_along(page, run, "Alder Row")
            context.set_offline(True)
            page.goto(sheet_address(run))
            item(page, "pressure").get_by_role("textbox", name="Cold").fill(cold)
            answer(page, mine)
            add_photos(page, mine, 1)
            expect(status(page)).to_contain_text("1 photo kept on this device, no signal")
            page.close()  # the phone kills the app
        here, there = one.new_page(), two.new_page()
        one.set_offline(False)
        here.goto(sheet_address(run))
        expect(status(here)).to_have_text("All sent.")
        two.set_offline(False)
        there.goto(sheet_address(run))
        clash = item(there, "pressure").locator("[data-clash]")
        expect(clash).to_contain_text("1.2")
        assert entries(run)["pressure"]["found"][0]["value"] == "1.2", "nothing is overwritten in silence"
        clash.get_by_role("button", name="Keep mine: 1.8").click()
        expect(status(there)).to_have_text("All sent.")
    kept = entries(run)
    assert kept["pressure"]["found"][0]["value"] == "1.8"
    assert (kept["vessel"]["who"], kept["flow"]["who"]) == ("Engineer", "Second")
    assert [len(kept[n]["photos"]) for n in ("vessel", "flow")] == [1, 1]


def test_a_sheet_signed_meanwhile_is_told_and_nothing_is_lost(run: Running, chromium: Browser) -> None:
    with phone(chromium) as one, phone(chromium) as two:
        here, there = one.new_page(), two.new_page()
        let_in(here, run, "engineer")
        take_along(here, run, "Alder Row")
        here.goto(sheet_address(run))
        one.set_offline(True)
        item(here, "vessel").get_by_role("textbox", name="Pre-charge").fill("0.9")
        let_in(there, run, "second")
        there.goto(sheet_address(run))
        for each in there.locator("[data-item]").all():
            each.get_by_role("radio", name="Done", exact=True).check()
        expect(status(there)).to_have_text("All sent.")
        there.get_by_label("What was checked and found").fill("all well")
        for box in there.get_by_role("checkbox").all():
            box.check()
        there.get_by_role("button", name="Sign off").click()
        there.wait_for_url("**#signed")
        one.set_offline(False)
        clash = item(here, "vessel").locator("[data-clash]")
        expect(clash).to_contain_text("The sheet is signed; open it again to change it.")
        expect(clash).to_contain_text("“0.9”")
        here.goto(sheet_address(run))
        expect(here.locator("#signed")).to_contain_text("Signed by Second")
        here.get_by_role("button", name="Open it again").click()
        expect(here.get_by_role("button", name="Sign off")).to_be_disabled()
        item(here, "vessel").get_by_role("textbox", name="Pre-charge").fill("0.9")
        expect(status(here)).to_have_text("All sent.")
    assert entries(run)["vessel"]["found"][0]["value"] == "0.9"


def test_a_session_that_ended_keeps_entries_until_the_same_person_is_back(
    run: Running, chromium: Browser
) -> None:
    """The second secret of the kept page is an old one: sending takes the new session's."""
    with phone(chromium) as context:
        page = context.new_page()
        let_in(page, run, "engineer")
        page.goto(sheet_address(run))
        expect(status(page)).to_have_text(SETTLED)
        secret = next(c["value"] for c in context.cookies() if c["name"] == "fieldfare")
        run.parts.sign_in.sign_out(secret)
        answer(page, "vessel")
        expect(status(page)).to_contain_text("Sign in to send")
        assert entries(run)["vessel"]["state"] == ""
        let_in(page, run, "second")  # somebody else: nothing of the first is shown or sent
        page.goto(sheet_address(run))
        expect(status(page)).to_have_text(SETTLED)
        expect(page.locator("#answered")).to_have_text("0")
        context.clear_cookies()
        let_in(page, run, "engineer")
        page.goto(sheet_address(run))
        expect(status(page)).to_have_text(SETTLED)
        expect(page.locator("#answered")).to_have_text("1")
    assert (entries(run)["vessel"]["state"], entries(run)["vessel"]["who"]) == ("done", "Engineer")


KEPT = """async () => {
  const out = [];
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    out.push(...(await cache.keys()).map((r) => new URL(r.url).pathname));
  }
  return out;
}"""


def test_signing_out_clears_the_device(run: Running, chromium: Browser) -> None:
    with phone(chromium) as context:
        page = context.new_page()
        let_in(page, run, "engineer")
        take_along(page, run, "Alder Row")
        page.goto(sheet_address(run))
        expect(status(page)).to_have_text(SETTLED)
        context.set_offline(True)
        answer(page, "vessel")
        expect(status(page)).to_contain_text("1 entry kept")
        context.set_offline(False)
        expect(status(page)).to_have_text("All sent.")
        assert any("/checks/" in path for path in page.evaluate(KEPT))
        page.get_by_role("button", name=re.compile("Sign out")).click()
        page.wait_for_url("**/sign-in")
        assert not [path for path in page.evaluate(KEPT) if not path.startswith("/static/")]
        assert page.evaluate("async () => (await indexedDB.databases()).map((d) => d.name)") == []
        context.set_offline(True)
        told = ""
        try:
            page.goto(sheet_address(run))
        except Error as error:
            told = str(error)
        # Either the worker is gone too, or it answers with nothing of anybody.
        assert "ERR_" in told or page.get_by_role("heading", name="No signal").count() == 1


def test_unsent_entries_are_asked_about_before_they_are_deleted(run: Running, chromium: Browser) -> None:
    with phone(chromium) as context:
        page = context.new_page()
        let_in(page, run, "engineer")
        page.goto(sheet_address(run))
        expect(status(page)).to_have_text(SETTLED)
        context.route("**/field/session.json", lambda route: route.abort())
        answer(page, "vessel")
        expect(status(page)).to_contain_text("1 entry kept on this device, no signal")
        asked: list[str] = []
        page.on("dialog", lambda d: (asked.append(d.message), d.dismiss()))
        with page.expect_event("dialog"):
            page.get_by_role("button", name=re.compile("Sign out")).click()
        expect(status(page)).to_contain_text("1 entry kept")
        assert asked == ["1 entry or photo on this device not sent yet will be deleted. Sign out?"]
        assert "/checks/" in page.url


@pytest.mark.parametrize("other", ["second", "householder"])
def test_one_person_s_pages_are_never_shown_to_another(run: Running, chromium: Browser, other: str) -> None:
    """Without signing out: the cookie goes, another signs in by the same browser, and the network ends."""
    with phone(chromium) as context:
        page = context.new_page()
        let_in(page, run, "engineer")
        take_along(page, run, "Alder Row", "Beech End")
        context.clear_cookies()
        person = run.parts.accounts.find(f"{other}@heating.example")
        assert person is not None
        secret = run.parts.sign_in.open_for_person(
            person.id
        )  # as by a link: the page to sign in is never seen
        context.add_cookies([{"name": "fieldfare", "value": secret, "url": run.address}])
        page.goto(f"{run.address}/sites/{HOME}/home")
        context.set_offline(True)
        for url in (f"{run.address}/field", sheet_address(run), sheet_address(run, home="beech-end")):
            page.goto(url)
            expect(page.get_by_role("heading", name="No signal")).to_be_visible()


def test_rights_that_were_taken_away_end_what_is_kept(run: Running, chromium: Browser) -> None:
    with phone(chromium) as context:
        page = context.new_page()
        let_in(page, run, "second")
        take_along(page, run, "Alder Row")
        person = run.parts.accounts.find("second@heating.example")
        assert person is not None
        run.parts.accounts.change(person.id, active=False)
        page.goto(f"{run.address}/field")
        page.wait_for_url("**/sign-in")
        context.set_offline(True)
        page.goto(sheet_address(run))
        expect(page.get_by_role("heading", name="No signal")).to_be_visible()


def test_the_phone_tells_dangers_reasons_and_what_the_signature_waits_for(
    run: Running, chromium: Browser
) -> None:
    with phone(chromium) as context:
        page = context.new_page()
        let_in(page, run, "engineer")
        take_along(page, run, "Alder Row")
        expect(status(page)).to_be_in_viewport()
        expect(page.locator(f'[data-here*="/{HOME}/"]')).to_be_visible()
        page.goto(sheet_address(run))
        expect(status(page)).to_have_text(SETTLED)
        context.set_offline(True)
        expect(page.locator("#not-yet")).to_have_text("This can be signed once there is a signal.")
        expect(page.get_by_role("button", name="Sign off")).to_be_disabled()
        before = datetime.now(UTC)
        pressure = item(page, "pressure")
        pressure.get_by_role("textbox", name="Cold").fill("0,7 bar")
        expect(pressure.get_by_text("too little, 0.8 bar at least")).to_be_visible()
        expect(pressure.get_by_text("is no number")).to_have_count(0)
        expect(pressure.get_by_role("radio", name="Done", exact=True)).to_be_checked()
        pressure.get_by_role("textbox", name="Hot").fill("0.6")
        expect(pressure.get_by_text("lower than cold")).to_be_visible()
        answer(page, "vessel", "Not done")
        expect(item(page, "vessel").get_by_text("Say in the note why")).to_be_visible()
        item(page, "vessel").get_by_role("textbox", name="Note").fill("no valve")
        expect(item(page, "vessel").get_by_text("Say in the note why")).to_be_hidden()
        expect(page.locator("#by-hand li")).to_have_count(3)
        page.wait_for_timeout(1500)
        made = datetime.now(UTC)
        page.wait_for_timeout(1500)
        expect(page.locator("#not-yet")).to_have_text("This can be signed once all is sent.")
        answer(page, "flow", "Not applicable")
        chosen = item(page, "flow").get_by_text("Not applicable", exact=True)
        for width in (320, 360, 390):
            page.set_viewport_size({"width": width, "height": 800})
            assert chosen.evaluate("e => e.scrollWidth <= e.clientWidth"), width
        context.set_offline(False)
        expect(status(page)).to_have_text("All sent.")
        page.get_by_label("What was checked").fill("all looked at")
        for tick in page.locator("#signing input[type=checkbox]").all():
            tick.check()
        page.get_by_role("button", name="Sign off").click()
        expect(page.get_by_text("Not signed yet")).to_be_in_viewport()
        expect(page.locator("#signing [name=by_hand]")).to_be_checked()
        page.get_by_role("alert").get_by_role("link").first.click()
        expect(page.locator("fieldset:target")).to_be_in_viewport()
        context.set_offline(True)
        page.goto(run.address)
        expect(page.get_by_text("No signal: that page needs one.")).to_be_visible()
    at = datetime.fromisoformat(entries(run)["pressure"]["at"])
    assert before - timedelta(seconds=1) < at < made, "the time of the entry, not of its sending"
