"""Pages of several homes over HTTP: access, bulk decisions, saved views, order of lists."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import orjson
import pytest

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Samples
from fieldfare.analysis.reports.live_state import worked_last
from fieldfare.api.cli.plain_result import plain_fleet
from fieldfare.api.core.fleet_rows import fleet_rows
from fieldfare.api.core.service import Service
from fieldfare.api.http.app import PREFIX
from fieldfare.api.people.access import COMMAND_LINE
from tests.api.sites import site_text
from tests.api.test_field_forms import send
from tests.api.test_handling import later, own_web
from tests.api.web import OTHER, OWN, Web, make_web

__all__ = ["own_web"]
FIRM_PAGES = (
    "/live",
    "/live?part=1",
    f"/compare?a={OWN}&b={OTHER}",
    f"/homes/chosen?site={OWN}",
    f"/homes/report?site={OWN}",
)
EVENT = f"/sites/{OWN}/figures/event.json?kind=run&at=0&step=next"
MUTE = {
    "do": "muted",
    "reason": "owner is away",
    "until": later(5),
    "finding": [f"{OWN}/short_cycling"],
    "site": [OWN],
}


@pytest.fixture
def web(service: Service) -> Web:
    return make_web(service)


@pytest.mark.parametrize("path", FIRM_PAGES)
def test_pages_of_several_homes_are_the_firm_s(web: Web, path: str) -> None:
    statuses = {r: web[r].get(path, follow_redirects=False).status_code for r in web.clients}
    assert statuses == {
        "installer": 200,
        "engineer": 200,
        "householder": 403,
        "link": 403,
        "device": 403,
        "nobody": 303,
    }


def test_an_event_is_seen_by_whom_the_home_is(web: Web) -> None:
    statuses = {r: web[r].get(EVENT, follow_redirects=False).status_code for r in web.clients}
    assert statuses == {
        "installer": 200,
        "engineer": 200,
        "householder": 200,
        "link": 200,
        "device": 403,
        "nobody": 303,
    }
    assert web["householder"].get(EVENT.replace(OWN, OTHER)).status_code == 404
    found = web["engineer"].get(EVENT).json()
    if found is not None:
        assert set(found) == {"start", "minutes", "words", "view", "mark"}
    assert web["engineer"].get(EVENT.replace("kind=run", "kind=sun")).status_code == 422
    assert web["engineer"].get(EVENT.replace("=next", "=2")).status_code == 422


@pytest.mark.parametrize("form", ["/homes/chosen", "/views", "/views/1/remove"])
def test_forms_need_the_firm_and_their_own_page(own_web: Web, form: str) -> None:
    body = MUTE if form == "/homes/chosen" else {"name": "mine", "address": "/?sort=age"}
    for role, code in (("householder", 403), ("link", 403), ("nobody", 303)):
        assert send(own_web, role, form, body).status_code == code
    for csrf in ("", "guess"):
        assert send(own_web, "engineer", form, body, csrf).status_code == 403
    assert own_web.parts.handlings.of_site(OWN) == {}


def test_many_findings_are_decided_by_the_rules_of_one(own_web: Web) -> None:
    asked = MUTE | {
        "until": later(60),
        "finding": [f"{OWN}/short_cycling", f"{OWN}/water_too_hot", f"{OTHER}/low_flow", "nowhere/low_flow"],
    }
    answer = send(own_web, "engineer", "/homes/chosen", asked)
    assert answer.status_code == 200
    assert set(own_web.parts.handlings.of_site(OWN)) == {"short_cycling"}, (
        "a danger is muted for a fortnight at most"
    )
    done, refused = answer.text.split('role="alert"')
    assert "Starts too often" in done
    assert "people or the plant can come to harm" in refused
    assert "has no open finding" in refused
    assert "no such home" in refused
    taken = MUTE | {
        "do": "in_hand",
        "who": "installer@heating.example",
        "finding": [f"{OWN}/short_cycling", f"{OWN}/water_too_hot"],
    }
    assert send(own_web, "engineer", "/homes/chosen", taken).status_code == 200
    rows = own_web.parts.handlings.of_site(OWN)
    assert {r.who for r in rows.values()} == {"installer@heating.example"}
    lines = own_web.parts.audit.page(0, 50, OWN)[0]
    assert sum(line.action == "finding in_hand" for line in lines) == 2


def test_a_decision_about_many_that_can_t_be_made_keeps_what_was_typed(own_web: Web) -> None:
    answer = send(own_web, "engineer", "/homes/chosen", MUTE | {"until": "", "reason": "owner <away>"})
    assert answer.status_code == 422
    assert "say until which day" in answer.text
    assert 'value="owner &lt;away&gt;"' in answer.text
    assert own_web.parts.handlings.of_site(OWN) == {}
    answer = send(own_web, "engineer", "/homes/chosen", {**MUTE, "finding": []})
    assert "Tick at least one finding." in answer.text


def test_views_are_kept_by_each_person_for_themselves(web: Web) -> None:
    kept = {"name": " my  drives ", "address": "https://elsewhere.example/?show=drive&sort=age&evil=1"}
    answer = send(web, "engineer", "/views", kept)
    assert (answer.status_code, answer.headers["location"]) == (
        303,
        "/?show=drive&sort=age",
    ), "never elsewhere"
    assert send(web, "engineer", "/views", {"name": "my drives", "address": "/?show=call"}).status_code == 303
    engineer = web.parts.accounts.find("engineer@heating.example")
    assert engineer is not None
    (view,) = web.parts.saved_views.of(engineer.id)
    assert (view.name, view.address) == ("my drives", "/?show=call"), "the same name replaces it"
    assert '<a href="/?show=call">my drives</a>' in web["engineer"].get("/").text
    assert "my drives" not in web["installer"].get("/").text
    send(web, "installer", f"/views/{view.id}/remove", {})
    assert web.parts.saved_views.of(engineer.id), "another's view stays"
    send(web, "engineer", f"/views/{view.id}/remove", {})
    assert web.parts.saved_views.of(engineer.id) == []
    assert send(web, "engineer", "/views", {"name": " ", "address": "/"}).status_code in (400, 422)


def test_lists_of_api_and_command_line_respect_decisions(own_web: Web) -> None:
    """A home whose only finding is in hand comes after one that waits, and the list says who has it."""
    parts = own_web.parts
    for site, severity in ((OWN, "act"), (OTHER, "watch")):
        keep(parts.service, site, document(severity))
    assert [r["id"] for r in fleet_rows(parts.service)] == [OWN, OTHER]
    put = own_web["engineer"].put(
        f"{PREFIX}/sites/{OWN}/findings/short_cycling/handling",
        json={"state": "in_hand", "who": "installer@heating.example", "until": later(3)},
    )
    assert put.status_code == 200, put.text
    listed = own_web["engineer"].get(f"{PREFIX}/fleet").json()["sites"]
    assert [r["id"] for r in listed] == [OTHER, OWN]
    told = listed[1]["handling"]["short_cycling"]
    assert (told["state"], told["who"]) == ("in_hand", "Installer")
    assert listed[1]["verdict"] == "act", "the verdict comes from the readings and stays"
    page = own_web["engineer"].get("/").text
    assert page.index(f"/sites/{OTHER}") < page.index(f"/sites/{OWN}"), "as the page has it"
    lines = plain_fleet(fleet_rows(parts.service)).splitlines()
    assert OTHER in lines[0]
    assert "[in hand, Installer until" in lines[1]
    parts.handlings.undo(OWN, "short_cycling", COMMAND_LINE)
    assert [r["id"] for r in fleet_rows(parts.service)] == [OWN, OTHER]


def keep(service: Service, site: str, made: dict[str, Any]) -> None:
    """Keep a document as the site's rolling result."""
    first, last = (date.fromisoformat(made["period"][end]) for end in ("from", "to"))
    service.results.keep(site, first, last, "", orjson.dumps(made), rolling=True)


def document(severity: str) -> dict[str, Any]:
    found = {
        "code": "short_cycling",
        "severity": severity,
        "since": "2026-01-01",
        "until": None,
        "confidence": 0.9,
        "headline": "Starts often.",
        "evidence": [],
        "causes": [],
        "next_step": "Look.",
        "caution": None,
        "home": "",
        "visit": "setting",
        "bring": [],
        "cost_per_year": {"electricity_kwh": 100.0, "money": None},
    }
    because = [{"code": "short_cycling", "severity": severity, "matter": "running", "says": "Starts often."}]
    return {
        "period": {"from": "2025-12-01", "to": "2026-01-09", "timezone": "UTC"},
        "findings": [found],
        "performance": {},
        "cost": {},
        "verdict": {"verdict": severity, "because": because, "missing": []},
        "coverage": {"share": 1.0},
        "heat_loss": {},
    }


def test_a_unit_that_has_not_run_for_a_day_stands_still(web: Web) -> None:
    site = parse_site(site_text(OWN))
    power = next(p for p in site.point if p.quantity == "heat_pump_electricity" and p.form == "power")
    end = round(datetime.now(UTC).timestamp() * 1000) // 60_000 * 60_000
    time = np.arange(end - 25 * 3_600_000, end + 1, 300_000)
    idle = np.full(len(time), 8.0)
    assert worked_last(site, {power.id: Samples(time, idle)}) == (None, int(time[0]))
    ran = idle.copy()
    ran[-12] = 1500.0
    assert worked_last(site, {power.id: Samples(time, ran)}) == (int(time[-12]), int(time[0]))
    assert worked_last(site, {}) == (None, None)
    web.parts.service.store.append(OWN, {power.id: Samples(time, idle)})
    assert "stands still" in web["engineer"].get("/live").text
    web.parts.service.store.append(OWN, {power.id: Samples(time[-12:] + 1000, ran[-12:])})
    later_page = web["engineer"].get("/live").text
    assert "stands still" not in later_page, "a new reading is seen at once"
    assert timedelta(0) <= datetime.now(UTC) - datetime.fromtimestamp(end / 1000, UTC)


def test_a_home_that_is_not_there_is_named(web: Web) -> None:
    for path in (f"/compare?a=nowhere&b={OWN}", "/sites/nowhere"):
        answer = web["installer"].get(path)
        assert answer.status_code == 404
        assert answer.json()["detail"].startswith("there is no site 'nowhere' here")
