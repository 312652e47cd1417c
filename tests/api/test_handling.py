"""Decisions about findings: stored, validated, applied to alerts, expired, undone."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import orjson
import pytest
from sqlalchemy import create_engine, event, select, text

from fieldfare.analysis.errors import InputError
from fieldfare.api.alerts.alerts import Alerts
from fieldfare.api.alerts.decisions import (
    JOB_PROOF_DAYS,
    LONGEST_DANGER_MUTE_DAYS,
    LONGEST_DAYS,
    Decision,
    HandlingRow,
    checked,
    end_of,
    is_danger,
    lasts,
)
from fieldfare.api.alerts.handling import Handlings
from fieldfare.api.core.service import Service
from fieldfare.api.http.app import PREFIX
from fieldfare.api.people.access import COMMAND_LINE
from fieldfare.api.records.erasure import erase_site
from fieldfare.api.records.maintenance_log import Job, MaintenanceLog
from fieldfare.api.records.maintenance_log import _row as job_row
from fieldfare.api.records.papers import month_paper
from fieldfare.api.state.database import (
    _begin_sqlite,
    _prepare_sqlite,
    open_database,
    upgrade,
)
from fieldfare.api.state.work_tables import Work
from tests.api.conftest import add_site
from tests.api.web import OWN, Web, make_web

TODAY = date(2026, 1, 10)
NOW = datetime(2026, 1, 10, 12, tzinfo=UTC)
DAY = timedelta(days=1)
KIM = "kim@heating.example"
PEOPLE = frozenset({KIM})


def finding(code: str = "short_cycling", severity: str = "act", **more: Any) -> dict[str, Any]:
    return {"code": code, "severity": severity, "headline": f"{code} seen", "until": None, **more}


@pytest.fixture
def own_web(service: Service, monkeypatch: pytest.MonkeyPatch) -> Web:
    """Two homes; last night's result of the first has two findings that go on and one that ended."""
    web = make_web(service)
    findings = [
        finding(),
        finding("water_too_hot", "urgent"),
        finding("low_flow", "watch", until="2026-01-05"),
    ]
    monkeypatch.setattr(
        service.results, "newest", lambda site: {"findings": findings} if site == OWN else None
    )
    return web


def put(web: Web, role: str = "engineer", code: str = "short_cycling", **body: Any) -> Any:
    return web[role].put(f"{PREFIX}/sites/{OWN}/findings/{code}/handling", json=body)


def handled(web: Web) -> dict[str, Any]:
    return {row["code"]: row for row in web["engineer"].get(f"{PREFIX}/sites/{OWN}/handling").json()}


def later(days: int) -> str:
    return (datetime.now(UTC).date() + timedelta(days=days)).isoformat()


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (Decision("muted", until=TODAY), "give a reason"),
        (Decision("muted", until=TODAY, reason="  "), "give a reason"),
        (Decision("muted", reason="x"), "until which day"),
        (Decision("muted", until=TODAY - DAY, reason="x"), "today or later"),
        (Decision("muted", until=TODAY + (LONGEST_DAYS + 1) * DAY, reason="x"), f"{LONGEST_DAYS} days"),
        (Decision("no_fault"), "give a reason"),
        (Decision("no_fault", reason="x" * 501), "500 characters"),
        (Decision("in_hand", "sam@home.example", TODAY), "a person of the firm"),
        (Decision("in_hand", KIM), "until which day"),
        (Decision("done", until=TODAY), "choose one of"),
        (Decision("gone"), "choose one of"),
    ],
)
def test_what_is_missing_is_named(asked: Decision, said: str) -> None:
    with pytest.raises(InputError, match=said):
        checked(asked, "short_cycling", TODAY, PEOPLE)


def test_a_danger_is_muted_for_a_fortnight_at_most() -> None:
    longest = TODAY + LONGEST_DANGER_MUTE_DAYS * DAY
    for code in (
        "unit_stopped",
        "water_too_hot",
        "disinfection_lacking",
        "frost_risk",
        "pressure_low",
        "pressure_falling",
        "pressure_high",
        "pressure_swings",
    ):
        assert is_danger(code)
        assert checked(Decision("muted", until=longest, reason="x"), code, TODAY, PEOPLE).until == longest
        with pytest.raises(InputError, match="harm"):
            checked(Decision("muted", until=longest + DAY, reason="x"), code, TODAY, PEOPLE)
    assert (
        checked(Decision("in_hand", KIM, longest + DAY), "frost_risk", TODAY, PEOPLE).until == longest + DAY
    )


def test_a_decision_holds_through_its_last_local_day() -> None:
    zone = ZoneInfo("Europe/Helsinki")  # UTC+2 in winter
    ends = end_of(TODAY, zone)
    assert ends == datetime(2026, 1, 10, 22, tzinfo=UTC)
    row = HandlingRow("elm", "short_cycling", "muted", "act", KIM, ends, "x", KIM, NOW, None)
    assert lasts(row, "act", ends - timedelta(minutes=1))
    assert not lasts(row, "act", ends)
    assert not lasts(row, "urgent", NOW), "it got worse"
    assert lasts(row, "watch", NOW)
    assert lasts(row, "note", NOW)


def test_decisions_are_kept_shown_and_undone(own_web: Web) -> None:
    answer = put(own_web, state="in_hand", who="installer@heating.example", until=later(3))
    assert answer.status_code == 200, answer.text
    row = handled(own_web)["short_cycling"]
    assert (row["state"], row["severity"], row["who"], row["decided_by"]) == (
        "in_hand",
        "act",
        "installer@heating.example",
        "engineer@heating.example",
    )
    put(own_web, state="muted", until=later(5), reason="owner is away")
    assert handled(own_web)["short_cycling"]["state"] == "muted"
    url = f"{PREFIX}/sites/{OWN}/findings/short_cycling/handling"
    assert [own_web["engineer"].delete(url).status_code for _ in range(2)] == [204, 204]
    assert handled(own_web) == {}
    lines = own_web["installer"].get(f"{PREFIX}/audit?limit=20").json()["items"]
    acts = [(line["action"], line["detail"]) for line in lines if line["action"].startswith("finding")]
    assert [action for action, _ in acts] == ["finding handling undone", "finding muted", "finding in_hand"]
    assert acts[0][1] == {"code": "short_cycling", "state": "muted", "reason": "owner is away"}


def test_only_open_findings_and_the_firm_s_people(own_web: Web) -> None:
    assert put(own_web, code="low_flow", state="seen").status_code == 422, "it has ended"
    assert put(own_web, code="frost_risk", state="seen").status_code == 422, "there is none"
    wrong = put(own_web, state="in_hand", who="householder@heating.example", until=later(1))
    assert (wrong.status_code, "a person of the firm" in wrong.text) == (422, True)
    assert handled(own_web) == {}


def test_a_live_alert_follows_and_opens_again(service: Service) -> None:
    add_site(service, "elm")
    alerts, kept = Alerts(service.database), Handlings(service.database)

    def look(days: int, *found: Mapping[str, Any]) -> list[str]:
        return [e.what for e in alerts.look("elm", found, NOW + days * DAY)]

    def state() -> str:
        return alerts.page(0, 9, site="elm")[0][0].state

    def decide(what: str, days: int | None, severity: str = "act") -> None:
        ends = None if days is None else NOW + days * DAY
        row = HandlingRow("elm", "short_cycling", what, severity, KIM, ends, "x", KIM, NOW, None)
        kept.decide(row, COMMAND_LINE)

    look(0, finding())
    decide("muted", 3)
    assert look(1, finding()) == [], "an alert that opens under a decision is told to nobody"
    assert state() == "snoozed"
    assert look(3, finding()) == ["woke"]
    assert state() == "open"
    decide("in_hand", 6)
    assert state() == "acknowledged"
    assert look(5, finding()) == []
    assert look(6, finding()) == ["woke"], "whoever has it in hand has had the time"
    decide("no_fault", None)
    assert look(7, finding()) == []
    assert look(8, finding(severity="urgent")) == ["worsened"]
    assert state() == "open"
    kept.undo("elm", "short_cycling", COMMAND_LINE)
    assert kept.of_site("elm") == {}
    decide("seen", None, "urgent")
    assert state() == "acknowledged"
    kept.undo("elm", "short_cycling", COMMAND_LINE)
    assert state() == "open"


def test_a_decision_ends_with_its_finding_but_no_fault_stays(service: Service) -> None:
    add_site(service, "elm")
    alerts, kept = Alerts(service.database), Handlings(service.database)
    for code, state in (("short_cycling", "muted"), ("low_flow", "no_fault"), ("high_standby", "seen")):
        row = HandlingRow("elm", code, state, "act", KIM, None, "x", KIM, NOW, None)
        kept.decide(row, COMMAND_LINE)
    for day in range(2):
        alerts.look("elm", [finding(), finding("low_flow")], NOW + day * DAY)
    assert set(kept.of_site("elm")) == {"short_cycling", "low_flow", "high_standby"}
    for day in range(2, 8):
        alerts.look("elm", [], NOW + day * DAY)
    assert set(kept.of_site("elm")) == {"low_flow"}
    told = [alerts.look("elm", [finding(), finding("low_flow")], NOW + d * DAY) for d in (8, 9)]
    events = {e.alert: e.what for look in told for e in look}
    codes = {a.code: events.get(a.id) for a in alerts.page(0, 9, site="elm")[0]}
    assert codes == {"short_cycling": "reopened", "low_flow": None}


def test_the_api_s_acknowledge_and_snooze_show_with_the_finding(own_web: Web) -> None:
    alerts = own_web.parts.alerts
    for day in range(2):
        alerts.look(OWN, [finding()], NOW + day * DAY)
    (alert,) = alerts.page(0, 9, site=OWN)[0]
    own_web["engineer"].post(f"{PREFIX}/alerts/{alert.id}/acknowledge", json={"note": "on my way"})
    assert handled(own_web)["short_cycling"]["state"] == "in_hand"
    body = {"until": (datetime.now(UTC) + DAY).isoformat(), "note": "part is ordered"}
    own_web["engineer"].post(f"{PREFIX}/alerts/{alert.id}/snooze", json=body)
    assert handled(own_web)["short_cycling"]["reason"] == "part is ordered"
    events = own_web["engineer"].get(f"{PREFIX}/alerts/{alert.id}").json()["events"]
    assert [e["what"] for e in events] == ["opened", "acknowledged", "snoozed"]


def test_a_job_closes_the_findings_it_names_and_reopens_them(own_web: Web) -> None:
    works = own_web.parts.works
    day = datetime.now(UTC).date()
    codes = ("short_cycling", "water_too_hot", "low_flow")
    made = works.add(OWN, Job(day, "curve lowered", codes, "gasket", 45), COMMAND_LINE)
    rows = own_web.parts.handlings.of_site(OWN)
    assert {c: r.state for c, r in rows.items()} == {"short_cycling": "done", "water_too_hot": "done"}
    assert rows["short_cycling"].work == made.id
    left = rows["short_cycling"].ends - datetime.now(UTC)  # type: ignore[operator]
    assert timedelta(days=JOB_PROOF_DAYS - 1) < left <= timedelta(days=JOB_PROOF_DAYS)
    plant = own_web.parts.service.sites.get(OWN)
    span = own_web.parts.service.results.span(plant)
    worked_on = month_paper(own_web.parts.service, plant, f"{span[1]:%Y-%m}").contents["worked_on"]
    assert worked_on == {"short_cycling": day.isoformat(), "water_too_hot": day.isoformat()}
    changed = works.change(OWN, made.id, Job(day - DAY, "curve lowered by 4 K", codes[:1]), COMMAND_LINE)
    assert (changed.findings, changed.changed_by) == (["short_cycling"], COMMAND_LINE.name)
    assert set(own_web.parts.handlings.of_site(OWN)) == {"short_cycling"}
    works.remove(OWN, made.id, COMMAND_LINE)
    assert own_web.parts.handlings.of_site(OWN) == {}
    assert works.page(OWN, 0, 9) == ([], 0)


def test_a_decision_made_after_the_job_stays_when_the_job_goes(own_web: Web) -> None:
    made = own_web.parts.works.add(
        OWN, Job(datetime.now(UTC).date(), "curve lowered", ("short_cycling",)), COMMAND_LINE
    )
    put(own_web, state="muted", until=later(5), reason="new part is ordered")
    own_web.parts.works.remove(OWN, made.id, COMMAND_LINE)
    assert handled(own_web)["short_cycling"]["state"] == "muted"


def test_corrections_leave_their_trace_in_the_audit(own_web: Web) -> None:
    url = f"{PREFIX}/sites/{OWN}/works"
    body = {"day": "2026-01-06", "what": "curve lowered", "findings": ["short_cycling"], "minutes": 30}
    made = own_web["engineer"].post(url, json=body).json()
    assert (made["finding"], made["findings"], made["minutes"]) == ("short_cycling", ["short_cycling"], 30)
    answer = own_web["installer"].put(f"{url}/{made['id']}", json=body | {"what": "curve lowered by 4 K"})
    assert answer.json()["changed_by"] == "installer@heating.example"
    assert own_web["engineer"].delete(f"{url}/{made['id']}").status_code == 204
    lines = own_web["installer"].get(f"{PREFIX}/audit?limit=20").json()["items"]
    trace = {line["action"]: line["detail"] for line in lines}
    assert trace["work changed"]["before"]["what"] == "curve lowered"
    assert trace["work removed"]["before"]["what"] == "curve lowered by 4 K"
    assert own_web["engineer"].put(f"{url}/{made['id']}", json=body).status_code == 404


def test_a_signed_winter_check_is_not_corrected_as_a_job(own_web: Web) -> None:
    works: MaintenanceLog = own_web.parts.works
    signed = works.sign_check(OWN, datetime.now(UTC).date(), "winter", "2026", "all well", [], COMMAND_LINE)
    body = {"day": "2026-01-06", "what": "nothing was checked"}
    answer = own_web["engineer"].put(f"{PREFIX}/sites/{OWN}/works/{signed.id}", json=body)
    assert (answer.status_code, "open it again" in answer.text) == (422, True)


def test_decisions_leave_with_the_home_and_are_erased_with_it(own_web: Web) -> None:
    put(own_web, state="muted", until=later(5), reason="owner is away")
    answer = own_web["householder"].get(f"{PREFIX}/sites/{OWN}/export")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        (row,) = orjson.loads(archive.read("handling.json"))
    assert (row["code"], row["reason"]) == ("short_cycling", "owner is away")
    erase_site(own_web.parts.service, OWN)
    assert own_web.parts.handlings.all() == {}


def test_jobs_logged_before_keep_their_finding(tmp_path: Path) -> None:
    """A database of the migration before: a job had one finding, a sign-off its key."""
    engine = create_engine(f"sqlite:///{tmp_path / 'state.sqlite'}")
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    upgrade(engine, "0002")
    moment = "2026-01-01 00:00:00"
    with engine.begin() as connection:
        connection.execute(text(f"INSERT INTO sites VALUES ('elm', 'a file', '{moment}', '{moment}')"))
        for n, code in ((1, "'low_flow'"), (2, "'winter_check_2026'"), (3, "NULL")):
            values = f"({n}, 'elm', '2026-01-0{n}', 'done', {code}, 'Kim', '{moment}')"
            connection.execute(text(f"INSERT INTO works VALUES {values}"))
    engine.dispose()
    database = open_database(f"sqlite:///{tmp_path / 'state.sqlite'}")
    with database.read() as session:
        rows = [job_row(r) for r in session.scalars(select(Work).order_by(Work.id))]
    database.close()
    assert [(r.findings, r.parts, r.minutes, r.changed) for r in rows] == [
        (["low_flow"], "", None, None),
        ([], "", None, None),
        ([], "", None, None),
    ]
