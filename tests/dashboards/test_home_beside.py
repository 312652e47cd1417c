"""The household's month names every other source of heat or electricity, in each language."""

from __future__ import annotations

from typing import Any

import pytest

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.text.home_month import month_sections
from fieldfare.dashboards.text.home_other_sources import beside
from fieldfare.dashboards.text.language import speaking
from tests.analysis.beside_home import HEAD, POINTS, Home, point

BOILER = '[[other_heat]]\nkind = "boiler"\nserves = ["space_heating", "hot_water"]\nbelow_c = 2.0\n'
STOVE = '[[other_heat]]\nkind = "stove"\nserves = ["space_heating"]\n'
WATER = "[hot_water]\ncylinder_litres = 200\nsetpoint_c = 50.0\n"
PV = "[pv]\nraises_room_k = 1.0\nraises_hot_water_to_c = 60.0\n"


def home(more: str) -> Site:
    return parse_site(HEAD + more + "".join(POINTS))


def said(site: Site, result: dict[str, Any]) -> list[str]:
    """The sentences with common spaces."""
    return [text.replace("\u00a0", " ") for text in beside(site, result)]


def test_nothing_is_said_where_nothing_stands_beside() -> None:
    assert beside(home(""), {}) == []


def test_a_boiler_is_named_with_its_weather_its_heat_and_its_fuel() -> None:
    told = said(home(WATER + BOILER), {"other_heat": {"heat_kwh": 412.3}})
    assert told == [
        "A boiler also heats your rooms and your hot water.",
        "It works when it is colder than 2 °C outdoors.",
        "It gave 412 kWh beside the heat pump.",
        "Its fuel is not counted in the costs.",
    ]


def test_a_boiler_that_heats_alone_is_told_so() -> None:
    told = said(home(WATER + BOILER + "alone = true\n"), {})
    assert "Below 2 °C outdoors it heats the rooms instead of the heat pump, which rests." in told


def test_what_is_not_measured_is_said_with_what_the_heat_above_holds() -> None:
    assert "the heat above is the heat pump's alone" in " ".join(beside(home(STOVE), {}))
    both = point("both", "heat_output", more='includes = ["other_heat"]\n')
    site = parse_site(HEAD + STOVE + "".join((POINTS[0], both, *POINTS[2:])))
    assert "The heat above includes what it gave" in " ".join(beside(site, {}))


def test_surplus_electricity_is_told_with_what_it_does() -> None:
    assert said(home(WATER + PV), {}) == [
        "Your own solar panels give part of the heating's electricity.",
        "While they give more than the house needs, the heating makes the rooms up to 1 °C warmer and heats"
        " the hot water to 60 °C.",
        "The electricity above is all that the heating used: your own and what you bought.",
    ]


@pytest.mark.parametrize(("code", "word"), [("de", "Ofen"), ("fr", "poêle"), ("en", "stove")])
def test_the_month_has_the_part_in_every_language(code: str, word: str) -> None:
    made = Home(more=STOVE)
    with speaking(code):
        document = made.result().as_dict()
        parts = month_sections(made.site, {"result": document}, document["verdict"])
    assert any(word in part.answer for part in parts)
