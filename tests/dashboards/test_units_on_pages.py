"""Units on pages and papers: notation of the SI Brochure, never internal names."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from fieldfare.dashboards import pages
from fieldfare.dashboards.figures.two_homes import Home
from fieldfare.dashboards.papers import paper_html
from fieldfare.dashboards.rows.days import day_rows
from fieldfare.dashboards.text.formats import tidy
from tests.dashboards.conftest import HOUSEHOLDER, INSTALLER, NOW, Plant
from tests.dashboards.test_household_words import asked, read
from tests.dashboards.test_pages import month_of

WRONG = re.compile(
    r"\d ?(?:C|degC|deg C|delta_degC|celsius)\b(?![-/])|m3/h|W/m2|\bkwh\b|\bKWh\b"
    r"|1/(?:h|day)\b|\d%|\+-|\d -\d"
    r"|\[(?:C|degC|m3/h)\]"
)
"""A number with C for degrees, powers as digits, a percent sign without its space, program names of units."""


def compare(plant: Plant) -> str:
    home = Home(plant.site.name, plant.site, plant.document, day_rows(plant.facts, plant.site.zone))
    names = [(plant.site.id, plant.site.name)]
    return pages.compare_page(names, {"a": plant.site.id, "b": plant.site.id}, (home, home), "", INSTALLER)


SHOWN: dict[str, Callable[[Plant], str]] = {
    "site": lambda p: pages.site_page(p.row(), p.facts, [], INSTALLER, {}, NOW),
    "list": lambda p: pages.fleet_page([p.row()], INSTALLER, {}, NOW),
    "what if": lambda p: pages.what_if_page(p.row(), {}, asked(p), "", HOUSEHOLDER),
    "home": lambda p: pages.home_page(p.row(), month_of(p), [], HOUSEHOLDER, {}, NOW),
    "month": lambda p: paper_html("month", "2025-01", month_of(p)),
    "winter": lambda p: paper_html("winter_check", "2024", month_of(p)),
    "expectations": lambda p: pages.expectations_page(p.row(), p.site, p.facts, INSTALLER, {}),
    "compare": compare,
}


@pytest.mark.parametrize("name", sorted(SHOWN))
def test_no_page_has_a_unit_in_the_program_s_spelling(full: Plant, name: str) -> None:
    told = read(SHOWN[name](full))
    assert len(told) > 500
    found = [told[max(0, m.start() - 30) : m.end() + 20] for m in WRONG.finditer(told)]
    assert found == []


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("from 21.5 to 20.6 C (set to 20.5 C)", "from 21.5 to 20.6\u00a0°C (set to 20.5\u00a0°C)"),
        ("water at 44 degC and -2 C outdoors", "water at 44\u00a0°C and −2\u00a0°C outdoors"),
        ("class 2 C-rated", "class 2 C-rated"),
        ("3 K/day, 20 °C", "3 K/day, 20\u00a0°C"),
    ],
)
def test_degrees_of_a_sentence(text: str, told: str) -> None:
    """SI Brochure, 9th edition, 5.4.3: a space between the number and °C."""
    assert tidy(text).replace("3\u00a0K", "3 K") == told
