"""Authorisation: every route for every role, at the own home and at another's."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from fieldfare.api.core.service import Service
from fieldfare.api.http.app import PREFIX, create_app
from fieldfare.api.people.access import PERMISSIONS
from tests.api.web import OTHER, OWN, ROLES, Web, make_web

FIRM = {"installer", "engineer"}
HOME = FIRM | {"householder", "link"}
OWNER = {"installer", "householder"}
ALL = set(ROLES)
NOW = datetime.now(UTC)
VISIT = {"start": (NOW + timedelta(days=3)).isoformat(), "minutes": 60}
# Route -> who may, and a request that is right in form.
MAY: dict[tuple[str, str], tuple[set[str], Any]] = {
    ("GET", "/sites"): (HOME, None),
    ("POST", "/sites"): ({"installer"}, {"file": "no TOML ["}),
    ("GET", "/sites/{site_id}"): (HOME, None),
    ("GET", "/sites/{site_id}/file"): (HOME, None),
    ("DELETE", "/sites/{site_id}"): ({"installer"}, None),
    ("POST", "/sites/{site_id}/readings"): (
        {"installer", "device"},
        [{"bt": 1767700800, "n": "flow", "v": 38.5}],
    ),
    ("GET", "/sites/{site_id}/newest"): (HOME, None),
    ("GET", "/sites/{site_id}/result"): (HOME, None),
    ("GET", "/sites/{site_id}/findings"): (HOME, None),
    ("GET", "/sites/{site_id}/facts/{kind}"): (HOME, None),
    ("GET", "/sites/{site_id}/series"): (HOME, None),
    ("GET", "/sites/{site_id}/live"): (HOME, None),
    ("GET", "/sites/{site_id}/what-if"): (HOME, None),
    ("GET", "/sites/{site_id}/answers/{question}"): (HOME, None),
    ("GET", "/sites/{site_id}/advice"): (HOME, None),
    ("GET", "/sites/{site_id}/commissioned"): (HOME, None),
    ("GET", "/sites/{site_id}/tuning"): (HOME, None),
    ("POST", "/sites/{site_id}/tuning"): (
        FIRM,
        {"day": "2026-01-06", "code": "set_back", "before": [4.0], "after": [2.0]},
    ),
    ("GET", "/fleet"): (FIRM, None),
    ("POST", "/fleet/cold-snap"): (FIRM, {}),
    ("GET", "/fleet/cold-snap"): (FIRM, None),
    ("GET", "/fleet/learning"): (FIRM, None),
    ("GET", "/alerts"): (FIRM, None),
    ("GET", "/alerts/{alert_id}"): (FIRM, None),
    ("POST", "/alerts/{alert_id}/acknowledge"): (FIRM, {}),
    ("POST", "/alerts/{alert_id}/snooze"): (FIRM, {"until": (NOW + timedelta(days=2)).isoformat()}),
    ("POST", "/alerts/{alert_id}/notes"): (FIRM, {"note": "x"}),
    ("GET", "/sites/{site_id}/findings/{code}/pack"): (FIRM, None),
    ("GET", "/sites/{site_id}/handling"): (FIRM, None),
    ("PUT", "/sites/{site_id}/findings/{code}/handling"): (FIRM, {"state": "seen"}),
    ("DELETE", "/sites/{site_id}/findings/{code}/handling"): (FIRM, None),
    ("GET", "/sites/{site_id}/maintenance"): (FIRM, None),
    ("POST", "/sites/{site_id}/maintenance"): (
        FIRM,
        {"start": NOW.isoformat(), "end": (NOW + timedelta(hours=1)).isoformat(), "reason": "visit"},
    ),
    ("DELETE", "/sites/{site_id}/maintenance/{window}"): (FIRM, None),
    ("GET", "/notices"): (FIRM, None),
    ("GET", "/set-aside"): (FIRM, None),
    ("GET", "/sites/{site_id}/works"): (HOME, None),
    ("POST", "/sites/{site_id}/works"): (FIRM, {"day": "2026-01-06", "what": "curve lowered"}),
    ("PUT", "/sites/{site_id}/works/{work}"): (FIRM, {"day": "2026-01-06", "what": "curve lowered"}),
    ("DELETE", "/sites/{site_id}/works/{work}"): (FIRM, None),
    ("GET", "/sites/{site_id}/works/{work}/effect"): (HOME, None),
    ("GET", "/sites/{site_id}/checks/{kind}/{period}"): (HOME, None),
    ("POST", "/sites/{site_id}/checks/{kind}/{period}/changes"): (FIRM, {"changes": []}),
    ("PUT", "/sites/{site_id}/checks/{kind}/{period}/items/{item}/photos/{photo}"): (FIRM, None),
    ("PUT", "/sites/{site_id}/works/{work}/photos/{photo}"): (FIRM, None),
    ("GET", "/sites/{site_id}/photos/{photo}"): (HOME, None),
    ("DELETE", "/sites/{site_id}/photos/{photo}"): (FIRM, None),
    ("GET", "/sites/{site_id}/papers"): (HOME, None),
    ("GET", "/sites/{site_id}/papers/{kind}/{period}"): (HOME, None),
    ("POST", "/session"): (ALL, {"email": "nobody@heating.example", "password": "x"}),
    ("GET", "/session"): (ALL, None),
    ("DELETE", "/session"): (ALL, None),
    ("POST", "/session/password"): (HOME - {"link"}, {"old": "x", "new": "a long enough new one"}),
    ("POST", "/session/confirm"): (HOME - {"link"}, {"password": "x"}),
    ("GET", "/people"): ({"installer"}, None),
    ("POST", "/people"): ({"installer"}, {"email": "new@heating.example", "name": "New", "role": "engineer"}),
    ("GET", "/people/{person}"): ({"installer"}, None),
    ("PATCH", "/people/{person}"): ({"installer"}, {"notices": True}),
    ("DELETE", "/people/{person}"): ({"installer"}, None),
    ("POST", "/people/{person}/invitation"): ({"installer"}, None),
    ("GET", "/sites/{site_id}/links"): ({"installer"}, None),
    ("POST", "/sites/{site_id}/links"): ({"installer"}, {"days": 3}),
    ("DELETE", "/sites/{site_id}/links/{link}"): ({"installer"}, None),
    ("GET", "/devices"): ({"installer"}, None),
    ("POST", "/devices"): ({"installer"}, {"name": "gw", "purpose": "readings", "site": OWN}),
    ("DELETE", "/devices/{token}"): ({"installer"}, None),
    ("GET", "/audit"): ({"installer"}, None),
    ("GET", "/retention"): (ALL, None),
    ("GET", "/sites/{site_id}/consents"): (OWNER, None),
    ("POST", "/sites/{site_id}/consents"): (OWNER, {"purpose": "monitoring", "given": True}),
    ("GET", "/sites/{site_id}/accesses"): (OWNER, None),
    ("GET", "/sites/{site_id}/export"): (OWNER, None),
    ("POST", "/sites/{site_id}/erase"): (OWNER, {"confirm": "not this"}),
    ("GET", "/jobs"): (FIRM, None),
    ("GET", "/visits"): (FIRM, None),
    ("GET", "/sites/{site_id}/visits"): (FIRM, None),
    ("POST", "/sites/{site_id}/visits"): (FIRM, VISIT),
    ("PUT", "/sites/{site_id}/visits/{visit}"): (FIRM, VISIT),
    ("DELETE", "/sites/{site_id}/visits/{visit}"): (FIRM, None),
}
LASTS = {("DELETE", "/sites/{site_id}"), ("DELETE", "/people/{person}"), ("DELETE", "/session")}
"""Those that end what the others need: tried on what is not there."""
FILL = {
    "alert_id": "999999",
    "window": "999999",
    "work": "999999",
    "person": "999999",
    "link": "0" * 16,
    "code": "short_cycling",
    "visit": "999999",
    "token": "0" * 16,
    "kind": "days",
    "period": "2026-01",
    "item": "vessel",
    "photo": "0" * 32,
    "question": "cold",
}


def routes() -> set[tuple[str, str]]:
    from fieldfare.api.core.service import Service as Made
    from fieldfare.api.core.settings import Settings
    from fieldfare.api.http.app_state import AppState

    schema = create_app(AppState(Made(Settings(), None))).openapi()  # type: ignore[arg-type]
    return {
        (method.upper(), path.removeprefix(PREFIX))
        for path, methods in schema["paths"].items()
        for method in methods
        if path.startswith(PREFIX)
    }


def test_every_route_is_in_the_table() -> None:
    assert routes() == MAY.keys()


def test_every_permission_is_somebody_s() -> None:
    known = {"installer", "engineer", "householder", "device"}
    for permission, roles in PERMISSIONS.items():
        assert roles, permission
        assert roles <= known
        assert "installer" in roles, permission


def ask(web: Web, role: str, method: str, path: str, site: str, body: Any) -> int:
    kind = "month" if "papers" in path else "winter" if "checks" in path else "days"
    filled = {**FILL, "kind": kind, "site_id": site, **({"period": "2026"} if kind == "winter" else {})}
    url = PREFIX + path.format(**filled)
    if path.endswith("/live"):
        url += "?seconds=1"
    if "papers/" in path:
        url += "?form=json"
    return web[role].request(method, url, json=body).status_code


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize(("method", "path"), sorted(MAY.keys() - LASTS))
def test_a_role_may_or_may_not(web: Web, role: str, method: str, path: str) -> None:
    allowed, body = MAY[method, path]
    status = ask(web, role, method, path, OWN, body)
    assert status < 500
    if role in allowed:
        # What is asked for may not be there, or be refused for what it says; but the door was open.
        named = path.format(**FILL, site_id=OWN)
        absent = {404} if "999999" in named or "0" * 16 in named else set()
        refused = {401, 429} if path.startswith("/session") else set()
        assert status in {200, 201, 204, 409, 422} | absent | refused
    elif role == "nobody":
        assert status == 401
    else:
        assert status == 403


@pytest.mark.parametrize("role", ["householder", "link", "device"])
@pytest.mark.parametrize(("method", "path"), sorted(k for k in MAY if "{site_id}" in k[1]))
def test_another_s_home_is_not_there(web: Web, role: str, method: str, path: str) -> None:
    """Whether or not the role may do this at home: the answer is that of a home that does not exist."""
    _, body = MAY[method, path]
    other, none = (ask(web, role, method, path, site, body) for site in (OTHER, "nowhere"))
    assert other == none
    assert none in (403, 404)


@pytest.mark.parametrize("path", ["", "/result", "/live", "/readings", "/links"])
def test_nobody_learns_which_homes_exist(web: Web, path: str) -> None:
    answers = [web["nobody"].get(f"{PREFIX}/sites/{site}{path}") for site in (OWN, "nowhere")]
    assert [a.status_code for a in answers] == [answers[0].status_code] * 2
    assert answers[0].text.replace(OWN, "X") == answers[1].text.replace("nowhere", "X")
    pages = [web["nobody"].get(f"/sites/{site}", follow_redirects=False) for site in (OWN, "nowhere")]
    assert {(p.status_code, p.headers.get("location")) for p in pages} == {(303, "/sign-in")}


@pytest.mark.parametrize("role", ["householder", "link"])
def test_another_s_home_and_none_at_all_look_the_same(web: Web, role: str) -> None:
    other = web[role].get(f"{PREFIX}/sites/{OTHER}")
    none = web[role].get(f"{PREFIX}/sites/nowhere")
    assert other.status_code == none.status_code == 404
    assert other.text.replace(OTHER, "X") == none.text.replace("nowhere", "X")


def test_a_householder_s_list_holds_their_home_alone(web: Web) -> None:
    for role in ("householder", "link"):
        answer = web[role].get(f"{PREFIX}/sites").json()
        assert ([row["id"] for row in answer["items"]], answer["total"]) == ([OWN], 1)


def test_what_the_last_routes_ask(web: Web) -> None:
    assert web["engineer"].delete(f"{PREFIX}/sites/{OWN}").status_code == 403
    assert web["householder"].delete(f"{PREFIX}/people/1").status_code == 403
    assert web["nobody"].delete(f"{PREFIX}/sites/{OWN}").status_code == 401
    assert web["installer"].delete(f"{PREFIX}/sites/nowhere").status_code == 404


def test_metrics_are_for_the_installer_and_its_own_token(web: Web) -> None:
    _, secret = web.parts.tokens.make("scraper", "metrics", None, 1)
    scraper = {"Authorization": f"Bearer {secret}"}
    assert web["installer"].get("/metrics").status_code == 200
    assert web["nobody"].get("/metrics", headers=scraper).status_code == 200
    assert web["nobody"].get(f"{PREFIX}/sites", headers=scraper).status_code == 403
    assert web["nobody"].get("/metrics").status_code == 401
    assert web["device"].get("/metrics").status_code == 403
    assert web["engineer"].get("/metrics").status_code == 403


def test_a_revoked_token_and_link_end_at_once(service: Service) -> None:
    web = make_web(service)
    assert web["link"].get(f"{PREFIX}/sites/{OWN}").status_code == 200
    link = web.parts.links.of_site(OWN)[0].id
    assert web["installer"].delete(f"{PREFIX}/sites/{OWN}/links/{link}").status_code == 204
    assert web["link"].get(f"{PREFIX}/sites/{OWN}").status_code == 401
    token = web.parts.tokens.all()[0].id
    assert web["installer"].delete(f"{PREFIX}/devices/{token}").status_code == 204
    assert web["device"].post(f"{PREFIX}/sites/{OWN}/readings", json=[]).status_code == 401


def test_a_person_who_is_stopped_or_moved_must_sign_in_again(service: Service) -> None:
    web = make_web(service)
    people = {p["role"]: p["id"] for p in web["installer"].get(f"{PREFIX}/people").json()}
    changed = web["installer"].patch(f"{PREFIX}/people/{people['householder']}", json={"sites": [OTHER]})
    assert changed.json()["sites"] == [OTHER]
    assert web["householder"].get(f"{PREFIX}/sites").status_code == 401
    web["installer"].patch(f"{PREFIX}/people/{people['engineer']}", json={"active": False})
    assert web["engineer"].get(f"{PREFIX}/sites").status_code == 401


def test_unsafe_requests_need_the_second_secret(web: Web) -> None:
    body = {"day": "2026-01-06", "what": "curve lowered"}
    url = f"{PREFIX}/sites/{OWN}/works"
    for wrong in ("", "guess"):
        assert web["engineer"].post(url, json=body, headers={"X-CSRF-Token": wrong}).status_code == 403
    assert web["engineer"].get(url, headers={"X-CSRF-Token": ""}).status_code == 200
