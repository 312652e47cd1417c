"""The winter check's verdicts and the forecast winter, on results with known figures."""

from __future__ import annotations

from typing import Any

import pytest

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.verdict import MATTERS, rule_codes
from fieldfare.analysis.reports.winter import CODES, Check, winter_checks
from fieldfare.analysis.reports.winter_forecast import WINTER_DAYS, forecast

SITE = """
[site]
id = "alder-row"
name = "Alder Row"
timezone = "Europe/London"
[design]
heat_loss_kw = 6.0
indoor_c = 20.0
outdoor_c = -4.0
[heat_pump]
rated_output_kw = 8.0
[cost]
currency = "GBP"
electricity = 0.30
standing_charge_per_day = 0.5
"""


@pytest.fixture
def site() -> Site:
    return parse_site(SITE)


def around(value: float, share: float = 0.05) -> dict[str, float]:
    return {"value": value, "low": value * (1 - share), "high": value * (1 + share)}


@pytest.fixture
def result() -> dict[str, Any]:
    """A house of 250 W/K with a base of 15 C, heated at 3.0 whatever the weather."""
    return {
        "findings": [],
        "not_assessed": [],
        "heat_loss": {
            "coefficient_w_per_k": around(250.0),
            "heat_loss_kw": around(6.0),
            "base_temperature_c": 15.0,
            "reason": None,
        },
        "capacity": {
            "output_at_design_kw": around(7.0),
            "load_kw": around(5.0),
            "margin": around(1.4),
            "reason": None,
        },
        "heating_curve": {
            "fitted": [[-4.0, 45.0], [15.0, 28.0]],
            "above_design_k": 0.4,
            "slope": around(-0.9),
            "designed_slope": -0.9,
        },
        "cycling": {"starts_per_running_hour": 1.0, "median_run_minutes": 30.0, "short_run_share": 0.02},
        "defrost": {"count": 100, "per_frost_hour": 0.5, "median_minutes": 4.0, "share_of_heat": 0.02},
        "hot_water": {
            "last_pasteurised": None,
            "median_reheat_minutes": 30.0,
            "litres_at_40c_when_full": 300.0,
            "standing_loss_kwh_per_day": 1.5,
        },
        "energy": {
            "electricity_kwh": {"hot_water": 365.0, "backup_heater": 0.0, "immersion": 0.0, "idle": 50.0}
        },
        "coverage": {"share": 0.99},
        "comfort": {"zones": {}},
        "cost": {"mean_price": 0.30, "currency": "GBP"},
        "performance": {
            "space_heating": around(3.0, 0.02),
            "H4": around(2.9),
            "H3": None,
            "H2": None,
            "expected": None,
            "by_day": [{}] * 365,
        },
    }


def finding(code: str, severity: str, until: str | None = None) -> dict[str, Any]:
    evidence = [{"label": "median run", "value": 8.0, "unit": "min", "limit": 10.0}]
    return {
        "code": code,
        "severity": severity,
        "until": until,
        "headline": f"{code} is so",
        "evidence": evidence,
    }


def by_key(site: Site, result: dict[str, Any]) -> dict[str, Check]:
    return {c.key: c for c in winter_checks(site, result)}


def test_a_healthy_season_is_in_order_throughout(site: Site, result: dict[str, Any]) -> None:
    checks = [c for c in winter_checks(site, result) if "does not look" not in c.says]
    assert {c.verdict for c in checks} == {"in order"}


@pytest.mark.parametrize(
    ("severity", "until", "verdict"),
    [
        ("urgent", None, "not in order"),
        ("act", None, "not in order"),
        ("watch", None, "attention"),
        ("note", None, "in order"),
        ("act", "2025-12-01", "in order"),
    ],
)
def test_a_findings_severity_decides_its_check_while_it_goes_on(
    site: Site, result: dict[str, Any], severity: str, until: str | None, verdict: str
) -> None:
    result["findings"] = [finding("short_cycling", severity, until)]
    check = by_key(site, result)["cycling"]
    assert check.verdict == verdict
    assert (check.numbers[0].limit == 10.0) is (verdict in ("not in order", "attention"))


@pytest.mark.parametrize("key", [k for k in CODES if k != "design_day"])
def test_a_check_none_of_whose_questions_could_be_answered_cannot_be_told(
    site: Site, result: dict[str, Any], key: str
) -> None:
    result["not_assessed"] = [{"code": c, "reason": "needs flow_rate"} for c in CODES[key]]
    check = by_key(site, result)[key]
    assert check.verdict == "can't tell"
    assert len(check.unanswered) == len([c for c in CODES[key] if c in rule_codes()])


@pytest.mark.parametrize(
    ("key", "unseen", "verdict"),
    [
        ("backup", ("fault_reported", "frost_risk", "backup_heater_use"), "can't tell"),
        ("backup", ("backup_heater_use",), "can't tell"),
        ("backup", ("fault_reported",), "in order"),
        ("water", ("pressure_low", "pressure_falling", "pressure_high", "pressure_swings"), "can't tell"),
        ("water", ("low_flow", "falling_flow"), "can't tell"),
        ("water", ("buffer_mixing",), "in order"),
        ("controls", ("room_below_target",), "can't tell"),
        ("curve", ("no_weather_compensation",), "in order"),
    ],
)
def test_a_check_is_in_order_only_where_what_it_asks_was_assessed(
    site: Site, result: dict[str, Any], key: str, unseen: tuple[str, ...], verdict: str
) -> None:
    """One rule with the home's verdict: a safety question that nobody could answer leaves no check green."""
    result["not_assessed"] = [{"code": c, "reason": "needs more"} for c in unseen]
    assert by_key(site, result)[key].verdict == verdict


def test_no_check_is_in_order_that_holds_an_open_question_of_the_verdict(result: dict[str, Any]) -> None:
    water, curve = "cylinder_litres = 200\nsetpoint_c = 50.0", "points = [[-3.0, 45.0], [15.0, 28.0]]"
    site = parse_site(f"{SITE}[hot_water]\n{water}\n[heating_curve]\n{curve}\n")
    for matter in MATTERS:
        for question in matter.questions:
            result["not_assessed"] = [{"code": c, "reason": "needs more"} for c in question.codes]
            for check in winter_checks(site, result):
                if set(CODES[check.key]) & set(question.codes):
                    assert check.verdict == "can't tell", (question.asks, check.key)


@pytest.mark.parametrize("key", [k for k in CODES if k != "design_day"])
def test_a_check_of_what_is_not_there_does_not_apply(site: Site, result: dict[str, Any], key: str) -> None:
    result["not_assessed"] = [
        {"code": c, "reason": "the system has none", "reason_code": "not_applicable"}
        for c in CODES[key]
        if c in rule_codes()
    ]
    check = by_key(site, result)[key]
    assert (check.verdict, check.says) == ("does not apply", "the system has none")
    # One of them that does apply and was not assessed leaves it unknown.
    result["not_assessed"][0] |= {"reason": "needs flow_rate", "reason_code": "missing_quantity"}
    assert by_key(site, result)[key].verdict == "can't tell"


@pytest.mark.parametrize(
    ("margin", "verdict"),
    [
        ((1.4, 1.2, 1.6), "in order"),
        ((1.1, 0.9, 1.3), "attention"),
        ((0.95, 0.8, 1.1), "attention"),
        ((0.8, 0.7, 0.9), "not in order"),
    ],
)
def test_the_design_day_is_held_where_even_the_low_end_carries_it(
    site: Site, result: dict[str, Any], margin: tuple[float, float, float], verdict: str
) -> None:
    result["capacity"]["margin"] = dict(zip(("value", "low", "high"), margin, strict=True))
    assert by_key(site, result)["design_day"].verdict == verdict


def test_a_designed_back_up_makes_a_short_unit_no_fault(result: dict[str, Any]) -> None:
    site = parse_site(SITE.replace("outdoor_c = -4.0", "outdoor_c = -4.0\nbivalent_c = -1.0"))
    result["capacity"]["margin"] = around(0.9, 0.05)
    check = by_key(site, result)["design_day"]
    assert check.verdict == "in order"
    assert "meant to help" in check.says


def test_without_a_margin_the_design_day_cannot_be_told(site: Site, result: dict[str, Any]) -> None:
    result["capacity"] |= {"margin": None, "reason": "needs design.outdoor_c"}
    check = by_key(site, result)["design_day"]
    assert (check.verdict, check.says) == ("can't tell", "needs design.outdoor_c")


@pytest.mark.parametrize(("basis", "said"), [("measured", "with certainty"), ("rating", "by its rating")])
def test_only_a_measured_output_covers_the_load_with_certainty(
    site: Site, result: dict[str, Any], basis: str, said: str
) -> None:
    result["capacity"]["basis"] = basis
    check = by_key(site, result)["design_day"]
    assert said in check.says
    assert ("with certainty" in check.says) is (basis == "measured")
    assert any(("measured" if basis == "measured" else "by rating") in n.label for n in check.numbers)


def winter_days(outdoor: float, n: int = WINTER_DAYS) -> list[dict[str, Any]]:
    return [
        {"day": f"2025-{(10, 11, 12)[i % 3]:02d}-{i % 28 + 1:02d}", "outdoor": outdoor, "spf_space": 3.0}
        for i in range(n)
    ]


def test_a_winter_at_five_degrees_takes_what_arithmetic_says(site: Site, result: dict[str, Any]) -> None:
    f = forecast(site, result, winter_days(5.0))
    heat = 250.0 * (15.0 - 5.0) * 24 * WINTER_DAYS / 1000.0
    used = heat / 3.0 + 365.0 / 365 * WINTER_DAYS
    assert f.degree_days == pytest.approx(10.0 * WINTER_DAYS)
    assert f.heat_kwh.value == pytest.approx(heat)
    assert f.electricity_kwh.value == pytest.approx(used)
    assert f.cost.value == pytest.approx(used * 0.30 + 0.5 * WINTER_DAYS)
    assert f.electricity_kwh.low is not None
    assert f.electricity_kwh.high is not None
    assert f.electricity_kwh.low < used * 0.87 < used * 1.13 < f.electricity_kwh.high


def test_without_a_winter_of_its_own_the_place_has_a_reference_season(
    site: Site, result: dict[str, Any]
) -> None:
    f = forecast(site, result, winter_days(5.0, 40))
    assert "EN 14825" in f.weather
    assert f.degree_days is not None
    assert 1000 < f.degree_days < 3500


def test_the_coldest_day(site: Site, result: dict[str, Any]) -> None:
    coldest = forecast(site, result, winter_days(5.0)).coldest
    assert coldest is not None
    assert coldest.flow_c == pytest.approx(45.0)
    assert coldest.backup_kwh.value == 0.0
    assert coldest.electricity_kwh.value == pytest.approx(5.0 * 24 / 3.0 + 1.0)
    result["capacity"]["load_kw"] = around(8.0)
    short = forecast(site, result, winter_days(5.0)).coldest
    assert short is not None
    assert short.backup_kwh.value == pytest.approx(24.0)


def test_an_unknown_heat_loss_gives_the_reason_and_no_number(site: Site, result: dict[str, Any]) -> None:
    result["heat_loss"] |= {"coefficient_w_per_k": None, "reason": "needs a heat meter"}
    f = forecast(site, result, winter_days(5.0))
    assert not f.heat_kwh
    assert f.electricity_kwh.reason == "needs a heat meter"


def test_the_water_check_shows_the_last_months_flow_and_pressure(site: Site, result: dict[str, Any]) -> None:
    days = [{"day": "2025-01-01", "flow_rate": 1.0 if i < 60 else 0.8, "pressure": 1.6} for i in range(90)]
    check = next(c for c in winter_checks(site, result, days) if c.key == "water")
    assert [(n.label, n.value) for n in check.numbers] == [
        ("water flow while heating", 0.8),
        ("circuit pressure, median of the newest 30 days", 1.6),
    ]


@pytest.mark.parametrize(
    ("last", "label"),
    [("2025-03-31", "efficiency, rooms (design: of a whole year)"), ("2025-09-30", "efficiency, rooms")],
)
def test_a_year_s_design_beside_a_season_says_so(result: dict[str, Any], last: str, label: str) -> None:
    site = parse_site(SITE.replace("outdoor_c = -4.0", "outdoor_c = -4.0\nspf_space = 3.4"))
    season = result | {"period": {"from": "2024-10-01", "to": last}}
    numbers = [n for check in winter_checks(site, season, []) for n in check.numbers]
    told = next(n for n in numbers if n.limit == 3.4)
    assert told.label == label
