"""Measured over designed by type and age: known ratios are recovered; few homes give no ratio."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.errors import SiteError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.design_ratios import FEWEST_HOMES, age_band, design_ratios
from fieldfare.api.core.design_csv import COLUMNS, design_csv
from fieldfare.dashboards.rows.design_ratios import present_design_ratios

TEXT = """
[site]
id = "home-{n}"
name = "Home {n}"
timezone = "UTC"
[building]
kind = "{kind}"
built = {built}
[design]
heat_loss_kw = 8.0
indoor_c = 20.0
outdoor_c = -5.0
hot_water_kwh_per_year = 3000.0
[heating_curve]
points = [[-5.0, 50.0], [15.0, 30.0]]
[[emitter]]
kind = "radiator"
output_kw = 16.0
"""


def home(n: int, ratio: float, kind: str = "terraced", built: int = 1965) -> tuple[Site, dict[str, Any]]:
    """Heat loss and load at `ratio` of the design, flow 45 °C on the design day, 2400 kWh of hot water."""
    loss = {"value": 8.0 * ratio, "low": 7.4 * ratio, "high": 8.6 * ratio}
    load = {key: 0.9 * value for key, value in loss.items()}
    return parse_site(TEXT.format(n=n, kind=kind, built=built)), {
        "period": {"from": "2024-01-01", "to": "2024-12-31"},
        "coverage": {"share": 1.0},
        "heat_loss": {"heat_loss_kw": loss},
        "capacity": {"load_kw": load},
        "heating_curve": {"fitted": [[-5.0, 45.0], [15.0, 28.0]]},
        "energy": {"heat_kwh": {"hot_water": 2400.0 * 366.0 / 365.0}},
    }


def fleet() -> list[tuple[Site, dict[str, Any]]]:
    draw = np.random.default_rng(8)
    out = [home(n, 0.75 * math.exp(draw.normal(0, 0.06))) for n in range(9)]
    out += [home(20 + n, 1.1 * math.exp(draw.normal(0, 0.06)), "detached", 1930) for n in range(6)]
    return [*out, *(home(40 + n, 1.0, "flat", 2010) for n in range(FEWEST_HOMES - 1))]


def line(told: dict[str, Any], quantity: str, **wanted: str) -> dict[str, Any]:
    return next(
        g for g in told["groups"] if g["quantity"] == quantity and all(g[k] == v for k, v in wanted.items())
    )


def test_a_fleet_tells_the_ratios_that_were_put_into_it() -> None:
    told = design_ratios(fleet())
    terraced = line(told, "heat_loss", grouping="kind", kind="terraced")
    assert terraced["n"] == 9
    assert terraced["low"] <= 0.75 <= terraced["high"] < 1.0
    assert terraced["next_low"] < terraced["low"] < terraced["high"] < terraced["next_high"]
    detached = line(told, "heat_loss", grouping="age", age="1919 to 1944")
    assert detached["low"] <= 1.1 <= detached["high"]
    both = line(told, "peak_load", grouping="kind_and_age", kind="terraced", age="1945 to 1979")
    assert both["low"] <= 0.9 * 0.75 <= both["high"]
    water = line(told, "hot_water", grouping="all")
    assert water["n"] == 17
    assert water["ratio"] == pytest.approx(0.8, abs=0.02)
    flow = line(told, "flow_excess", grouping="all")
    assert flow["ratio"] == pytest.approx(25.0 / 30.0, abs=0.01)


def test_emitters_are_judged_by_en_442_at_both_flows() -> None:
    # By hand: excess is flow less half of 5 K less room: 22.5 K measured, 27.5 K designed, exponent 1.3. The
    # share used goes as load over output: 0.9 / (22.5 / 27.5)^1.3 of the design's.
    told = design_ratios(home(n, 1.0) for n in range(5))
    share = line(told, "emitter_share", grouping="all")
    assert share["ratio"] == pytest.approx(0.9 / (22.5 / 27.5) ** 1.3, rel=0.01)


def test_few_homes_are_counted_and_say_nothing() -> None:
    told = design_ratios(fleet())
    flats = line(told, "heat_loss", grouping="kind", kind="flat")
    assert flats["n"] == FEWEST_HOMES - 1
    assert {flats[k] for k in ("ratio", "low", "high", "next_low", "next_high")} == {None}
    assert design_ratios([]) == {"groups": [], "homes": 0, "unstated": 0}


def test_a_year_that_is_not_whole_tells_no_hot_water() -> None:
    site, result = home(1, 1.0)
    short = result | {"period": {"from": "2024-01-01", "to": "2024-06-30"}}
    told = design_ratios([(site, short)] * 3)
    assert not [g for g in told["groups"] if g["quantity"] == "hot_water"]


def test_the_table_is_for_a_design_calculation() -> None:
    rows = list(csv.reader(io.StringIO(design_csv(design_ratios(fleet())).decode())))
    assert tuple(rows[0]) == COLUMNS
    for row in rows[1:]:
        assert len(row) == len(COLUMNS)
        n, ratio, low, high, next_low, next_high = (float(v) for v in row[4:10])
        assert n >= FEWEST_HOMES
        assert low <= ratio <= high
        assert next_low < next_high
        assert not any(cell.startswith(("=", "+", "-", "@")) for cell in row)
    assert not [row for row in rows if row[2] == "flat"], "a group of two is left out"


def test_the_words_say_what_to_do_at_the_next_home() -> None:
    told = present_design_ratios(design_ratios(home(n, 0.75) for n in range(6)))
    assert told is not None
    assert "multiply the calculated heat loss by 0.75" in told["tables"][0]["says"]
    assert present_design_ratios(design_ratios([])) is None


@pytest.mark.parametrize(
    ("built", "band"),
    [(1890, "before 1919"), (1919, "1919 to 1944"), (1979, "1945 to 1979"), (2003, "from 2003"), (None, "")],
)
def test_bands_of_age(built: int | None, band: str) -> None:
    assert age_band(built) == band


@pytest.mark.parametrize(
    ("wrong", "said"),
    [('kind = "castle"', "building.kind"), ("built = 65", "building.built"), ('age = "old"', "unknown key")],
)
def test_a_wrong_building_is_refused_by_key(wrong: str, said: str) -> None:
    text = '[site]\nid = "a-b"\nname = "A"\ntimezone = "UTC"\n[building]\n' + wrong + "\n"
    with pytest.raises(SiteError, match=said):
        parse_site(text)
