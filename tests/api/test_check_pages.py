"""The check sheet as a plain form: access, storage, redisplay; the same items on screen and paper."""

from __future__ import annotations

import io
import re
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import Any

import pytest

from fieldfare.api.checks.lists import EXAMPLE
from fieldfare.api.checks.sheets import FieldChange, SheetKey
from fieldfare.api.core.service import Service
from fieldfare.api.http.app import PREFIX
from fieldfare.api.http.owners import owner_word
from fieldfare.api.people.access import COMMAND_LINE
from fieldfare.api.records.maintenance_log import MaintenanceLog
from fieldfare.api.visits.bookings import BookingRequest
from tests.api.test_check_sheets import change
from tests.api.test_field_forms import send
from tests.api.web import OTHER, OWN, ROLES, Web, make_web
from tests.checks.pictures import bomb, photo

WINTER, KEY = f"/sites/{OWN}/checks/winter/2026", SheetKey("winter", "2026")
SERVICE = f"/sites/{OWN}/checks/service/2026"


@pytest.fixture
def own_web(service: Service) -> Web:
    return make_web(service)


def titles(page: str) -> list[str]:
    """Titles of the items of a sheet, or of a paper's table."""
    found = re.findall(r"<legend>([^<]+)</legend>", page) or re.findall(
        r'<th scope="row">\s*([^<]+)', page.split("Manual checks")[1]
    )
    return [unescape(t.strip()) for t in found]


def entries(web: Web, key: SheetKey = KEY) -> dict[str, dict[str, Any]]:
    plant = web.parts.service.sites.get(OWN)
    return {i["id"]: i for i in web.parts.sheets.read(plant, key)["items"]}


def answers(web: Web, at: str = WINTER) -> dict[str, str]:
    return dict.fromkeys(re.findall(r'name="(f\.\w+\.state)"', web["engineer"].get(at).text), "done")


POSTS = (
    WINTER,
    f"{WINTER}/sign",
    f"{WINTER}/reopen",
    "/checks/lists",
    f"/sites/{OWN}/photos/{'0' * 32}/remove",
)


@pytest.mark.parametrize("url", POSTS)
def test_only_the_firm_may_and_only_from_their_own_page(own_web: Web, url: str) -> None:
    for role, code in (("householder", 403), ("link", 403), ("nobody", 303)):
        assert send(own_web, role, url, {"what": "x"}).status_code == code
        if "/sites/" in url:
            assert send(own_web, role, url.replace(OWN, OTHER), {}).status_code == (
                303 if role == "nobody" else 404
            )
    for csrf in ("", "guess"):
        assert send(own_web, "installer", url, {"what": "x"}, csrf).status_code == 403
    if url == "/checks/lists":
        assert send(own_web, "engineer", url, {"text": ""}).status_code == 403


@pytest.mark.parametrize(
    ("url", "may"),
    [
        ("/field", {"installer", "engineer"}),
        (WINTER, {"installer", "engineer"}),
        (SERVICE, {"installer", "engineer"}),
        (f"/sites/{OWN}/checks/winter", {"installer", "engineer"}),
        ("/checks/lists", {"installer"}),
        ("/field/session.json", {"installer", "engineer"}),
    ],
)
def test_pages_are_the_firm_s(own_web: Web, url: str, may: set[str]) -> None:
    for role in ROLES:
        status = own_web[role].get(url, follow_redirects=False).status_code
        if role in may:
            assert status == (303 if url.endswith("checks/winter") else 200), role
        elif url.endswith(".json"):
            assert status == 401, role
        else:
            assert status == (303 if role == "nobody" else 403), role
    assert own_web["engineer"].get("/sites/nowhere/checks/winter/2026").status_code == 404
    assert own_web["engineer"].get(f"/sites/{OWN}/checks/winter/first").status_code == 422
    assert own_web["engineer"].get(f"/sites/{OWN}/checks/dance/2026").status_code == 422


def test_homes_with_a_visit_soon_come_first_and_own_ones_are_ticked(own_web: Web) -> None:
    """The day's homes: booked for today or tomorrow; another's visit is told and not ticked."""
    now = datetime.now(UTC).replace(microsecond=0)
    bookings = own_web.parts.bookings
    engineer = own_web.parts.accounts.find("engineer@heating.example")
    assert engineer is not None

    def listed(role: str) -> list[tuple[str, bool]]:
        page = own_web[role].get("/field").text
        boxes = re.findall(
            r'name="sheet" value="/sites/([a-z0-9-]+)/[^>]*?data-name="[^"]*"( checked)?>', page
        )
        return [(home, bool(ticked)) for home, ticked in boxes]

    names = [home for home, _ in listed("engineer")]
    last = names[-1]
    assert len(names) > 1
    assert last != names[0]
    bookings.book(names[0], BookingRequest(now + timedelta(days=3), 60, engineer.id), COMMAND_LINE, now)
    assert listed("engineer") == [(home, False) for home in names], "in three days is not soon"
    bookings.book(last, BookingRequest(now + timedelta(hours=3), 60, engineer.id), COMMAND_LINE, now)
    assert listed("engineer") == [(last, True), *((home, False) for home in names[:-1])]
    assert listed("installer")[0] == (last, False)
    assert "Engineer" in own_web["installer"].get("/field").text.split('id="take"')[1]


def test_the_form_goes_without_scripts(own_web: Web) -> None:
    form = answers(own_web) | {
        "f.pressure.found.cold": "1,4",
        "w.pressure.found.cold": "",
        "f.vessel.note": "two\r\nlines",
    }
    files = [
        ("p.strainer", ("a.jpg", photo(seed=1), "image/jpeg")),
        ("p.strainer", ("b.jpg", photo(seed=2), "image/jpeg")),
    ]
    body = {"csrf": own_web["engineer"].headers["X-CSRF-Token"], **form}
    answer = own_web["engineer"].post(WINTER, data=body, files=files, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{WINTER}#saved")
    kept = entries(own_web)
    assert all(i["state"] == "done" for i in kept.values())
    assert kept["pressure"]["found"][0]["value"] == "1,4"
    assert kept["vessel"]["note"] == "two\nlines"
    assert len(kept["strainer"]["photos"]) == 2
    page = own_web["engineer"].get(WINTER).text
    assert 'name="w.pressure.found.cold" value="1,4"' in page
    assert page.count("?small=true") == 2
    row = kept["strainer"]["photos"][0]["id"]
    gone = send(own_web, "engineer", f"/sites/{OWN}/photos/{row}/remove", {})
    assert gone.headers["location"] == f"{WINTER}#item-strainer"
    assert len(entries(own_web)["strainer"]["photos"]) == 1


def test_a_form_that_meets_another_s_entry_comes_back_with_both(own_web: Web) -> None:
    plant = own_web.parts.service.sites.get(OWN)
    there = change("vessel", "note", "their <words>")
    own_web.parts.sheets.apply(plant, KEY, [there], COMMAND_LINE)
    form = {
        "f.vessel.note": "my words",
        "w.vessel.note": "",
        "f.strainer.note": "kept",
        "w.strainer.note": "",
    }
    answer = send(own_web, "engineer", WINTER, form)
    assert answer.status_code == 422
    told = re.sub(r"\s+", " ", answer.text)
    assert "yours “my words”, command line's “their &lt;words&gt;”" in told
    assert ">my words</textarea>" in answer.text
    assert 'name="w.vessel.note" value="their &lt;words&gt;"' in answer.text, (
        "saving again keeps what was typed"
    )
    assert (entries(own_web)["vessel"]["note"], entries(own_web)["strainer"]["note"]) == (
        "their <words>",
        "kept",
    )
    assert send(own_web, "engineer", WINTER, form | {"w.vessel.note": "their <words>"}).status_code == 303
    assert entries(own_web)["vessel"]["note"] == "my words"


@pytest.mark.parametrize(
    ("sent", "said"),
    [(bomb(), "million pixels"), (b"text", "no picture"), (b"\xff" * 8_100_000, "may have 8 MB")],
)
def test_a_photo_that_can_t_be_kept_is_one_line_and_the_rest_is_kept(
    own_web: Web, sent: bytes, said: str
) -> None:
    body = {"csrf": own_web["engineer"].headers["X-CSRF-Token"], "f.vessel.note": "kept", "w.vessel.note": ""}
    files = {"p.vessel": ("gauge.jpg", io.BytesIO(sent), "image/jpeg")}
    answer = own_web["engineer"].post(WINTER, data=body, files=files)
    assert answer.status_code == 422
    (line,) = re.findall(r"<li>(gauge\.jpg: [^<]+)</li>", answer.text)
    assert said in line
    assert entries(own_web)["vessel"]["note"] == "kept"


def test_an_unanswered_item_can_t_be_signed_and_a_signed_sheet_has_no_empty_box(own_web: Web) -> None:
    page = own_web["engineer"].get(WINTER).text
    left = dict(re.findall(r'name="(left)" value="([^"]+)"', page))
    answer = send(own_web, "engineer", f"{WINTER}/sign", {"what": "all well", **left})
    assert answer.status_code == 422
    assert answer.text.count("say done, not done or not applicable") == len(titles(page))
    paper = own_web["engineer"].get(f"/sites/{OWN}/papers/winter/2026").text
    assert 'class="box"' in paper, "an unsigned one can be printed and ticked"
    send(own_web, "engineer", WINTER, answers(own_web) | {"f.backup.note": "x"})
    assert send(own_web, "engineer", f"{WINTER}/sign", {"what": "all well", **left}).status_code == 303
    for url in (
        f"/sites/{OWN}/papers/winter/2026",
        f"/sites/{OWN}/winter?season=2026",
        f"{PREFIX}/sites/{OWN}/papers/winter/2026",
    ):
        paper = own_web["householder"].get(url).text
        assert 'class="box"' not in paper
        assert "Name, in capitals" not in paper
        assert "Signed by Engineer on" in paper
        assert "<b>Engineer</b>" in paper
    assert send(own_web, "engineer", f"{WINTER}/sign", {"what": "again", **left}).status_code == 409
    assert send(own_web, "engineer", f"{WINTER}/reopen", {}).status_code == 303
    assert "Signed by" not in own_web["engineer"].get(WINTER).text
    actions = [line.action for line in own_web.parts.audit.page(0, 9, OWN)[0] if line.action != "looked"]
    assert actions[:2] == ["winter check opened again", "winter check signed"]


def test_open_points_by_hand_are_told_ticked_signed_and_printed(own_web: Web) -> None:
    """A value out of its range and an item not done block nothing, and nobody signs without seeing them."""
    form = answers(own_web, SERVICE) | {"f.pressure.found.cold": "0,7 bar", "f.vessel.state": "not_done"}
    assert send(own_web, "engineer", SERVICE, form).status_code == 303
    refused = send(own_web, "engineer", f"{SERVICE}/sign", {"what": "all well"})
    assert refused.status_code == 422
    told = refused.text.split("Not signed yet")[1].split("</ul>")[0]
    links = dict(re.findall(r'<li><a href="#([^"]+)">([^<]+)</a></li>', told))
    assert "why it was not done" in links["item-vessel"]
    assert 'id="item-vessel"' in refused.text
    assert links["signing"].startswith("Tick that you sign")
    assert f'action="{SERVICE}/sign#sign"' in refused.text, "the answer opens at its message"
    send(own_web, "engineer", SERVICE, {"f.vessel.note": "no valve fitted", "w.vessel.note": ""})
    page = own_web["engineer"].get(SERVICE).text
    assert page.count("too little, 0.8 bar at least") >= 2, "beside the field and among the open points"
    by_hand = re.findall(r'name="by_hand" value="([^"]+)"', page)[0]
    assert by_hand == "pressure.cold vessel"
    kept = send(own_web, "engineer", f"{SERVICE}/sign", {"what": " ", "by_hand": by_hand})
    assert re.search(r'name="by_hand" value="[^"]+" required checked', kept.text), "the tick is kept"
    assert send(own_web, "engineer", f"{SERVICE}/sign", {"what": "ok", "by_hand": by_hand}).status_code == 303
    paper = own_web["engineer"].get(f"/sites/{OWN}/papers/service/2026").text
    assert "Open points of manual checks" in paper
    assert re.search(r"<li>[^<]*Cold 0.7 bar: too little[^<]*<b>Take care", paper)
    (signed, *_), _n = own_web.parts.works.page(OWN, 0, 9)
    assert "no valve fitted" in signed.what


def test_a_number_without_a_choice_is_done(own_web: Web) -> None:
    form = {
        "f.pressure.found.cold": "1.4",
        "w.pressure.found.cold": "",
        "w.pressure.state": "",
        "f.vessel.found.precharge": "1.0",
        "w.vessel.found.precharge": "",
        "w.vessel.state": "",
        "f.vessel.state": "not_done",
    }
    assert send(own_web, "engineer", WINTER, form).status_code == 303
    kept = entries(own_web)
    assert (kept["pressure"]["state"], kept["vessel"]["state"]) == ("done", "not_done")


@pytest.mark.parametrize("kind", ["winter", "service", "commissioning"])
def test_paper_and_screen_have_the_same_items(own_web: Web, kind: str) -> None:
    period = "first" if kind == "commissioning" else "2026"
    at = f"/sites/{OWN}/checks/{kind}/{period}"
    on_screen = titles(own_web["engineer"].get(at).text)
    on_paper = titles(own_web["engineer"].get(f"/sites/{OWN}/papers/{kind}/{period}").text)
    assert on_paper == on_screen
    assert len(on_screen) >= 10
    document = own_web["engineer"].get(f"{PREFIX}/sites/{OWN}/papers/{kind}/{period}?form=json").json()
    assert [i["title"] for i in document["check"]["items"]] == on_screen


def test_a_check_signed_before_there_were_entries_has_no_empty_box_either(own_web: Web) -> None:
    MaintenanceLog(own_web.parts.service).sign_check(
        OWN,
        own_web.parts.service.results.span(own_web.parts.service.sites.get(OWN))[1],
        "winter",
        "2026",
        "all well",
        [],
        COMMAND_LINE,
    )
    paper = own_web["householder"].get(f"/sites/{OWN}/papers/winter/2026").text
    assert 'class="box"' not in paper
    assert "Not recorded" in paper


def test_the_firm_s_items_stand_on_every_sheet_or_say_what_is_wrong(own_web: Web) -> None:
    wrong = send(own_web, "installer", "/checks/lists", {"text": '[[item]]\nid = "x"\nlists = ["winter"]\n'})
    assert wrong.status_code == 422
    assert "<li>item 1 (x), title: is missing; it must be given</li>" in wrong.text
    kept = send(own_web, "installer", "/checks/lists", {"text": EXAMPLE.replace("\n", "\r\n")})
    assert (kept.status_code, "Kept: 2 of your own." in kept.text) == (200, True)
    assert "Electricity meter read" in titles(own_web["engineer"].get(WINTER).text)
    assert "Electricity meter read" in titles(
        own_web["engineer"].get(f"/sites/{OWN}/papers/winter/2026").text
    )
    assert "Electricity meter read" not in titles(
        own_web["engineer"].get(f"/sites/{OWN}/checks/commissioning/first").text
    )
    (own_web.parts.settings.data / "checks.toml").write_text("[[item]\n")
    page = own_web["engineer"].get(WINTER).text
    assert "The firm's own items are left out: checks.toml:" in page


def test_the_api_tells_outcomes_in_the_order_of_the_changes(own_web: Web) -> None:
    one: FieldChange = change("vessel", "state", "done")
    body = [
        {
            "id": c.id,
            "item": c.item,
            "field": c.field,
            "value": c.value,
            "was": c.was,
            "typed": c.typed.isoformat(),
        }
        for c in (one, change("vessel", "note", "x", "y"), change("nothing", "state", "done"))
    ]
    url = f"{PREFIX}{WINTER}/changes"
    told = own_web["engineer"].post(url, json={"changes": body}).json()
    assert [o["told"] for o in told["outcomes"]] == ["kept", "conflict", "refused"]
    assert [o["id"] for o in told["outcomes"]] == [c["id"] for c in body]
    assert next(i for i in told["sheet"]["items"] if i["id"] == "vessel")["state"] == "done"
    assert own_web["engineer"].post(url, json={"changes": body * 40}).status_code == 422, "so many at once"
    read = own_web["householder"].get(f"{PREFIX}{WINTER}").json()
    assert read["seq"] == told["sheet"]["seq"]


def test_pages_carry_their_owner_s_word_and_the_worker_is_anybody_s(own_web: Web) -> None:
    words = {
        role: own_web[role].get(f"/sites/{OWN}/home").headers.get("Fieldfare-Owner")
        for role in ("engineer", "installer", "householder", "link")
    }
    assert len(set(words.values())) == 4
    told = own_web["engineer"].get("/field/session.json")
    assert told.json() == {
        "owner": words["engineer"],
        "csrf": own_web["engineer"].headers["X-CSRF-Token"],
        "name": "engineer@heating.example",
    }
    assert told.headers["Cache-Control"] == "no-store"
    assert owner_word("key", "a", "nobody") == ""
    worker = own_web["nobody"].get("/sw.js")
    assert (worker.status_code, worker.headers["Cache-Control"]) == (200, "no-cache")
    assert "javascript" in worker.headers["content-type"]
    manifest = own_web["nobody"].get("/static/app.webmanifest").json()
    for icon in manifest["icons"]:
        assert own_web["nobody"].get(icon["src"]).headers["content-type"] == "image/png"
    policy = own_web["engineer"].get("/field").headers["Content-Security-Policy"]
    assert "script-src 'self';" in policy
    assert "unsafe" not in policy
