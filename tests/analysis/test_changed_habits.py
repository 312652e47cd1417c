"""What works otherwise than before, of kinds that no rule lists, is never in order."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.findings.changed_habits import changed_habits
from fieldfare.analysis.findings.model import CHANGED_HABIT, Recognised
from fieldfare.analysis.plant.load import parse_kept_site
from fieldfare.analysis.reports.verdict import rule_codes, verdict
from tests.analysis.operation_tables import DAYS, FIRST, OUTDOOR, context_of, days_of
from tests.analysis.site_text import WHOLE

LATE = np.arange(DAYS) >= 28
NOISE = np.random.default_rng(5).normal(size=DAYS)


def usual(**columns: Any) -> dict[str, Any]:
    """A house whose running follows the weather, with each day's own scatter."""
    return {
        "minutes_running": 1000.0 - 25.0 * OUTDOOR + 20.0 * NOISE,
        "minutes_pump_known": 300.0,
        "minutes_pump_idle": 30.0 + 5.0 * NOISE,
        "minutes_rest": 400.0,
        "heat_power_max": 8000.0 - 150.0 * OUTDOOR + 150.0 * NOISE,
        "room": 20.0,
        "room_min": 19.4 + 0.1 * NOISE,
    } | columns


def told(**columns: Any) -> tuple[Recognised, ...]:
    return changed_habits(context_of(days_of(**usual(**columns))))


def test_a_plant_that_follows_the_weather_has_not_changed() -> None:
    assert told() == ()


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        (
            {"minutes_pump_idle": np.where(LATE, 290.0, 30.0) + 5.0 * NOISE},
            "water flows while the unit rests",
        ),
        (
            {"heat_power_max": np.where(LATE, 4500.0, 8000.0 - 150.0 * OUTDOOR) + 150.0 * NOISE},
            "greatest heat of a day",
        ),
        ({"room_min": np.where(LATE, 17.6, 19.4) + 0.1 * NOISE}, "dip below their mean"),
        (
            {"minutes_running": np.where(LATE, 480.0, 1000.0 - 25.0 * OUTDOOR) + 20.0 * NOISE},
            "the unit runs, hours a day",
        ),
    ],
    ids=["pump runs on", "output capped", "rooms swing", "some hours only"],
)
def test_trouble_of_no_listed_kind_is_told_and_never_in_order(columns: dict[str, Any], words: str) -> None:
    [change] = told(**columns)
    assert words in change.words
    assert abs(np.datetime64(change.since) - (FIRST + np.timedelta64(28, "D"))) <= np.timedelta64(1, "D")
    site = parse_kept_site(WHOLE)
    document: dict[str, Any] = {"findings": [], "not_assessed": [], "recognised": [vars(change)]}
    given = verdict(site, document, rule_codes())
    assert given["verdict"] == "not_known"
    assert words in given["missing"][0]["reason"]
    quiet = document | {"recognised": [vars(change) | {"kind": "away"}]}
    assert verdict(site, quiet, rule_codes())["verdict"] == "in_order"
    assert change.kind == CHANGED_HABIT


def test_little_changes_and_single_days_are_no_other_habit() -> None:
    assert told(minutes_running=np.where(LATE, 900.0, 1000.0) - 25.0 * OUTDOOR + 20.0 * NOISE) == ()
    odd = np.arange(DAYS) == 40
    assert told(heat_power_max=np.where(odd, 3000.0, 8000.0 - 150.0 * OUTDOOR) + 150.0 * NOISE) == ()
