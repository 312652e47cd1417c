"""A few plants through the properties of every result; `python -m tests.situations.properties` searches all
faults."""

from __future__ import annotations

import pytest

from tests.benchmarks.confusion import Case
from tests.situations.properties import checked, violations

CASES = (
    Case(100, None, None, "healthy", None, 60),
    Case(101, "room_below_target", "curve_too_low", "plain", "full", 60),
    Case(102, "short_cycling", "thermostat_chopping", "plain", "full", 60),
    Case(103, "flow_temperature_above_curve", "curve_set_high", "plain", "full", 60),
    Case(104, "hot_water_shortfall", "cylinder_small", "plain", "full", 60),
    Case(105, "excessive_defrost", "coil_airflow", "gross", "full", 60),
)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.code or "healthy")
def test_a_result_does_not_contradict_itself(case: Case) -> None:
    assert checked(case)[1] == []


def test_the_search_finds_what_it_is_for() -> None:
    raised = {
        "code": "room_below_target",
        "severity": "act",
        "until": None,
        "changes": [["flow_temperature", "raise"]],
    }
    lowered = {
        "code": "heat_loss_below_design",
        "severity": "watch",
        "until": None,
        "changes": [["flow_temperature", "lower"]],
    }
    idle = {
        "label": "runs",
        "value": 14.0,
        "unit": "min",
        "limit": 12.0,
        "limit_name": "short_run_minutes",
        "side": "below",
    }
    document = {
        "findings": [raised | {"evidence": [idle]}, lowered | {"evidence": []}],
        "verdict": {"verdict": "in_order", "missing": []},
    }
    found = violations(document)
    assert len(found) == 4
