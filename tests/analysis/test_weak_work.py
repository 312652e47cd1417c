"""Heat below a run's least power, as where valves are shut, is no stop; an error at rest hides none."""

from __future__ import annotations

import numpy as np

from tests.analysis.small_plant import ALL, Small

LAST = 5
WITHOUT_MODE = tuple(p for p in ALL if p != "mode")


def cold_end(*, drawn_w: float, given_w: float, flow_c: float | None) -> Small:
    """The last days in frost: readings of a unit that draws and gives so little; the rooms go cold.

    flow_c : of the water [°C]; None: as the room
    """
    plant = Small(ids=WITHOUT_MODE, days=30)
    end = plant.from_day(plant.days - LAST)
    values = plant.values
    hours = np.cumsum(end) / 60.0
    wavers = 1.0 + 0.1 * np.random.default_rng(7).standard_normal(len(end))
    room = np.where(end, 20.5 - 14.0 * (1.0 - np.exp(-hours / 30.0)), values["room"])
    flow = np.where(end, room + wavers if flow_c is None else flow_c + wavers, values["flow"])
    values["elec"] = np.where(end, drawn_w * wavers, values["elec"])
    values["heat"] = np.where(end, given_w * wavers, values["heat"])
    values["elec_kwh"] = 3000.0 + np.cumsum(values["elec"]) / 60_000.0
    values["heat_kwh"] = 9000.0 + np.cumsum(values["heat"]) / 60_000.0
    values["room"], values["flow"] = np.round(room, 1), flow
    values["back"] = np.where(end, flow - values["heat"] / 1155.0, values["back"])
    values["rate"] = np.where(end, 1.0, values["rate"])
    values["outdoor"] = np.where(end, np.round(-1.0 + wavers, 1), values["outdoor"])
    values["tank"] = np.where(end, 48.0 + wavers, values["tank"])
    return plant


def told(plant: Small) -> dict[str, str]:
    return {f.code: f.severity for f in plant.judged().findings}


def test_a_unit_that_gives_little_heat_through_shut_valves_has_not_stopped() -> None:
    found = told(cold_end(drawn_w=140.0, given_w=420.0, flow_c=40.0))
    assert "unit_stopped" not in found
    assert found["room_below_target"] == "urgent"


def test_an_offset_of_the_sensors_hides_no_stop() -> None:
    """A crankcase heater, and 0.3 K between two sensors in water as cold as the room."""
    assert told(cold_end(drawn_w=90.0, given_w=300.0, flow_c=None))["unit_stopped"] == "urgent"


def test_more_heat_than_any_unit_gives_for_it_hides_no_stop() -> None:
    """Controls alone, and heat of a fire in water that is warm."""
    assert told(cold_end(drawn_w=40.0, given_w=900.0, flow_c=40.0))["unit_stopped"] == "urgent"
