"""Formats: one minus sign, one thousands separator, one date format; no internal names on pages."""

from __future__ import annotations

import pytest

from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.dashboards.text import formats, words


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("fell by 14% from 2026-01-01", "fell by 14\u00a0% from 1\u00a0Jan\u00a02026"),
        ("in weather above -9 °C", "in weather above −9\u00a0°C"),
        ("191,004 readings", "191\u202f004 readings"),
        ("34 kWh in 2026-03", "34\u00a0kWh in March 2026"),
        ("EN 442-2 at A7/W35, H2-H4", "EN 442-2 at A7/W35, H2-H4"),
        ("between 2 and -3, +- 0.5", "between 2 and −3, ± 0.5"),
        ("1, 2 and 3", "1, 2 and 3"),
        ("electricity every 1440 minutes or closer", "electricity every day or closer"),
        ("flow every 15 minutes, heat every 120 minutes", "flow every 15 minutes, heat every 2 hours"),
    ],
)
def test_sentences_of_the_analysis_take_the_same_forms(text: str, told: str) -> None:
    assert formats.tidy(text) == told
    assert formats.tidy(told) == told, "twice changes nothing more"


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (10070.0, "min", "10\u202f070\u00a0min"),
        (0.0004, "bar/week", "0.0004\u00a0bar a week"),
        (38.0, "%", "38\u00a0%"),
        (-9.0, "degC", "−9\u00a0°C"),
        (0.0, "kWh", "0\u00a0kWh"),
        ("2026-01-01", "", "1\u00a0Jan\u00a02026"),
    ],
)
def test_measures(value: float | str, unit: str, text: str) -> None:
    assert formats.measure(value, unit) == text


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("needs heat_output, heat_pump_electricity", "Needs readings of heat output, heat pump electricity"),
        ("5 K (from memory)", "5\u00a0K"),
        ("starts stay below it (reference 9.3)", "Starts stay below it"),
        ("needs design.outdoor_c", "Needs the design outdoor temperature"),
        ("needs [cost] in the site file", "Needs prices (not entered yet)"),
    ],
)
def test_what_is_internal_is_said_in_plain_words(text: str, told: str) -> None:
    assert words.reason(text) == told


@pytest.mark.parametrize("name", LIMITS)
def test_no_limits_source_leaks_where_it_was_looked_up(name: str) -> None:
    told = words.without_remarks(LIMITS[name].source)
    for leak in ("from memory", "reference 6", "reference 9", "limits table"):
        assert leak not in told


@pytest.mark.parametrize(
    ("evidence", "told"),
    [
        (
            {"value": 8.2, "unit": "min", "limit": 12.0, "side": "below"},
            "8.20\u00a0min; trouble below 12\u00a0min",
        ),
        (
            {"value": 12.8, "unit": "min", "limit": 12.0, "side": "below"},
            "12.8\u00a0min; within its limit (trouble below 12\u00a0min)",
        ),
        (
            {"value": 31, "unit": "1/day", "limit": 24.0, "side": "above"},
            "31\u00a0a day; trouble above 24\u00a0a day",
        ),
        ({"value": 31, "unit": "1/day", "limit": None, "side": None}, "31\u00a0a day"),
        ({"value": 3, "unit": "K", "limit": 2.0}, "3\u00a0K; limit 2\u00a0K"),
        (
            {"value": 10070.0, "unit": "min", "limit": 1440.0, "side": "above"},
            "7\u00a0days; trouble above 24\u00a0h",
        ),
    ],
)
def test_evidence_says_on_which_side_the_trouble_lies(evidence: dict[str, object], told: str) -> None:
    assert words.evidence_words(evidence) == told


@pytest.mark.parametrize(
    ("minutes", "told"),
    [
        (75, "75 min"),
        (119, "119 min"),
        (120, "2 h"),
        (135, "2.5 h"),
        (150, "2.5 h"),
        (170, "3 h"),
        (660, "11 h"),
    ],
)
def test_a_visit_of_two_and_a_half_hours_is_not_told_as_two(minutes: float, told: str) -> None:
    assert formats.duration(minutes).replace("\u00a0", " ") == told


def test_a_quantity_at_the_end_of_a_sentence_is_named() -> None:
    assert words.reason("Needs room_temperature.") == "Needs room temperature."
