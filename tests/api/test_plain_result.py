"""Results as plain text: no negative zero, and reasons for missing figures."""

from __future__ import annotations

import pytest

from fieldfare.api.cli.options import for_terminal
from fieldfare.api.cli.plain_result import number, plain_result


@pytest.mark.parametrize(
    ("value", "digits", "says"),
    [(-0.3, 0, "0 kWh"), (-0.6, 0, "−1 kWh"), (None, 0, "not known"), (1234.56, 1, "1 234.6 kWh")],
)
def test_a_number_that_is_nothing_has_no_sign(value: float | None, digits: int, says: str) -> None:
    assert for_terminal(number(value, "kWh", digits)) == says


def test_a_figure_that_is_missing_says_why() -> None:
    result = {
        "period": {"from": "2026-01-01", "to": "2026-01-31"},
        "coverage": {"share": 1.0},
        "verdict": {"verdict": "in_order", "because": [], "missing": []},
        "findings": [],
        "not_assessed": [],
        "performance": {},
        "capacity": {},
        "energy": {"electricity_kwh": {"total": 5.0, "cooling": 0.0}, "heat_kwh": {}},
        "cost": {"currency": "EUR", "co2_kg": None, "reasons": {"co2_kg": "needs cost.country"}},
    }
    text = plain_result(result, "Alder Row")
    assert "carbon dioxide" in text
    assert "not known (Needs cost.country)" in text
    assert "cooling" not in text, "a home that does not cool has no line about it"
