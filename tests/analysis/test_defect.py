"""Alternative explanations of a finding: complete tables, and hand-made states."""

from __future__ import annotations

from typing import Any

import pytest

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.findings.judge import DATA_RULES, PLANT_RULES, RULES
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.alternative_findings import ALTERNATIVE_FINDINGS
from fieldfare.analysis.reports.defect import _METERS, SHOWN_BY, alternatives, finding_of
from fieldfare.analysis.reports.figure_rows import FIGURES, figure_rows

CODES = {rule.code for rule in RULES}
SITE = parse_site('[site]\nid = "elm"\nname = "Elm"\ntimezone = "Europe/London"\n')


def finding(code: str, *causes: str) -> dict[str, Any]:
    named = [{"cause": c, "weight": 0.5, "because": "so"} for c in causes]
    return {"code": code, "headline": f"{code} is there", "causes": named}


RESULT: dict[str, Any] = {
    "period": {"from": "2026-01-01", "to": "2026-02-01"},
    "findings": [finding("efficiency_fell", "a"), finding("low_flow")],
    "not_assessed": [{"code": "buffer_mixing", "reason": "needs distribution_flow_temperature"}],
    "recognised": [{"kind": "away", "since": "2026-01-05", "until": "2026-01-09", "words": "nobody at home"}],
    "coverage": {"share": 1.0},
    "energy": {"electricity_kwh": {"total": 100.0}, "heat_kwh": {}, "reason": "needs a heat meter"},
    "performance": {
        "H2": {"value": 3.0, "low": 2.8, "high": 3.2},
        "reasons": {"H1": "needs fan_electricity"},
    },
    "heat_loss": {"reason": "needs outdoor_temperature"},
    "capacity": {"reason": None},
    "heating_curve": {"above_design_k": 1.5},
    "cycling": {"starts": 12, "starts_per_running_hour": 0.4},
    "defrost": {},
    "hot_water": {"reasons": {"reheats": "no cylinder"}},
    "comfort": {"zones": {"house": {"mean_c": 20.5}}},
}


def test_every_rule_of_the_plant_has_its_rivals() -> None:
    assert ALTERNATIVE_FINDINGS.keys() == {rule.code for rule in PLANT_RULES}
    for code, others in ALTERNATIVE_FINDINGS.items():
        assert others, code
        assert code not in others
        assert set(others) <= CODES


def test_meters_are_checked_by_rules_on_the_data() -> None:
    known = {rule.code for rule in DATA_RULES}
    assert {code for codes in _METERS.values() for code in codes} <= known
    assert set(SHOWN_BY) <= CODES
    assert {name for names in SHOWN_BY.values() for name in names} <= {name for name, _, _ in FIGURES}


def test_each_alternative_says_whether_it_is_ruled_out() -> None:
    found = {
        (a.kind, a.code): a
        for a in alternatives(RESULT, RESULT["findings"][0], {"flow_temperature"}, ("a", "b"))
    }
    assert (found["cause", "a"].state, found["cause", "a"].weight) == ("named", 0.5)
    assert found["cause", "b"].state == "not_named"
    assert (found["finding", "low_flow"].state, found["finding", "low_flow"].because) == (
        "found",
        "low_flow is there",
    )
    assert (found["finding", "buffer_mixing"].state, found["finding", "buffer_mixing"].because) == (
        "open",
        "needs distribution_flow_temperature",
    )
    cycling = found["finding", "short_cycling"]
    assert (cycling.state, cycling.figures) == ("not_found", ("cycling.starts_per_running_hour",))
    assert found["meter", "flow_return_swapped"].state == "not_found"
    assert ("meter", "outdoor_sensor_biased") not in found
    assert found["days", "away"].because == "2026-01-05 to 2026-01-09: nobody at home"


def test_figures_have_their_interval_or_their_reason() -> None:
    told = {row["name"]: row for row in figure_rows(RESULT)}
    assert [told["performance.H2"][k] for k in ("value", "low", "high", "reason")] == [3.0, 2.8, 3.2, ""]
    assert told["performance.H1"]["reason"] == "needs fan_electricity"
    assert told["heat_loss.ratio"]["reason"] == "needs outdoor_temperature"
    assert told["hot_water.reheats"]["reason"] == "no cylinder"
    assert told["defrost.count"]["reason"] == "not known from these readings"
    assert told["comfort.zones.house.mean_c"]["value"] == 20.5


def test_a_finding_that_is_not_there_is_named_with_why() -> None:
    assert finding_of(SITE, RESULT, "low_flow")["headline"] == "low_flow is there"
    with pytest.raises(
        InputError, match="found there: efficiency_fell, low_flow; buffer_mixing was not assessed"
    ):
        finding_of(SITE, RESULT, "buffer_mixing")
