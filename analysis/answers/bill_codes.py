"""Codes of the parts of a bill: responsibility, explaining findings and questions of each."""

from __future__ import annotations

from fieldfare.analysis.reports.verdict import DATA_CODES

WHOSE: dict[str, str] = {
    "weather": "weather",
    "rooms": "household",
    "hot_water": "household",
    "timing": "household",
    "efficiency": "system",
    "direct_heat": "system",
    "standby": "system",
    "cylinder_loss": "system",
    "house": "house",
    "tariff": "price",
    "standing_charge": "price",
    "meter": "data",
    "rest": "rest",
}
"""Part of a bill -> weather, household, system, house, price, data or rest."""

PART_FINDINGS: dict[str, tuple[str, ...]] = {
    "rooms": ("flow_temperature_above_curve", "no_weather_compensation"),
    "efficiency": (
        "flow_temperature_above_curve",
        "no_weather_compensation",
        "excessive_defrost",
        "defrost_without_frost",
        "low_flow",
        "falling_flow",
        "buffer_mixing",
        "short_cycling",
        "efficiency_fell",
        "efficiency_below_expected",
        "slow_reheat",
        "performance_below_promise",
        "electricity_above_expected",
    ),
    "direct_heat": ("backup_heater_use", "immersion_use", "capacity_short", "reheat_incomplete"),
    "standby": ("high_standby", "pump_always_on"),
    "cylinder_loss": ("high_standing_loss", "diverter_passing"),
    "house": ("heat_loss_above_design",),
    "rest": ("heating_out_of_season", "heat_loss_above_design"),
    "meter": DATA_CODES,
}
"""Findings that explain a part."""

ASKED: dict[str, str] = {
    "rooms": "warmer_on_purpose",
    "hot_water": "more_people",
    "house": "windows_or_fire",
    "rest": "windows_or_fire",
    "direct_heat": "heater_switched_on",
    "meter": "meter_exchanged",
    "timing": "when_used",
}
"""Part that surely added to the bill -> what to ask about it."""
