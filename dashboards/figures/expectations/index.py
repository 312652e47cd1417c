"""Figures of all expectation models by name, and the model behind each finding."""

from __future__ import annotations

from collections.abc import Callable

from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.figures.chart import Chart
from fieldfare.dashboards.figures.expectations import house, unit, water

MODELS: dict[str, Callable[[Site, Facts], Chart]] = {
    "expected-defrost": unit.defrost_chart,
    "expected-frost": unit.frost_chart,
    "expected-cycling": unit.cycling_chart,
    "expected-part-load": unit.part_load_chart,
    "expected-water-flow": unit.water_flow_chart,
    "expected-reheat": water.reheat_chart,
    "expected-charge-balance": water.charge_balance_chart,
    "expected-cylinder-cooling": water.cylinder_cooling_chart,
    "expected-pressure": water.pressure_chart,
    "expected-electricity": house.promise_chart,
    "expected-signature": house.signature_chart,
    "expected-mixed": house.mixed_chart,
    "expected-cold-room": house.cold_room_chart,
}
OF_FINDING = {
    "excessive_defrost": "expected-defrost",
    "defrost_without_frost": "expected-frost",
    "short_cycling": "expected-cycling",
    "efficiency_below_expected": "expected-part-load",
    "efficiency_fell": "expected-mixed",
    "performance_below_promise": "expected-part-load",
    "low_flow": "expected-water-flow",
    "slow_reheat": "expected-reheat",
    "reheat_incomplete": "expected-reheat",
    "diverter_passing": "expected-charge-balance",
    "high_standing_loss": "expected-cylinder-cooling",
    "pressure_swings": "expected-pressure",
    "pressure_falling": "expected-pressure",
    "electricity_above_expected": "expected-electricity",
    "room_below_target": "expected-cold-room",
}
"""Finding code -> the model whose expectation it is measured against."""


def expectation_chart(name: str, site: Site, facts: Facts) -> Chart:
    """Figure of a model by name. Raises KeyError for an unknown one."""
    return MODELS[name](site, facts)
