"""Visits: permissions, refused bookings, contents of and access to calendar feeds."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from html import unescape
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fastapi.testclient import TestClient
from icalendar import Calendar

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.visits.times import BASE_MINUTES, FINDING_MINUTES, visit_minutes
from fieldfare.api.core.service import Service
from fieldfare.api.http.app import PREFIX, create_app
from fieldfare.api.http.app_state import AppState
from fieldfare.api.people.access import COMMAND_LINE
from fieldfare.api.records.erasure import erase_site
from fieldfare.api.records.maintenance_log import Job, MaintenanceLog
from fieldfare.api.visits.bookings import (
    BookingRequest,
    Bookings,
    Clash,
    UnknownVisit,
    moment_of,
)
from fieldfare.api.visits.rows import job_minutes
from fieldfare.dashboards.text.labels import TITLES
from tests.api.conftest import add_site
from tests.api.sites import site_text
from tests.api.test_field_forms import send
from tests.api.web import OTHER, OWN, Web, make_web

NOW = datetime.now(UTC).replace(microsecond=0)
SOON = NOW + timedelta(days=3)
CONTACT = """
[contact]
name = "R. Example"
phone = "+44 1632 960111"
address = "1 Example Row, Exampleton"
latitude = 52.1012
longitude = -2.3034
access_notes = "Key in the box"
"""
FORM = {"day": SOON.date().isoformat(), "at": "09:30", "minutes": "90", "person": "", "note": "ring <twice>"}
VISITS = f"/sites/{OWN}/visits"


@pytest.fixture
def web(service: Service) -> Web:
    """Two homes; the first has a contact."""
    made = make_web(service)
    text = site_text(OWN, "Alder Row") + CONTACT
    service.sites.add([(text, parse_site(text))])
    return made


def number_of(web: Web, role: str) -> int:
    return web.parts.accounts.find(f"{role}@heating.example").id


def test_a_visit_is_booked_changed_and_cancelled(either_service: Service) -> None:
    add_site(either_service, OWN)
    bookings = Bookings(either_service.database)
    row = bookings.book(OWN, BookingRequest(SOON, 60, None, ("low_flow",), "note"), COMMAND_LINE, NOW)
    assert bookings.next_of_each(NOW)[OWN] == row
    later = bookings.change(OWN, row.id, BookingRequest(SOON + timedelta(days=1), 90), COMMAND_LINE, NOW)
    assert (later.sequence, later.minutes, later.uid) == (1, 90, row.uid)
    gone = bookings.cancel(OWN, row.id, COMMAND_LINE, NOW)
    assert (gone.state, gone.sequence) == ("cancelled", 2)
    assert bookings.cancel(OWN, row.id, COMMAND_LINE, NOW).sequence == 2
    assert bookings.next_of_each(NOW) == {}
    assert [r.state for r in bookings.of_site(OWN)] == ["cancelled"]
    assert bookings.change(OWN, row.id, BookingRequest(SOON, 30), COMMAND_LINE, NOW).state == "booked"
    with pytest.raises(UnknownVisit):
        bookings.get(OWN, 999)


@pytest.mark.parametrize(
    ("wish", "said"),
    [
        (BookingRequest(NOW - timedelta(days=2), 60), "is over"),
        (BookingRequest(NOW + timedelta(days=900), 60), "too far ahead"),
        (BookingRequest(SOON, 3), "5 to 720 minutes"),
        (BookingRequest(SOON, 60, 99), "a person of the firm"),
        (BookingRequest(SOON, 60, note="x" * 1001), "at most 1000 are kept"),
    ],
)
def test_what_can_t_be_booked(service: Service, wish: BookingRequest, said: str) -> None:
    add_site(service, OWN)
    with pytest.raises(InputError, match=said):
        Bookings(service.database).book(OWN, wish, COMMAND_LINE, NOW)


def test_nobody_is_at_two_homes_at_once(web: Web) -> None:
    who = number_of(web, "engineer")
    bookings = web.parts.bookings
    first = bookings.book(OWN, BookingRequest(SOON, 60, who), COMMAND_LINE, NOW)
    overlapping = BookingRequest(SOON + timedelta(minutes=59), 30, who)
    with pytest.raises(Clash, match="Engineer is booked"):
        bookings.book(OTHER, overlapping, COMMAND_LINE, NOW)
    bookings.book(OTHER, BookingRequest(SOON + timedelta(minutes=60), 30, who), COMMAND_LINE, NOW)
    assert bookings.book(OTHER, overlapping, COMMAND_LINE, NOW, even_so=True).person == who
    bookings.change(OWN, first.id, BookingRequest(SOON, 45, who), COMMAND_LINE, NOW)  # not against itself
    with pytest.raises(InputError, match="a person of the firm"):
        bookings.book(OWN, BookingRequest(SOON, 60, number_of(web, "householder")), COMMAND_LINE, NOW)


def test_local_times_at_the_change_of_the_clocks() -> None:
    """In the EU and the United Kingdom clocks change at 01:00 UTC on the last Sundays of March and October
    (Directive
    2000/84/EC; Summer Time Order 2002)."""
    london = ZoneInfo("Europe/London")
    with pytest.raises(InputError, match="clocks go forward"):
        moment_of(date(2027, 3, 28), time(1, 30), london)
    assert moment_of(date(2027, 10, 31), time(1, 30), london) == datetime(2027, 10, 31, 0, 30, tzinfo=UTC)
    assert moment_of(date(2027, 7, 1), time(9, 0), london) == datetime(2027, 7, 1, 8, 0, tzinfo=UTC)


def test_the_estimate_learns_from_the_firm_s_own_jobs(service: Service) -> None:
    add_site(service, OWN)
    works = MaintenanceLog(service)
    for minutes in (100, 120, 140):
        works.add(OWN, Job(date(2026, 1, 5), "strainer", ("low_flow",), "", minutes), COMMAND_LINE)
    works.add(OWN, Job(date(2026, 1, 5), "both", ("low_flow", "short_cycling"), "", 10), COMMAND_LINE)
    works.add(OWN, Job(date(2026, 1, 5), "once", ("slow_reheat",), "", 10), COMMAND_LINE)
    assert job_minutes(service.database) == {"low_flow": 120.0}
    assert visit_minutes(["low_flow"]) == 75
    assert visit_minutes(["low_flow"], {"low_flow": 120.0}) == 120
    assert visit_minutes([]) == BASE_MINUTES
    assert visit_minutes(list(FINDING_MINUTES)) == 480
    assert set(FINDING_MINUTES) <= set(TITLES)


@pytest.mark.parametrize(
    ("url", "form"),
    [(VISITS, FORM), (f"{VISITS}/1", FORM), (f"{VISITS}/1/cancel", {})],
    ids=["book", "change", "cancel"],
)
def test_the_forms_are_the_firm_s(web: Web, url: str, form: dict[str, Any]) -> None:
    send(web, "engineer", VISITS, FORM)
    before = web.parts.bookings.of_site(OWN)
    for role, code in (("householder", 403), ("link", 403), ("nobody", 303)):
        assert send(web, role, url, form).status_code == code
        other = send(web, role, url.replace(OWN, OTHER), form).status_code
        assert other == (303 if role == "nobody" else 404)
    for csrf in ("", "guess"):
        assert send(web, "engineer", url, form, csrf).status_code == 403
    assert web.parts.bookings.of_site(OWN) == before
    assert send(web, "engineer", url, form).status_code == 303


@pytest.mark.parametrize(
    "page", ["/visits", "/visits/calendar", "/visits/day/2026-12-01", f"{VISITS}/new", f"{VISITS}/1"]
)
def test_the_pages_are_the_firm_s(web: Web, page: str) -> None:
    send(web, "engineer", VISITS, FORM)
    got = {r: web[r].get(page, follow_redirects=False).status_code for r in web.clients}
    assert got == {
        "installer": 200,
        "engineer": 200,
        "householder": 403,
        "link": 403,
        "device": 403,
        "nobody": 303,
    }


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"day": ""}, "Give the day"),
        ({"day": "2020-01-01"}, "is over"),
        ({"at": "nine"}, "Give the time"),
        ({"minutes": "a while"}, "whole number of minutes"),
        ({"minutes": "²"}, "whole number of minutes"),
        ({"person": "x"}, "a person of the firm"),
        ({"person": "999"}, "a person of the firm"),
    ],
)
def test_a_wrong_field_never_loses_the_form(web: Web, more: dict[str, str], said: str) -> None:
    form = {**FORM, "finding": "low_flow", **more}
    answer = send(web, "engineer", VISITS, form)
    assert answer.status_code == 422
    assert said in answer.text
    told = unescape(answer.text)
    assert "ring <twice>" in told
    assert all(f'value="{form[key]}"' in told for key in ("day", "at", "minutes"))
    assert 'value="low_flow" checked' in told
    assert web.parts.bookings.of_site(OWN) == []


def test_two_visits_that_nobody_has_yet_are_told_and_can_be_accepted(web: Web) -> None:
    assert send(web, "engineer", VISITS, FORM).status_code == 303
    there = VISITS.replace(OWN, OTHER)
    answer = send(web, "engineer", there, FORM)
    assert (answer.status_code, "Book anyway" in answer.text) == (422, True)
    assert "Another visit that nobody has yet is booked for that time" in answer.text
    later_on = {**FORM, "at": "17:30"}
    assert send(web, "engineer", there, later_on).status_code == 303, "no overlap, no word"
    assert send(web, "engineer", there, {**FORM, "even_so": "yes"}).status_code == 303


def test_a_clash_is_told_and_can_be_accepted(web: Web) -> None:
    form = {**FORM, "person": str(number_of(web, "engineer"))}
    assert send(web, "engineer", VISITS, form).status_code == 303
    answer = send(web, "engineer", VISITS, form)
    assert (answer.status_code, "Book anyway" in answer.text) == (422, True)
    assert (
        f"booked for another visit at that time, at {web.parts.service.sites.get(OWN).site.name}."
        in unescape(answer.text)
    )
    assert send(web, "engineer", VISITS, {**form, "even_so": "yes"}).status_code == 303
    assert len(web.parts.bookings.of_site(OWN)) == 2


def test_the_page_of_a_home_tells_its_visits_to_come(web: Web) -> None:
    page = f"/sites/{OWN}"
    assert "Visit booked" not in web["installer"].get(page).text
    send(web, "engineer", VISITS, {**FORM, "person": str(number_of(web, "engineer"))})
    for role in ("installer", "engineer"):
        told = web[role].get(page).text
        assert "Visit booked" in told
        assert f'href="{VISITS}/1"' in told
    send(web, "engineer", f"{VISITS}/1/cancel", {})
    assert "Visit booked" not in web["installer"].get(page).text


def test_the_page_of_a_home_tells_how_to_reach_its_household(web: Web) -> None:
    """A finding's next step often is to phone: the number stands on the same page."""
    told = web["engineer"].get(f"/sites/{OWN}").text
    assert 'href="tel:+441632960111"' in told
    assert "1 Example Row" in told
    assert told.index("tel:+441632960111") < told.index('id="findings"')
    assert "No contact in the site file" not in web["engineer"].get(f"/sites/{OTHER}").text


def test_the_list_tells_how_to_reach_a_home_and_a_household_hears_of_its_visit(web: Web) -> None:
    send(web, "engineer", VISITS, {**FORM, "person": str(number_of(web, "engineer"))})
    page = web["engineer"].get(f"{VISITS}/1").text
    for told in (
        'href="tel:+441632960111"',
        'href="geo:52.101200,-2.303400"',
        "1 Example Row",
        "Key in the box",
    ):
        assert told in page
    day = web["engineer"].get(f"/visits/day/{FORM['day']}").text
    assert "Alder Row" in day
    assert "ring &lt;twice&gt;" in day
    home = web["householder"].get(f"/sites/{OWN}/home").text
    assert "Engineer comes" in home
    assert "R. Example" in home
    by_link = web["link"].get(f"/sites/{OWN}/home").text
    assert "about 90" in by_link
    assert "R. Example" not in by_link


def test_the_contact_is_read_by_those_who_may_and_goes_with_the_home(web: Web) -> None:
    url = f"{PREFIX}/sites/{OWN}/file"
    told = {r: "R. Example" in web[r].get(url).text for r in ("installer", "engineer", "householder", "link")}
    assert told == {"installer": True, "engineer": True, "householder": True, "link": False}
    assert 'id = "elec"' in web["link"].get(url).text, "the rest of the file is there"
    paper = web["engineer"].get(f"{PREFIX}/sites/{OWN}/papers/month/2026-01?form=json")
    assert "R. Example" not in paper.text
    send(web, "engineer", VISITS, FORM)
    export = web["householder"].get(f"{PREFIX}/sites/{OWN}/export").content
    assert b"visits.json" in export
    erase_site(web.parts.service, OWN)
    assert web.parts.bookings.of_site(OWN) == []
    assert b"R. Example" not in (web.parts.settings.data / "state.sqlite").read_bytes()


def test_a_contact_changes_no_figure(web: Web) -> None:
    service = web.parts.service
    before = service.results.document(service.sites.get(OWN), date(2026, 1, 5), date(2026, 1, 6))
    made = service.results.made(OWN)
    service.results.rolling_result(service.sites.get(OWN), 365)
    made = service.results.made(OWN)
    text = service.sites.file(OWN).replace("R. Example", "S. Example")
    service.sites.add([(text, parse_site(text))])
    service.results.rolling_result(service.sites.get(OWN), 365)
    assert service.results.made(OWN) == made, "the kept result still counts"
    assert service.results.document(service.sites.get(OWN), date(2026, 1, 5), date(2026, 1, 6)) == before


def test_a_calendar_feed_follows_the_visits(web: Web) -> None:
    """The properties that RFC 5545 asks for: 3.6 (PRODID, VERSION), 3.6.1 (UID, DTSTAMP, DTSTART), 3.8.7.4
    (SEQUENCE)."""
    who = number_of(web, "engineer")
    booked = web.parts.bookings.book(
        OWN, BookingRequest(SOON, 90, who, ("low_flow",), "note"), COMMAND_LINE, NOW
    )
    web.parts.bookings.book(OTHER, BookingRequest(SOON, 30, number_of(web, "installer")), COMMAND_LINE, NOW)
    secret = web.parts.feeds.renew(who, with_contact=False)
    answer = web["nobody"].get(f"/calendar/{secret}.ics")
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    assert "no-store" in answer.headers["cache-control"]
    assert b"\r\n" in answer.content
    assert max(len(line) for line in answer.content.split(b"\r\n")) <= 75, "lines are folded (3.1)"
    made = Calendar.from_ical(answer.content)
    assert (str(made["version"]), bool(made["prodid"])) == ("2.0", True)
    (event,) = made.walk("VEVENT")
    assert (event["dtstart"].dt, event["dtend"].dt) == (booked.start, booked.end)
    assert str(event["uid"]) == f"{booked.uid}@fieldfare"
    assert event["dtstamp"] is not None
    assert (int(event["sequence"]), str(event["status"])) == (0, "CONFIRMED")
    assert "Alder Row" in event["summary"]
    assert f"/sites/{OWN}" in event["description"]
    for secret_word in ("960111", "Example Row", "Key in the box", "52.1", "R. Example"):
        assert secret_word not in answer.text
    web.parts.bookings.cancel(OWN, booked.id, COMMAND_LINE, NOW)
    (event,) = Calendar.from_ical(web["nobody"].get(f"/calendar/{secret}.ics").content).walk("VEVENT")
    assert (int(event["sequence"]), str(event["status"])) == (1, "CANCELLED")


def test_a_feed_with_contacts_tells_where_to_drive(web: Web) -> None:
    who = number_of(web, "engineer")
    web.parts.bookings.book(OWN, BookingRequest(SOON, 90, who, (), "bring; a, ladder"), COMMAND_LINE, NOW)
    secret = web.parts.feeds.renew(who, with_contact=True)
    body = web["nobody"].get(f"/calendar/{secret}.ics").content
    (event,) = Calendar.from_ical(body).walk("VEVENT")
    assert str(event["location"]) == "1 Example Row, Exampleton"
    assert (event["geo"].latitude, event["geo"].longitude) == (52.1012, -2.3034)
    assert "bring; a, ladder" in event["description"]
    assert b"bring\\; a\\, ladder" in body, "text is escaped (3.3.11)"


def test_a_feed_ends_when_it_is_renewed_or_its_person_goes(web: Web) -> None:
    who = number_of(web, "engineer")
    first = web.parts.feeds.renew(who, with_contact=False)
    second = web.parts.feeds.renew(who, with_contact=False)
    status = {
        s: web["nobody"].get(f"/calendar/{s}.ics").status_code for s in (first, second, "guess", "x" * 43)
    }
    assert status == {first: 404, second: 200, "guess": 404, "x" * 43: 404}
    assert second.encode() not in (web.parts.settings.data / "state.sqlite").read_bytes(), (
        "only its mark is kept"
    )
    assert all(second not in str(row) for row in web.parts.audit.page(0, 100)[0])
    web.parts.accounts.change(who, role="householder")
    assert web["nobody"].get(f"/calendar/{second}.ics").status_code == 404
    web.parts.accounts.change(who, role="engineer")
    web.parts.accounts.change(who, active=False)
    assert web["nobody"].get(f"/calendar/{second}.ics").status_code == 404
    web.parts.accounts.remove(who)
    assert web.parts.feeds.of_person(who) is None


def test_the_address_of_a_calendar_is_shown_once(web: Web) -> None:
    for role, code in (("householder", 403), ("link", 403), ("nobody", 303)):
        assert send(web, role, "/settings/calendar", {"do": "renew"}).status_code == code
    answer = send(web, "engineer", "/settings/calendar", {"do": "renew"})
    assert (answer.status_code, answer.headers["cache-control"]) == (200, "no-store")
    assert "/calendar/" in answer.text
    assert "/calendar/" not in web["engineer"].get("/settings").text
    assert send(web, "engineer", "/settings/calendar", {"do": "end"}).status_code == 303
    assert web.parts.feeds.of_person(number_of(web, "engineer")) is None


def test_visits_by_the_api(web: Web) -> None:
    body = {
        "start": SOON.isoformat(),
        "minutes": 60,
        "person": number_of(web, "engineer"),
        "findings": ["low_flow"],
    }
    made = web["engineer"].post(f"{PREFIX}{VISITS}", json=body).json()
    assert made["who"] == "Engineer"
    assert web["engineer"].post(f"{PREFIX}/sites/{OTHER}/visits", json=body).status_code == 409
    listed = web["engineer"].get(f"{PREFIX}/visits").json()
    assert [v["id"] for v in listed["booked"]] == [made["id"]]
    gone = web["engineer"].delete(f"{PREFIX}{VISITS}/{made['id']}").json()
    assert gone["state"] == "cancelled"
    assert web["engineer"].put(f"{PREFIX}{VISITS}/{made['id']}", json=body).json()["state"] == "booked"


def test_a_firm_without_accounts_is_told_where_people_are_added(service: Service) -> None:
    service.settings = replace(service.settings, demo=True)
    add_site(service, OWN)
    client = TestClient(create_app(AppState(service)), base_url="http://localhost")
    page = client.get(f"{VISITS}/new").text
    assert "Nobody of the firm has an account yet" in page
    assert '<a href="/people">Add' in page
    assert client.get("/people").status_code == 200


def test_a_firm_with_accounts_is_not(web: Web) -> None:
    assert "has an account yet" not in web["engineer"].get(f"{VISITS}/new").text
