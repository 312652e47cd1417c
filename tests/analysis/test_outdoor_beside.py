"""Outdoor sensors compared with those of homes nearby."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.fleet_feedback import small_result
from fieldfare.analysis.reports.outdoor_beside import outdoor_beside_others

POINT = '[[point]]\nid = "out"\nquantity = "outdoor_temperature"\nas = "gauge"\nunit = "degC"\n'


def home(number: int, offset_k: float = 0.0, *, north_deg: float = 0.0, about: str = "") -> tuple[Site, Any]:
    """A home some hundred metres from the next, its place within a kelvin, its sensor off by `offset_k`."""
    rng = np.random.default_rng(number)
    text = (
        f'[site]\nid = "home-{number}"\nname = "Home {number}"\ntimezone = "Europe/London"\n'
        f"latitude = {52.0 + 0.005 * number + north_deg}\nlongitude = -2.0\n{about}\n{POINT}"
    )
    air = 5.0 + 4.0 * np.sin(np.arange(80) / 6.0) + rng.normal(0.0, 0.6) + offset_k
    day = np.datetime64("2025-11-01") + np.arange(80)
    rows = [
        {"day": str(d), "outdoor_c": round(float(c), 2), "H4": 3.0}
        for d, c in zip(day, air + rng.normal(0.0, 0.5, 80), strict=True)
    ]
    return parse_site(text), {"performance": {"by_day": rows}, "coverage": {"share": 1.0}}


@pytest.mark.parametrize("offset_k", [-4.5, 4.5])
def test_a_sensor_far_from_its_neighbours_is_named(offset_k: float) -> None:
    found = outdoor_beside_others([*(home(i) for i in range(6)), home(6, offset_k)])
    assert found["compared"] == 7
    assert [s["site"] for s in found["sites"]] == ["home-6"]
    odd = found["sites"][0]
    assert odd["apart_k"] == pytest.approx(offset_k, abs=1.6)
    assert odd["neighbours"] == 6
    assert 0.5 < odd["probability"] < 1.0


def test_places_within_a_kelvin_or_two_are_no_wrong_sensors() -> None:
    found = outdoor_beside_others(home(i) for i in range(12))
    assert found == {"compared": 12, "sites": []}


@pytest.mark.parametrize(
    "homes",
    [
        [home(0), home(1), home(2, -6.0)],
        [home(0), home(1), home(2), home(3, -6.0, north_deg=1.0)],
        [home(0), home(1), home(2), home(3, -6.0, about='outdoor_from = "home-1"')],
    ],
    ids=["two others", "a degree of latitude away", "a lent sensor"],
)
def test_too_few_near_homes_say_nothing(homes: list[tuple[Site, Any]]) -> None:
    found = outdoor_beside_others(homes)
    assert found["sites"] == []
    assert "within 15 km" in found["reason"]


def test_what_is_kept_of_a_result_says_the_same() -> None:
    homes = [*(home(i) for i in range(5)), home(5, -5.0)]
    kept = [(site, small_result({"period": {}, **result})) for site, result in homes]
    assert outdoor_beside_others(kept) == outdoor_beside_others(homes)
