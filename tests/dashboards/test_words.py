"""Number forms, dates, money and the plain names of codes."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from fieldfare.dashboards.text import labels, words
from tests.contract_codes import CONTRACT_CODES


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "–"),
        (float("nan"), "–"),
        (0.0, "0"),
        (3.14159, "3.14"),
        (41.26, "41.3"),
        (15200.4, "15\u202f200"),
        (-3.0, "−3"),
        (-0.001, "0.00"),
    ],
)
def test_numbers_have_three_figures_and_a_true_minus(value: float | None, text: str) -> None:
    assert words.number(value) == text


def test_an_interval_stands_behind_its_value() -> None:
    assert words.interval({"value": 3.412, "low": 3.28, "high": 3.54}) == "3.41 (3.28 to 3.54)"
    assert words.interval({"value": 8.4}, "kW", 1) == "8.4\u00a0kW"
    assert words.interval(None) == "–"


@pytest.mark.parametrize(
    ("amount", "currency", "text"),
    [
        (141.4, "GBP", "£141"),
        (3.5, "EUR", "€3.50"),
        (-31.0, "GBP", "−£31"),
        (80.0, "SEK", "SEK\u00a080"),
        (None, "GBP", "–"),
    ],
)
def test_money_is_in_its_currency(amount: float | None, currency: str, text: str) -> None:
    assert words.money(amount, currency) == text


def test_times_are_in_the_sites_zone() -> None:
    assert (
        words.moment(datetime(2025, 7, 1, 22, 30, tzinfo=UTC), "Europe/Vienna")
        == "2\u00a0Jul\u00a02025, 00:30"
    )


@pytest.mark.parametrize(
    ("minutes", "text"),
    [
        (0.5, "just now"),
        (5, "5 minutes ago"),
        (180, "3 hours ago"),
        (3 * 1440, "3 days ago"),
        (21 * 1440, "3 weeks ago"),
    ],
)
def test_ages_are_told_in_the_largest_unit(minutes: float, text: str) -> None:
    now = datetime(2025, 1, 1, tzinfo=UTC)
    assert words.age(now - timedelta(minutes=minutes), now) == text


@pytest.mark.parametrize("code", CONTRACT_CODES)
def test_every_finding_has_a_plain_title_and_a_figure(code: str) -> None:
    assert "_" not in words.finding_title(code)
    assert words.finding_title(code) != words.plain(code), "a title of its own, not the code again"
    assert words.figure_for(code) is not None


def test_every_cause_the_findings_name_has_plain_words() -> None:
    folder = Path(labels.__file__).parents[2] / "analysis" / "findings"
    text = "\n".join(p.read_text(encoding="utf-8") for p in folder.rglob("*.py"))
    named = set(re.findall(r'Cause\(\s*"([a-z_]+)"', text))
    assert named <= labels.CAUSES.keys()


def test_a_reason_names_quantities_in_plain_words() -> None:
    assert (
        words.reason("needs outdoor_temperature or flow_rate")
        == "Needs readings of outdoor temperature or water flow rate"
    )
    assert words.reason("") == ""


def test_evidence_that_causes_share_is_said_once() -> None:
    """Each cause keeps its own evidence; what all are weighed by stands apart."""
    own = [
        {"cause": "a", "weight": 0.7, "because": "it rose"},
        {"cause": "b", "weight": 0.3, "because": "it fell"},
    ]
    shown = [c | {"likely": f"{100 * c['weight']:.0f}\u00a0% likely"} for c in own]
    assert words.causes_told(own) == (shown, "")
    alike = [c | {"because": "it ran 72 % of the time"} for c in own]
    assert words.causes_told(alike) == ([c | {"because": ""} for c in shown], "it ran 72 % of the time")
    mixed, by = words.causes_told([*own, own[0] | {"cause": "c"}])
    assert ([c["because"] for c in mixed], by) == (["it rose", "it fell", ""], "")
    assert words.causes_told(own[:1]) == (shown[:1], "")


def test_a_single_cause_is_not_called_certain() -> None:
    (cause,), _ = words.causes_told([{"cause": "a", "weight": 1.0, "because": ""}])
    assert cause["likely"] == "the only listed cause that fits"


def test_a_cause_that_is_a_finding_has_its_name() -> None:
    assert words.cause_words("backup_heater_use") == words.small_first(
        words.finding_title("backup_heater_use")
    )


def _evidence(value: float, limit: float | None = None, side: str | None = None) -> dict[str, Any]:
    return {"label": "x", "value": value, "limit": limit, "side": side, "unit": "m3/h"}


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.4408, "0.441\xa0m³/h; trouble below 0.442\xa0m³/h"),
        (0.4424, "0.4424\xa0m³/h; within its limit (trouble below 0.4420\xa0m³/h)"),
        (0.38, "0.38\xa0m³/h; trouble below 0.44\xa0m³/h"),
        (0.442, "0.44\xa0m³/h; within its limit (trouble below 0.44\xa0m³/h)"),
    ],
)
def test_a_value_near_its_limit_has_the_decimals_that_tell_them_apart(value: float, text: str) -> None:
    assert words.evidence_words(_evidence(value, 0.442, "below")) == text


def test_what_lies_beyond_its_limit_is_told_first() -> None:
    within, plain, beyond = _evidence(1.1, 0.9, "below"), _evidence(3.0), _evidence(0.8, 0.9, "below")
    assert words.telling_first([within, plain, beyond]) == [beyond, plain, within]
    assert words.telling_first([plain, within]) == [plain, within]
