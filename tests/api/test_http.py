"""HTTP behaviour: problem details, entity tags, compression, pages, guards, series, events, archives."""

from __future__ import annotations

import gzip
import io
import json
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from prometheus_client.parser import text_string_to_metric_families

from fieldfare.analysis.readings import Samples
from fieldfare.api.core.service import Service
from fieldfare.api.http.app import PREFIX
from tests.api.conftest import add_site
from tests.api.sites import START, site_text
from tests.api.web import OTHER, OWN, Web, make_web


@pytest.fixture
def own_web(service: Service) -> Web:
    return make_web(service)


@pytest.mark.parametrize(
    ("url", "status", "kind"),
    [
        ("/sites/nowhere", 404, "/problems/no-site"),
        ("/sites/UPPER", 422, "/problems/bad-request"),
        ("/alerts/7", 404, "/problems/no-alert"),
        (f"/sites/{OWN}/works/7/effect", 404, "/problems/no-work"),
        ("/people/7777", 404, "/problems/no-person"),
        (f"/sites/{OWN}/result?from=2026-02-30", 422, "/problems/bad-request"),
        (f"/sites/{OWN}/result?from=2026-01-07&to=2026-01-05", 422, "/problems/bad-input"),
        (f"/sites/{OWN}/series?points=nope", 422, "/problems/bad-input"),
        (f"/sites/{OWN}/what-if", 422, "/problems/bad-input"),
        ("/nothing/here", 404, "/problems/not-found"),
    ],
)
def test_errors_are_problem_details(web: Web, url: str, status: int, kind: str) -> None:
    answer = web["installer"].get(PREFIX + url)
    assert answer.status_code == status
    assert answer.headers["Content-Type"] == "application/problem+json"
    body = answer.json()
    assert (body["type"], body["status"]) == (kind, status)
    assert body["detail"]


def test_a_fault_of_ours_tells_nothing_of_the_inside(own_web: Web, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("the secret inside")

    monkeypatch.setattr("fieldfare.api.http.rest.sites.site_row", broken)
    answer = own_web["installer"].get(f"{PREFIX}/sites/{OWN}")
    assert answer.status_code == 500
    assert answer.json()["type"] == "/problems/internal-error"
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert "secret" not in answer.text


def test_a_fault_of_a_page_is_a_page(own_web: Web, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("the secret inside")

    monkeypatch.setattr("fieldfare.api.http.html.page_rows.fleet_part", broken)
    answer = own_web["installer"].get("/", headers={"Accept": "text/html"})
    assert answer.status_code == 500
    assert answer.headers["Content-Type"].startswith("text/html")
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert "Internal error" in answer.text
    assert 'href="/"' in answer.text
    assert "secret" not in answer.text


def test_a_refused_site_file_tells_every_key(web: Web) -> None:
    answer = web["installer"].post(
        f"{PREFIX}/sites", json={"file": site_text().replace("heat_output", "heet_output")}
    )
    assert answer.status_code == 422
    first, *_ = answer.json()["problems"]
    assert first["key"] == "point[2].quantity"
    assert "heat_output" in first["message"]


def test_what_has_not_changed_is_not_sent_again(own_web: Web) -> None:
    url = f"{PREFIX}/sites/{OWN}/result?from=2026-01-05&to=2026-01-06"
    first = own_web["installer"].get(url)
    tag = first.headers["ETag"]
    again = own_web["installer"].get(url, headers={"If-None-Match": f'"x", {tag}'})
    assert (again.status_code, again.content, again.headers["ETag"]) == (304, b"", tag)
    late = Samples(np.array([int(START.timestamp() * 1000) + 90_000]), np.array([31.0]))
    own_web.parts.service.store.append(OWN, {"flow": late, "room": late})
    own_web["installer"].get(url, headers={"If-None-Match": tag})
    own_web.parts.service.store.append(OWN, {"elec": Samples(late.time, np.array([3000.0]))})
    assert own_web["installer"].get(url, headers={"If-None-Match": tag}).status_code == 200


def test_long_answers_are_compressed(web: Web) -> None:
    url = f"{PREFIX}/sites/{OWN}/facts/runs?limit=50"
    with web["installer"].stream("GET", url, headers={"Accept-Encoding": "gzip"}) as answer:
        raw = b"".join(answer.iter_raw())
    assert answer.headers["Content-Encoding"] == "gzip"
    assert len(json.loads(gzip.decompress(raw))["rows"]) == 50


def test_pages_lead_through_a_list_once(web: Web) -> None:
    seen, url = [], f"{PREFIX}/sites?limit=1"
    while url:
        answer = web["installer"].get(url)
        seen += [row["id"] for row in answer.json()["items"]]
        link = answer.headers.get("Link", "")
        url = link.partition(">")[0].lstrip("<")
    assert seen == [OWN, OTHER]


def test_every_answer_has_its_security_headers(web: Web) -> None:
    for url in ("/healthz", f"{PREFIX}/sites", "/sign-in", "/nowhere", f"{PREFIX}/sites/nowhere"):
        headers = web["installer"].get(url).headers
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["Referrer-Policy"] == "same-origin"
        assert not [name for name in headers if name.lower().startswith("access-control-")]


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_another_site_s_page_can_not_act(web: Web, headers: dict[str, str]) -> None:
    answer = web["installer"].post(f"{PREFIX}/sites/{OWN}/links", json={"days": 1}, headers=headers)
    assert answer.status_code == 403
    own = {"Origin": "http://localhost", "Sec-Fetch-Site": "same-origin"}
    assert (
        web["installer"].post(f"{PREFIX}/sites/{OWN}/links", json={"days": 1}, headers=own).status_code == 201
    )


def test_a_name_that_is_not_ours_is_refused(web: Web) -> None:
    assert web["installer"].get("/healthz", headers={"Host": "evil.example"}).status_code == 400


def test_a_body_that_is_too_large_is_refused(web: Web) -> None:
    answer = web["installer"].post(f"{PREFIX}/sites", content=b"x" * 8_000_001)
    assert answer.status_code == 413


def test_series_keep_their_peaks(own_web: Web) -> None:
    add_site(own_web.parts.service, "elm")
    n = 20_000
    time = int(START.timestamp() * 1000) + np.arange(n, dtype=np.int64) * 60_000
    value = np.sin(np.arange(n) / 500)
    value[12_345] = 40.0
    own_web.parts.service.store.append("elm", {"flow": Samples(time, value)})
    url = f"{PREFIX}/sites/elm/series?points=flow&from=2026-01-01T00:00:00Z&max_points=200"
    (point,) = own_web["installer"].get(url).json()["points"]
    assert point["readings"] == n
    assert len(point["time"]) == len(point["value"]) <= 200
    assert max(point["value"]) == 40.0
    assert point["time"] == sorted(point["time"])


def test_states_are_told_by_their_changes(own_web: Web) -> None:
    from fieldfare.analysis.plant.load import parse_site

    text = (
        site_text("elm")
        + '[[point]]\nid = "mode"\nquantity = "operating_mode"\n[[point]]\nid = "fault"\nquantity ='
        ' "fault_code"\n'
    )
    own_web.parts.service.sites.add([(text, parse_site(text))])
    time = int(START.timestamp() * 1000) + np.arange(100, dtype=np.int64) * 60_000
    mode = np.repeat([0.0, 1.0], 50)
    fault = np.array(["E1"] * 100, dtype=object)
    own_web.parts.service.store.append("elm", {"mode": Samples(time, mode), "fault": Samples(time, fault)})
    points = {p["id"]: p for p in own_web["installer"].get(f"{PREFIX}/sites/elm/series").json()["points"]}
    assert points["mode"]["value"] == [0.0, 1.0, 1.0]
    assert points["fault"]["value"] == ["E1", "E1"]


def test_newest_and_live_tell_new_readings(own_web: Web) -> None:
    newest = own_web["installer"].get(f"{PREFIX}/sites/{OWN}/newest").json()
    assert newest["flow"]["value"] == 30.0
    with own_web["installer"].stream("GET", f"{PREFIX}/sites/{OWN}/live?seconds=1") as answer:
        assert answer.headers["Content-Type"].startswith("text/event-stream")
        text = answer.read().decode()
    (event,) = [part for part in text.split("\n\n") if part.startswith("event: readings")]
    assert json.loads(event.partition("data: ")[2])["flow"] == newest["flow"]
    told = text[: text.index("event: readings")].split("\n\n")[-2]
    assert told.startswith("event: told\ndata: "), "the sentence comes with the readings that it is told from"


def test_a_gateway_s_pack_is_stored_once_and_whole_or_not_at_all(own_web: Web) -> None:
    url = f"{PREFIX}/sites/{OWN}/readings"
    pack = [{"bt": 1_768_000_000, "n": "flow", "u": "Cel", "v": 41.5}, {"n": "return", "v": 35.0}]
    assert own_web["device"].post(url, json=pack).json() == {"readings": 2, "duplicates": 0}
    assert own_web["device"].post(url, json=pack).json() == {"readings": 0, "duplicates": 2}
    wrong = own_web["device"].post(
        url, json=[{"bt": 1_768_000_060, "n": "flow", "v": 42.0}, {"n": "nope", "v": 1}]
    )
    assert wrong.status_code == 422
    newest = own_web["installer"].get(f"{PREFIX}/sites/{OWN}/newest").json()
    assert newest["flow"]["value"] == 41.5


def test_a_work_is_entered_and_its_effect_asked_for(own_web: Web) -> None:
    url = f"{PREFIX}/sites/{OWN}/works"
    body = {"day": "2026-01-06", "what": "curve lowered by 6 K", "finding": "flow_temperature_above_curve"}
    work = own_web["engineer"].post(url, json=body).json()
    assert (work["who"], work["day"]) == ("engineer@heating.example", "2026-01-06")
    effect = own_web["householder"].get(f"{url}/{work['id']}/effect").json()
    assert "needs 7 whole days" in effect["reason"]
    assert effect["finding"]["code"] == "flow_temperature_above_curve"
    assert own_web["engineer"].delete(f"{url}/{work['id']}").status_code == 204
    assert own_web["engineer"].get(url).json()["total"] == 0
    late = (datetime.now(UTC) + timedelta(days=9)).date().isoformat()
    assert own_web["engineer"].post(url, json={**body, "day": late}).status_code == 422


def test_a_home_s_archive_holds_everything_in_open_formats(own_web: Web) -> None:
    own_web["householder"].post(
        f"{PREFIX}/sites/{OWN}/consents", json={"purpose": "monitoring", "given": True}
    )
    answer = own_web["householder"].get(f"{PREFIX}/sites/{OWN}/export")
    archive = zipfile.ZipFile(io.BytesIO(answer.content))
    names = set(archive.namelist())
    facts = {
        f"facts/{kind}.csv" for kind in ("days", "runs", "defrosts", "reheats", "notices", "rests", "faults")
    }
    lists = {
        f"{n}.json"
        for n in (
            "alerts",
            "handling",
            "works",
            "visits",
            "checks",
            "photos",
            "consents",
            "accesses",
            "papers",
            "retention",
            "result",
        )
    }
    assert names == {"site.toml", "readings.csv"} | facts | lists
    assert archive.read("site.toml").decode() == site_text(OWN)
    assert archive.read("readings.csv").count(b"\n") == 1 + 6 * 3 * 1440
    (consent,) = json.loads(archive.read("consents.json"))
    assert "The firm reads the meters" in consent["words"]


def test_erasing_leaves_nothing_of_the_home(own_web: Web) -> None:
    data = own_web.parts.settings.data
    own_web["installer"].get(f"{PREFIX}/sites/{OWN}/result")
    refused = own_web["householder"].post(f"{PREFIX}/sites/{OWN}/erase", json={"confirm": OTHER})
    assert refused.status_code == 409
    answer = own_web["householder"].post(f"{PREFIX}/sites/{OWN}/erase", json={"confirm": OWN})
    assert answer.status_code == 204
    assert own_web["installer"].get(f"{PREFIX}/sites/{OWN}").status_code == 404
    assert own_web["installer"].get(f"{PREFIX}/sites/{OTHER}").status_code == 200
    people = [p["role"] for p in own_web["installer"].get(f"{PREFIX}/people").json()]
    assert sorted(people) == ["engineer", "installer"]
    for path in data.rglob("*"):
        assert OWN not in path.name
        if path.is_file() and not path.name.startswith("state.sqlite"):
            assert OWN.encode() not in path.read_bytes(), path
    kept = own_web["installer"].get(f"{PREFIX}/audit?site={OWN}").json()["items"]
    assert [row["action"] for row in kept] == ["home erased"]


def test_a_home_that_said_no_is_not_learnt_from(own_web: Web) -> None:
    url = f"{PREFIX}/sites/{OWN}/consents"
    own_web["householder"].post(url, json={"purpose": "fleet_learning", "given": False})
    assert own_web["installer"].get(f"{PREFIX}/fleet/learning").json()["left_out"] == 1
    own_web["householder"].post(url, json={"purpose": "fleet_learning", "given": True})
    assert own_web["installer"].get(f"{PREFIX}/fleet/learning").json()["left_out"] == 0


def test_the_householder_sees_who_looked(own_web: Web) -> None:
    own_web["engineer"].get(f"{PREFIX}/sites/{OWN}/result")
    own_web["engineer"].get(f"{PREFIX}/sites/{OWN}/series")
    rows = own_web["householder"].get(f"{PREFIX}/sites/{OWN}/accesses").json()["items"]
    assert [r["who"] for r in rows if r["action"] == "looked"].count("engineer@heating.example") == 1


def test_metrics_are_in_the_text_format(own_web: Web) -> None:
    text = own_web["installer"].get("/metrics").text
    lines = [line for line in text.splitlines() if line]
    names = {family.name for family in text_string_to_metric_families(text)}
    assert {"fieldfare_readings", "fieldfare_jobs", "fieldfare_request_seconds", "process_open_fds"} <= names
    assert f'fieldfare_readings{{site="{OWN}"}} {6 * 3 * 1440:.1f}' in lines
    assert any(line.startswith(f'fieldfare_lag_seconds{{site="{OWN}"}}') for line in lines)


def test_the_fleet_and_a_site_are_pages(own_web: Web) -> None:
    front = own_web["installer"].get("/")
    assert f'href="/sites/{OWN}"' in front.text
    assert "Alder Row" in own_web["installer"].get(f"/sites/{OWN}").text
    home = own_web["householder"].get("/", follow_redirects=True)
    assert str(home.url).startswith(f"http://localhost/sites/{OWN}")
    assert "Alder Row" in home.text
    away = own_web["nobody"].get(f"/sites/{OWN}", follow_redirects=False)
    assert (away.status_code, away.headers["Location"]) == (303, "/sign-in")


PAGES_OF_THE_FIRM = (
    "/visits",
    "/visits/calendar",
    "/visits/day/2026-12-01",
    f"/sites/{OWN}/visits/new",
    "/winter",
    "/learning",
    "/learning/design.csv",
)
PAGES_OF_A_HOME = (
    "",
    "/home",
    "/winter",
    "/what-if",
    "/expectations",
    "/commissioned",
    "/tuning",
    "/figures/trace.json",
    "/papers/month/2026-01",
)
PAGES_OF_THE_INSTALLER = ("/first-run", "/first-run/site", f"/sites/{OWN}/readings", f"/sites/{OWN}/progress")


@pytest.mark.parametrize("page", PAGES_OF_A_HOME)
@pytest.mark.parametrize("role", ["householder", "link"])
def test_no_page_shows_another_s_home(web: Web, role: str, page: str) -> None:
    answer = web[role].get(f"/sites/{OTHER}{page}", follow_redirects=True)
    assert answer.status_code == 404
    assert "Beech End" not in answer.text


def test_measured_and_expected_is_the_firm_s_page(own_web: Web) -> None:
    page = own_web["engineer"].get(f"/sites/{OWN}/expectations")
    assert page.status_code == 200
    assert "Measured and expected" in page.text
    figure = own_web["engineer"].get(f"/sites/{OWN}/figures/expected-signature.json")
    assert set(figure.json()) == {"data", "layout"}
    away = own_web["householder"].get(f"/sites/{OWN}/expectations", follow_redirects=False)
    assert (away.status_code, away.headers["Location"]) == (303, f"/sites/{OWN}/home")
    asked = own_web["nobody"].get(f"/sites/{OWN}/expectations", follow_redirects=False)
    assert (asked.status_code, asked.headers["Location"]) == (303, "/sign-in")


@pytest.mark.parametrize("page", PAGES_OF_THE_FIRM + PAGES_OF_THE_INSTALLER)
@pytest.mark.parametrize("role", ["householder", "link", "nobody"])
def test_the_firm_s_pages_are_the_firm_s(web: Web, role: str, page: str) -> None:
    answer = web[role].get(page, follow_redirects=False)
    if role == "nobody":
        assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in")
    else:
        assert answer.status_code == 403
    assert web["installer"].get(page, follow_redirects=False).status_code < 400


@pytest.mark.parametrize("page", PAGES_OF_THE_INSTALLER)
def test_an_engineer_takes_no_home_in(web: Web, page: str) -> None:
    assert web["engineer"].get(page, follow_redirects=False).status_code == 403


@pytest.mark.parametrize(
    ("url", "form"),
    [
        (f"/sites/{OWN}/works", {"day": "2026-01-06", "what": "curve lowered"}),
        ("/first-run/site", {"id": "elm", "name": "Elm"}),
        (f"/sites/{OWN}/points", {"x": "y"}),
    ],
)
def test_forms_need_their_session_s_secret(own_web: Web, url: str, form: dict[str, str]) -> None:
    for wrong in ("", "guess"):
        answer = own_web["installer"].post(url, data={**form, "csrf": wrong}, follow_redirects=False)
        assert answer.status_code == 403
    assert own_web["nobody"].post(url, data=form, follow_redirects=False).headers["Location"] == "/sign-in"


def test_a_work_is_entered_by_the_form(own_web: Web) -> None:
    csrf = own_web["engineer"].headers["X-CSRF-Token"]
    form = {"csrf": csrf, "day": "2026-01-06", "what": "curve lowered", "finding": ""}
    answer = own_web["engineer"].post(f"/sites/{OWN}/works", data=form, follow_redirects=False)
    assert answer.status_code == 303
    (work,) = own_web["engineer"].get(f"{PREFIX}/sites/{OWN}/works").json()["items"]
    assert (work["what"], work["finding"]) == ("curve lowered", None)


def test_nothing_but_health_and_signing_in_is_open(web: Web) -> None:
    assert web["nobody"].get("/healthz").json() == {"status": "ok"}
    for url in ("/", f"/sites/{OWN}", f"/sites/{OWN}/papers/month/2026-01"):
        assert web["nobody"].get(url, follow_redirects=False).headers["Location"] == "/sign-in"


def test_the_demo_is_open_on_this_machine_alone(service: Service) -> None:
    from dataclasses import replace

    from fieldfare.analysis.errors import InputError
    from fieldfare.api.running.serve import serve

    web = make_web(service, demo=True)
    assert web["nobody"].get("/").status_code == 200
    assert web["nobody"].get("/", headers={"Host": "rebound.example"}).status_code == 400
    with pytest.raises(InputError, match="this machine alone"):
        serve(replace(service.settings, demo=True, host="0.0.0.0"), print)


def test_the_description_has_examples_and_says_what_is_refused(web: Web) -> None:
    schema: dict[str, Any] = web["nobody"].get(f"{PREFIX}/openapi.json").json()
    for path, methods in schema["paths"].items():
        for method, operation in methods.items():
            assert operation.get("summary"), path
            assert "422" in operation["responses"], (method, path)
            media = operation["responses"]["422"]["content"]
            assert list(media) == ["application/problem+json"]
    assert "example" in json.dumps(schema["components"]["schemas"]["ResultDocument"])


def test_a_site_is_added_over_http(own_web: Web, tmp_path: Path) -> None:
    answer = own_web["installer"].post(f"{PREFIX}/sites", json={"file": site_text("elm")})
    assert answer.json() == {"id": "elm", "is_new": True, "points": 6}
    assert own_web["installer"].get(f"{PREFIX}/sites/elm/file").text == site_text("elm")
    assert own_web["installer"].get(f"{PREFIX}/sites/elm/result").status_code == 409
    assert own_web["installer"].delete(f"{PREFIX}/sites/elm").status_code == 204
