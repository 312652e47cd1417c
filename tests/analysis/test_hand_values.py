"""Ranges of manually read values, on a home of known design."""

from __future__ import annotations

import pytest

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.checklists import items_for
from fieldfare.analysis.reports.hand_values import rules_of
from fieldfare.dashboards.checks.lists import built_in, filled, open_points

SITE = """
[site]
id = "alder-row"
name = "Alder Row"
timezone = "Europe/London"
[design]
heat_loss_kw = 6.0
outdoor_c = -12.0
[heat_pump]
rated_output_kw = 8.0
antifreeze = "propylene_glycol"
antifreeze_percent = 26
[hot_water]
cylinder_litres = 200
setpoint_c = 50.0
"""
DISINFECTED = SITE + "pasteurise_c = 60.0\n"


def concerns(item: str, values: dict[str, str], site: str = SITE) -> dict[str, str]:
    """Found value -> what is told of it."""
    home = parse_site(site)
    mine = next(i for i in items_for(built_in(), "commissioning", home) if i.id == item)
    made = filled(mine, home, {"state": "done", "values": values})
    assert all(f["care"] for f in made["found"] if f["concern"]), "no danger without its caution"
    return {f["id"]: f["concern"] for f in made["found"] if f["concern"]}


@pytest.mark.parametrize(
    ("item", "values", "told"),
    [
        # Approved Document G3 (2010), HSG274 Part 2 (2014): scald from 50, store at 60 or disinfected.
        (
            "cylinder",
            {"mixed": "62", "stored": "45"},
            {"mixed": "scalds|hotter than", "stored": "Legionella"},
        ),
        ("cylinder", {"mixed": "50"}, {"mixed": "scalds"}),
        ("cylinder", {"mixed": "45", "stored": "60"}, {}),
        ("cylinder", {"mixed": "45 °C", "stored": "55"}, {"stored": "below 60"}),
        # EN 12828 (from memory): 0.7 bar at least; the warm circuit has the higher pressure.
        (
            "pressure",
            {"cold": "0,7 bar", "hot": "0.6"},
            {"cold": "too little", "hot": "too little|lower than"},
        ),
        ("pressure", {"cold": "1.4", "hot": "2.9"}, {"hot": "relief valve"}),
        ("pressure", {"cold": "1.4", "hot": "1.9"}, {}),
        ("vessel", {"precharge": "0.4"}, {"precharge": "too little"}),
        ("vessel", {"precharge": "1.0"}, {}),
        ("antifreeze", {"strength": "12", "frost_to": "-3"}, {"strength": "too weak", "frost_to": "-12 °C"}),
        ("antifreeze", {"strength": "25", "frost_to": "-12"}, {}),
        (
            "hot_water_set",
            {"setpoint": "48", "disinfection": "55"},
            {"setpoint": "below 60", "disinfection": "60"},
        ),
        ("pressure", {"cold": "abc", "hot": ""}, {}),
    ],
)
def test_a_value_outside_its_range_is_told_with_its_caution(
    item: str, values: dict[str, str], told: dict[str, str]
) -> None:
    said = concerns(item, values)
    assert said.keys() == told.keys()
    for found, parts in told.items():
        for part in parts.split("|"):
            assert part in said[found]


def test_a_disinfected_store_may_be_cooler_and_the_site_s_limits_hold() -> None:
    assert concerns("cylinder", {"stored": "52"}, DISINFECTED) == {}
    assert "below 50" in concerns("cylinder", {"stored": "45"}, DISINFECTED)["stored"]
    heating = SITE + 'stored = "heating_water"\n'
    assert concerns("cylinder", {"stored": "45"}, heating) == {}
    own = SITE + "[limits]\npressure_low_watch = 1.5\n"
    assert "1.5 bar" in concerns("pressure", {"cold": "1.2"}, own)["cold"]


def test_each_range_is_of_a_value_that_the_lists_have() -> None:
    home = parse_site(DISINFECTED)
    for item in built_in():
        ids = {f.id for f in item.found}
        for rule in rules_of(item.id, home):
            assert rule.found in ids
            assert not rule.than or rule.than in ids
            assert rule.caution
            assert (rule.limit is None) == bool(rule.than)


def test_open_points_are_what_was_not_done_and_what_is_out_of_range() -> None:
    home = parse_site(SITE)
    entered = {
        "pressure": {"state": "done", "values": {"cold": "0.7"}},
        "vessel": {"state": "not_done", "note": "no\nvalve"},
        "cylinder": {"state": "not_applicable", "values": {"mixed": "62"}},
    }
    items = [filled(i, home, entered.get(i.id, {})) for i in items_for(built_in(), "winter", home)]
    points = open_points(items)
    assert [p["key"] for p in points] == ["pressure.cold", "vessel"]
    assert "Cold 0.7 bar: too little" in points[0]["says"]
    assert points[1]["says"].endswith("not done: no valve")
