"""Current operating state: from the unit's report, else from physics, and never from old readings."""

from __future__ import annotations

from typing import Any

import pytest

from fieldfare.analysis.minutes.operating_state import (
    COOLING,
    DEFROST,
    HEATING,
    HOT_WATER,
    OFF,
    UNKNOWN,
    USE_UNKNOWN,
    least_running_w,
)
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.live_state import JOINED_MS, at_present

SITE = """
[site]
id = "alder-row"
name = "Alder Row"
timezone = "Europe/London"
[heat_pump]
rated_output_kw = 8.0
"""
POINTS = {
    "mode": "operating_mode",
    "speed": "compressor_speed",
    "defrost": "defrost_active",
    "diverter": "diverter_to_hot_water",
    "power": "heat_pump_electricity",
    "flow": "flow_temperature",
    "warm": "space_heat",
    "up": "room_temperature",
    "down": "room_temperature",
}
NOW = 1_738_130_400_000


def site(more: str = "", power_as: str = "power") -> Site:
    points = []
    for point, quantity in POINTS.items():
        form = {"power": f'as = "{power_as}"', "warm": 'as = "power"'}.get(point, "")
        zone = f'zone = "{point}"' if quantity == "room_temperature" else ""
        points.append(f'[[point]]\nid = "{point}"\nquantity = "{quantity}"\n{form}\n{zone}\n')
    return parse_site(SITE + more + "".join(points))


def read(**values: float) -> dict[str, dict[str, Any]]:
    return {p: {"time": NOW, "value": v} for p, v in values.items()}


WATER = "[hot_water]\ncylinder_litres = 200\n"


@pytest.mark.parametrize(
    ("values", "use"),
    [
        ({"mode": 1.0, "speed": 40.0}, HEATING),
        ({"mode": 1.0, "speed": 0.0}, OFF),
        ({"mode": 2.0}, HOT_WATER),
        ({"mode": 0.0}, OFF),
        ({"mode": 4.0, "power": 900.0}, COOLING),
        ({"mode": 3.0, "power": 50.0}, DEFROST),
        ({"defrost": 1.0, "mode": 1.0}, DEFROST),
        ({"mode": 1.0, "power": 20.0}, OFF),
        ({"power": 900.0, "diverter": 1.0}, HOT_WATER),
        ({"power": 900.0, "diverter": 0.0}, HEATING),
        ({"power": 900.0}, USE_UNKNOWN),
        ({"flow": 40.0}, UNKNOWN),
    ],
)
def test_use(values: dict[str, float], use: int) -> None:
    told = at_present(site(WATER), read(**values))
    assert told is not None
    assert told.use == use


def test_without_hot_water_all_work_is_heating() -> None:
    told = at_present(site(), read(power=2.0 * least_running_w(site())))
    assert told is not None
    assert told.use == HEATING


def test_readings_of_another_hour_and_totals_are_left_out() -> None:
    latest = read(mode=1.0, up=19.5, down=21.0, power=4711.0) | {
        "flow": {"time": NOW - JOINED_MS - 1, "value": 55.0},
        "warm": {"time": NOW, "value": None},
    }
    told = at_present(site(power_as="register"), latest)
    assert told is not None
    assert (told.flow, told.heat_w, told.electricity_w, told.rooms) == (None, None, None, (19.5, 21.0))
    assert at_present(site(), {}) is None
