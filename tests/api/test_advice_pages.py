"""Advice and cold snap by page and API: the firm sees all, a household only what it may change."""

from __future__ import annotations

import pytest

from fieldfare.analysis.advice.plan import HOUSEHOLD_SETS, PLANNED
from fieldfare.dashboards.advice.present_advice import LINES, STOP, TITLES, present_advice
from tests.api.web import OTHER, OWN, Web


@pytest.mark.parametrize("role", ["installer", "engineer", "householder", "link"])
def test_those_who_see_the_home_see_its_advice(web: Web, role: str) -> None:
    page = web[role].get(f"/sites/{OWN}/advice")
    assert page.status_code == 200
    assert "What to set" in page.text
    assert "Traceback" not in page.text


@pytest.mark.parametrize("path", ["/sites/{}/advice", "/api/v1/sites/{}/advice"])
def test_others_are_refused(web: Web, path: str) -> None:
    assert web["householder"].get(path.format(OTHER)).status_code == 404
    assert web["nobody"].get(path.format(OWN), follow_redirects=False).status_code in (303, 401)
    assert web["device"].get(path.format(OWN)).status_code in (401, 403)


def test_a_household_is_told_of_its_own_settings_alone(web: Web) -> None:
    firm, home = (web[r].get(f"/api/v1/sites/{OWN}/advice").json() for r in ("engineer", "householder"))
    codes = {x["code"] for part in ("advice", "left_out") for x in firm[part]}
    assert {"heating_curve", "pump_speed"} <= codes
    assert {x["code"] for part in ("advice", "left_out") for x in home[part]} <= HOUSEHOLD_SETS
    assert "heating curve" not in web["householder"].get(f"/sites/{OWN}/advice").text


FORECAST = [
    {"time": "2026-01-10T00:00:00+00:00", "outdoor_c": -2.0},
    {"time": "2026-01-11T00:00:00+00:00", "outdoor_c": -30.0},
]


@pytest.mark.parametrize("role", ["installer", "engineer"])
def test_the_firm_sees_every_home_in_a_forecast(web: Web, role: str) -> None:
    told = web[role].post("/api/v1/fleet/cold-snap", json=FORECAST)
    assert told.status_code == 200
    assert {OWN, OTHER} <= {home["site"] for home in told.json()["homes"]}
    assert web[role].get("/cold-snap").status_code == 200


def test_a_forecast_is_not_for_households(web: Web) -> None:
    for role in ("householder", "link", "device"):
        assert web[role].post("/api/v1/fleet/cold-snap", json=FORECAST).status_code in (401, 403)
        assert web[role].get("/cold-snap", follow_redirects=False).status_code in (303, 401, 403)
    assert web["nobody"].get("/cold-snap", follow_redirects=False).status_code in (303, 401)


def test_a_sent_forecast_without_the_sessions_token_is_refused(web: Web) -> None:
    sent = web["installer"].post("/cold-snap", files={"file": ("f.csv", "time,outdoor_c\n")})
    assert sent.status_code in (401, 403)


def test_a_wrong_row_is_named(web: Web) -> None:
    told = web["installer"].post("/api/v1/fleet/cold-snap", json=[{"time": "soon", "outdoor_c": 1}])
    assert told.status_code == 422
    assert "row 1" in told.text


def test_every_setting_has_its_words() -> None:
    for code in PLANNED:
        assert code in TITLES
        assert code in STOP
    assert set(LINES) <= set(PLANNED)


def test_dear_hours_are_told_in_money_and_with_what_the_rooms_do() -> None:
    told = present_advice(
        {
            "of": "a year like the last",
            "currency": "GBP",
            "advice": [
                {
                    "code": "dear_hours",
                    "now": 17.0,
                    "to": 2.0,
                    "unit": "h",
                    "saves": {"value": 0.0, "low": 0.0, "high": 0.0},
                    "money": {"value": 60.0, "low": 40.0, "high": 80.0},
                    "room": {"value": 0.3, "low": 0.2, "high": 0.4},
                    "zones": [],
                    "curve": None,
                    "recovery_h": None,
                    "holds": [],
                    "caution": "",
                }
            ],
            "left_out": [],
        }
    )["advice"][0]
    assert told["saves"] == ""
    assert told["money"] == "Saves £60 (£40 to £80) by cheaper hours, a year like the last."
    line = told["lines"][0].replace("\N{NO-BREAK SPACE}", " ")
    assert line.startswith("Electricity is dearest for 2 h from 17 h on.")
    assert "0.3" in told["lines"][1]
