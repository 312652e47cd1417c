"""Forms of jobs and decisions, sent without scripts: access, storage, redisplay."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import Any

import pytest

from fieldfare.api.core.service import Service
from tests.api.test_handling import later, own_web
from tests.api.web import OTHER, OWN, Web

__all__ = ["own_web"]
ABOUT = f"/sites/{OWN}/findings/short_cycling"
JOBS = f"/sites/{OWN}/works"
MUTE = {"do": "muted", "reason": "owner is away", "until": later(5)}
TODAY = datetime.now(UTC).date()
JOB = {"day": TODAY.isoformat(), "what": "curve lowered", "finding": "short_cycling"}


def send(web: Web, role: str, url: str, form: dict[str, Any], csrf: str | None = None) -> Any:
    """A form as a browser sends it: the second secret in a field, not in a header."""
    client = web[role]
    secret = client.headers.pop("X-CSRF-Token", "")
    try:
        body = {"csrf": secret if csrf is None else csrf, **form}
        return client.post(url, data=body, follow_redirects=False)
    finally:
        client.headers["X-CSRF-Token"] = secret


@pytest.mark.parametrize(
    ("url", "form"),
    [(ABOUT, MUTE), (JOBS, JOB), (f"{JOBS}/1", JOB), (f"{JOBS}/1/delete", {})],
    ids=["finding", "job", "correct", "delete"],
)
def test_only_the_firm_may_and_only_from_their_own_page(own_web: Web, url: str, form: dict[str, Any]) -> None:
    send(own_web, "engineer", JOBS, JOB)
    before = (own_web.parts.works.page(OWN, 0, 9), own_web.parts.handlings.of_site(OWN))
    for role, code in (("householder", 403), ("link", 403), ("nobody", 303)):
        assert send(own_web, role, url, form).status_code == code
        assert send(own_web, role, url.replace(OWN, OTHER), form).status_code == (
            303 if role == "nobody" else 404
        )
    for csrf in ("", "guess"):
        assert send(own_web, "engineer", url, form, csrf).status_code == 403
    assert (own_web.parts.works.page(OWN, 0, 9), own_web.parts.handlings.of_site(OWN)) == before
    assert send(own_web, "engineer", url, form).status_code == 303


@pytest.mark.parametrize("path", ["new", "1"])
def test_the_forms_of_jobs_are_the_firm_s(own_web: Web, path: str) -> None:
    send(own_web, "engineer", JOBS, JOB)
    statuses = {
        r: own_web[r].get(f"{JOBS}/{path}", follow_redirects=False).status_code for r in own_web.clients
    }
    assert statuses == {
        "installer": 200,
        "engineer": 200,
        "householder": 403,
        "link": 403,
        "device": 403,
        "nobody": 303,
    }
    assert own_web["engineer"].get(f"/sites/{OTHER}/works/1").status_code == 404


def test_a_decision_is_made_replaced_and_undone(own_web: Web) -> None:
    answer = send(own_web, "engineer", ABOUT, MUTE)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/sites/{OWN}#finding-short_cycling")
    taken = {"do": "in_hand", "who": "installer@heating.example", "until": later(1)}
    assert send(own_web, "engineer", ABOUT, taken).status_code == 303
    row = own_web.parts.handlings.of_site(OWN)["short_cycling"]
    assert (row.state, row.who, row.decided_by) == (
        "in_hand",
        "installer@heating.example",
        "engineer@heating.example",
    )
    assert send(own_web, "installer", ABOUT, {"do": "undo"}).status_code == 303
    assert own_web.parts.handlings.of_site(OWN) == {}


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"reason": ""}, "give a reason"),
        ({"until": "soon"}, "say until which day"),
        ({"until": later(-2)}, "today or later"),
        ({"do": "dance"}, "choose one of"),
        ({"do": "done"}, "choose one of"),
        ({"do": "in_hand", "who": "x"}, "a person of the firm"),
    ],
)
def test_what_can_t_be_saved_comes_back(own_web: Web, more: dict[str, str], said: str) -> None:
    form = {**MUTE, "reason": "waits for <a part>", **more}
    answer = send(own_web, "engineer", ABOUT, form)
    assert answer.status_code == 422
    assert said in answer.text
    assert f'value="{form["reason"].replace("<", "&lt;").replace(">", "&gt;")}"' in answer.text
    assert own_web.parts.handlings.of_site(OWN) == {}


def test_a_danger_can_t_be_muted_for_long(own_web: Web) -> None:
    url = f"/sites/{OWN}/findings/water_too_hot"
    answer = send(own_web, "engineer", url, MUTE | {"until": later(30)})
    assert (answer.status_code, "come to harm" in answer.text) == (422, True)
    assert send(own_web, "engineer", url, MUTE).status_code == 303


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"day": ""}, "Give the day"),
        ({"day": "soon"}, "Give the day"),
        ({"day": later(3)}, "still to come"),
        ({"day": "1066-10-14"}, "too long ago"),
        ({"what": "   "}, "Say what was done"),
        ({"what": "x" * 2001}, "What was done has 2001 characters; at most 2000 are kept"),
        ({"parts": "x" * 2500}, "Parts used has 2500 characters; at most 2000 are kept"),
        ({"minutes": "half an hour"}, "whole number of minutes"),
        ({"minutes": "0"}, "whole number"),
        ({"minutes": "²"}, "whole number"),
        ({"minutes": "9" * 30}, "whole number"),
    ],
)
def test_a_job_that_can_t_be_saved_keeps_its_content(own_web: Web, more: dict[str, str], said: str) -> None:
    made = own_web.parts.works.page(OWN, 0, 9)
    form = {**JOB, "what": "strainer <cleaned>", "parts": "gasket & ring", "minutes": "45", **more}
    for url in (JOBS, None):
        if url is None:
            send(own_web, "engineer", JOBS, JOB)
            url = f"{JOBS}/{own_web.parts.works.page(OWN, 0, 9)[0][0].id}"
            made = own_web.parts.works.page(OWN, 0, 9)
        answer = send(own_web, "engineer", url, form)
        assert answer.status_code == 422
        assert said in answer.text
        shown = unescape(re.findall(r"<textarea[^>]*>([^<]*)</textarea>", answer.text)[0])
        assert shown == form["what"]
        values = [unescape(v) for v in re.findall(r'value="([^"]*)"', answer.text)]
        assert {form["parts"], form["minutes"], form["day"]} <= set(values)
        assert 'value="short_cycling" checked' in answer.text
        assert own_web.parts.works.page(OWN, 0, 9) == made


def test_a_job_is_corrected_and_deleted_by_its_form(own_web: Web) -> None:
    form = JOB | {
        "finding": ["short_cycling", "water_too_hot", "NOT A CODE"],
        "parts": "gasket\x00",
        "minutes": "45",
    }
    answer = send(own_web, "engineer", JOBS, form)
    (job,), _ = own_web.parts.works.page(OWN, 0, 9)
    assert answer.headers["location"] == f"/sites/{OWN}#job-{job.id}"
    assert (job.findings, job.parts, job.minutes) == (["short_cycling", "water_too_hot"], "gasket", 45)
    page = own_web["installer"].get(f"{JOBS}/{job.id}").text
    assert 'value="water_too_hot" checked' in page
    assert "curve lowered</textarea>" in page
    day = TODAY - timedelta(days=2)
    changed = JOB | {"day": day.isoformat(), "what": "curve lowered by 4 K"}
    assert send(own_web, "installer", f"{JOBS}/{job.id}", changed).status_code == 303
    now = own_web.parts.works.get(OWN, job.id)
    assert (now.day, now.what, now.who, now.changed_by) == (
        day,
        "curve lowered by 4 K",
        "engineer@heating.example",
        "installer@heating.example",
    )
    assert set(own_web.parts.handlings.of_site(OWN)) == {"short_cycling"}
    assert send(own_web, "installer", f"{JOBS}/{job.id}/delete", {}).status_code == 303
    assert own_web.parts.handlings.of_site(OWN) == {}
    actions = [line.action for line in own_web.parts.audit.page(0, 20, OWN)[0]]
    assert [a for a in actions if a.startswith("work ")] == ["work removed", "work changed", "work entered"]


def test_every_form_of_a_site_goes_without_a_header(own_web: Web, service: Service) -> None:
    """A browser sends no header of its own; the field alone must do."""
    answer = send(own_web, "installer", f"/sites/{OWN}/householder", {"email": "x@home.example", "name": "X"})
    assert answer.status_code == 200
    sheet = send(own_web, "engineer", f"/sites/{OWN}/checks/winter/2026/sign", {"what": ""})
    assert (sheet.status_code, "Not signed yet" in sheet.text) == (422, True)


def test_a_signed_winter_check_has_no_form(own_web: Web) -> None:
    from fieldfare.api.people.access import COMMAND_LINE

    signed = own_web.parts.works.sign_check(OWN, TODAY, "winter", "2026", "all well", [], COMMAND_LINE)
    for ask in (
        own_web["engineer"].get(f"{JOBS}/{signed.id}"),
        send(own_web, "engineer", f"{JOBS}/{signed.id}", JOB),
        send(own_web, "engineer", f"{JOBS}/{signed.id}/delete", {}),
    ):
        assert ask.status_code == 409
    assert own_web.parts.works.get(OWN, signed.id).what.endswith("all well")
