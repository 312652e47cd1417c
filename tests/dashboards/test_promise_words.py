"""Texts about the design's promise: positive only if certain."""

from __future__ import annotations

from typing import Any

import pytest

from fieldfare.dashboards.checks.lists import _as_written
from fieldfare.dashboards.text.promise import good_news, promise_remark


def result_of(*sure: float) -> dict[str, Any]:
    measured = {"value": 3.9, "low": 3.7, "high": 4.1}
    uses = ("space_heating", "hot_water")
    return {
        "promise": [
            {"use": use, "measured": measured, "promised": 3.4, "sure": p}
            for use, p in zip(uses, sure, strict=False)
        ]
    }


@pytest.mark.parametrize(
    ("sure", "says"), [(0.99, "above its promise"), (0.5, "about its promise"), (0.01, "below its promise")]
)
def test_the_remark_says_which_side_of_the_promise(sure: float, says: str) -> None:
    remark = promise_remark(result_of(sure), "space_heating")
    assert says in remark
    assert "3.9 (3.7 to 4.1)" in remark
    assert promise_remark(result_of(sure), "hot_water") == ""


def test_good_news_is_said_only_where_every_promise_is_kept() -> None:
    assert "Good news" in good_news(result_of(0.99, 0.97))
    assert good_news(result_of(0.99, 0.6)) == ""
    assert good_news(result_of()) == ""
    assert good_news({}) == ""


@pytest.mark.parametrize(
    ("value", "shown"),
    [(-2.5, "−2.5\u00a0°C"), (26.5, "26.5\u00a0°C"), (48.0, "48\u00a0°C"), (10.25, "10.25\u00a0°C")],
)
def test_a_designed_value_keeps_its_decimals(value: float, shown: str) -> None:
    assert _as_written(value, "°C") == shown
