"""Pages of several homes: order by area, search, bulk decisions, live overview, comparison."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest

from fieldfare.analysis.reports.verdict import FileFeed
from fieldfare.dashboards import pages
from fieldfare.dashboards.figures.round_plot import stands_apart
from fieldfare.dashboards.figures.two_homes import Home, two_homes
from fieldfare.dashboards.rows.days import day_rows
from fieldfare.dashboards.text.live_words import STATES, grouped
from tests.dashboards.conftest import INSTALLER, NOW, Plant
from tests.dashboards.test_fleet_choice import listed, rows  # noqa: F401 (a fixture)
from tests.dashboards.test_pages import sound, text_of


def test_homes_sort_by_area_and_those_without_one_come_last(rows: list[dict[str, Any]]) -> None:  # noqa: F811
    rows[0]["area"], rows[2]["area"] = "North", "east"
    assert listed(rows, sort="area") == ["worst-way", "old-oak", "dear-dale"]
    for kind in ("full", "compact"):
        page = sound(pages.fleet_page(rows, INSTALLER, {"sort": "area", "rows": kind}, NOW))
        assert re.findall(r'<li class="area-of"><b>([^<]+)</b>', page) == ["east", "North", "No area"]


def test_a_search_looks_into_area_address_and_severity(rows: list[dict[str, Any]]) -> None:  # noqa: F811
    rows[0] |= {"area": "North Valley", "place": "Pat Muster 5 Mill Lane"}
    assert listed(rows, q="north valley") == ["old-oak"]
    assert listed(rows, q="mill lane") == ["old-oak"]
    assert listed(rows, q="needs work") == ["worst-way"]


def test_ticked_homes_lead_to_their_findings(rows: list[dict[str, Any]]) -> None:  # noqa: F811
    page = sound(pages.fleet_page(rows, INSTALLER, {}, NOW))
    assert len(re.findall(r'<input type="checkbox" name="site" value="[a-z-]+" form="chosen">', page)) == 3
    entries = pages.chosen_entries(rows, ["worst-way", "old-oak"], {}, NOW)
    assert [e["id"] for e in entries] == ["worst-way", "old-oak"], "worst first"
    page = sound(pages.chosen_page(entries, {"kim@heating.example": "Kim"}, INSTALLER, NOW))
    assert 'name="finding" value="worst-way/short_cycling" checked' in page
    assert "dear-dale" not in page
    everything = pages.chosen_entries(rows, [], {"q": "dale"}, NOW)
    assert [e["id"] for e in everything] == ["dear-dale"], "without ticks, all of the choice"


def test_a_report_has_every_chosen_home_with_its_next_step(rows: list[dict[str, Any]]) -> None:  # noqa: F811
    entries = pages.chosen_entries(rows, ["worst-way"], {}, NOW)
    told = text_of(sound(pages.homes_report(entries, INSTALLER, NOW, {"name": "Heat and Co", "contact": ""})))
    assert "Open the room thermostats fully and lower the curve." in told
    assert "Hot water under pressure." in told, "the caution stands on paper too"
    assert "Heat and Co" in told


def test_the_live_overview_puts_every_home_in_one_group(full: Plant) -> None:
    at = round(NOW.timestamp() * 1000)
    states = [key for key, *_ in STATES if key not in ("silent", "file")]
    given = [
        {"id": f"home-{s}", "name": s, "state": s, "text": f"does {s}", "time": at, "told_at": at}
        for s in states
    ]
    old = at - round(timedelta(hours=7).total_seconds() * 1000)
    given += [
        {**given[0], "id": "quiet", "time": old},
        {**given[0], "id": "never", "time": None, "told_at": None},
        {**given[0], "id": "by-files", "time": old, "feed": FileFeed(NOW, NOW), "zone": "UTC"},
    ]
    groups = grouped(given, NOW)
    assert [g["key"] for g in groups] == [key for key, *_ in STATES], "silent and standing units first"
    assert [h["id"] for h in groups[0]["homes"]] == ["quiet", "never"]
    assert sum(len(g["homes"]) for g in groups) == len(given)
    assert len({str(g["sign"]) for g in groups}) == len(STATES), "each state has a sign of its own shape"
    page = sound(pages.live_page(given, INSTALLER, NOW))
    assert "2 silent" in text_of(page)
    many = [{**given[3], "id": f"home-{n}", "name": f"Home {n}"} for n in range(300)]
    part = pages.live_page(many, INSTALLER, NOW, part=True)
    assert "<html" not in part
    assert len(part.encode()) < 150_000


def pair_of(one: Plant, two: Plant) -> tuple[Home, Home]:
    first, second = (Home(n, p.site, p.document, day_rows(p.facts)) for n, p in (("One", one), ("Two", two)))
    return first, second


def test_a_home_without_a_heat_meter_is_told_beside_one_with_it(full: Plant, basic: Plant) -> None:
    page = sound(pages.compare_page([], {"a": "a", "b": "b"}, pair_of(full, basic), "", INSTALLER))
    row = re.search(r"Efficiency, rooms</th>\s*<td[^>]*>([^<]+)</td>\s*<td[^>]*>([^<]+)</td>", page)
    assert row is not None
    assert row[2] == "–" != row[1]


def test_two_homes_stand_on_one_axis(full: Plant) -> None:
    pair = pair_of(full, full)
    charts = two_homes(pair)
    months = charts[2]
    assert [layer.name for layer in months.layers] == ["One", "Two"]
    assert len({layer.tone for layer in months.layers}) == 2
    page = sound(pages.compare_page([("a", "One"), ("b", "Two")], {"a": "a", "b": "b"}, pair, "", INSTALLER))
    assert page.count('<svg class="fig"') == sum(not c.is_empty for c in charts)
    told = text_of(page)
    assert "Heat loss, measured" in told


@pytest.mark.parametrize(("apart_deg", "one_map"), [(0.1, True), (5.0, False)])
def test_areas_far_apart_have_a_map_each(apart_deg: float, one_map: bool) -> None:
    """Homes of an area lie 2 km apart: beside an area at 500 km they would be one dot."""
    stops = [
        [{"position": (52.0 + d + n * 0.02, -2.0), "number": n + 1, "name": f"Home {n}"} for n in range(2)]
        for d in (0.0, apart_deg)
    ]
    areas = [{"stops": s} for s in stops]
    assert stands_apart(areas) is one_map
    assert all(stands_apart([area]) for area in areas)
