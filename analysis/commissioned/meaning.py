"""Meaning of a difference from commissioning, by value and side, and the findings that report it."""

from __future__ import annotations

from typing import Literal, NamedTuple

Side = Literal["lower", "higher"]


class Meaning(NamedTuple):
    """says : what it may mean. findings : codes that judge it"""

    says: str
    findings: tuple[str, ...] = ()


_LESS_WATER = Meaning(
    "strainer or filter, air, a valve that is not open, or the pump set lower", ("low_flow", "falling_flow")
)
_MORE_WATER = Meaning("the pump was set higher, or a valve was opened")
_HOTTER = Meaning(
    "the curve was raised or overridden", ("flow_temperature_above_curve", "no_weather_compensation")
)
_COOLER = Meaning(
    "the curve was lowered, or the unit does not reach it",
    ("flow_temperature_below_curve", "room_below_target", "capacity_short"),
)
MEANINGS: dict[tuple[str, str, Side], Meaning] = {
    ("flow", "rate", "lower"): _LESS_WATER,
    ("flow", "rate", "higher"): _MORE_WATER,
    ("circuit_flows", "cylinder", "lower"): Meaning(_LESS_WATER.says, ("low_flow", "slow_reheat")),
    ("circuit_flows", "cylinder", "higher"): _MORE_WATER,
    ("circuit_flows", "radiators", "lower"): _LESS_WATER,
    ("circuit_flows", "radiators", "higher"): _MORE_WATER,
    ("circuit_flows", "underfloor", "lower"): _LESS_WATER,
    ("circuit_flows", "underfloor", "higher"): _MORE_WATER,
    ("pressure", "cold", "lower"): Meaning(
        "the circuit loses water, or air was let out since", ("pressure_falling", "pressure_low")
    ),
    ("pressure", "cold", "higher"): Meaning(
        "it was filled up, or the filling loop is open", ("pressure_high",)
    ),
    ("pressure", "hot", "lower"): Meaning("the circuit loses water, or runs cooler", ("pressure_falling",)),
    ("pressure", "hot", "higher"): Meaning(
        "the vessel takes up too little, or it was filled up", ("pressure_swings", "pressure_high")
    ),
    ("curve_set", "cold_flow", "higher"): _HOTTER,
    ("curve_set", "cold_flow", "lower"): _COOLER,
    ("curve_set", "mild_flow", "higher"): _HOTTER,
    ("curve_set", "mild_flow", "lower"): _COOLER,
    ("curve_set", "set_back", "higher"): Meaning("the set-back was made deeper", ("room_below_target",)),
    ("curve_set", "set_back", "lower"): Meaning("the set-back was made shallower"),
    ("hot_water_set", "setpoint", "lower"): Meaning(
        "the setpoint was lowered, or charges end too soon", ("reheat_incomplete", "disinfection_lacking")
    ),
    ("hot_water_set", "setpoint", "higher"): Meaning(
        "the setpoint was raised, or another heater works", ("water_too_hot", "immersion_use")
    ),
    ("hot_water_set", "reheat", "lower"): Meaning("charging starts later", ("hot_water_shortfall",)),
    ("hot_water_set", "reheat", "higher"): Meaning("charging starts earlier"),
    ("hot_water_set", "disinfection", "lower"): Meaning(
        "the disinfection is set lower or not reached", ("pasteurisation_missed", "disinfection_lacking")
    ),
    ("hot_water_set", "disinfection", "higher"): Meaning("the disinfection runs too hot", ("water_too_hot",)),
    ("hot_water_set", "every", "higher"): Meaning("disinfections are missed", ("pasteurisation_missed",)),
    ("hot_water_set", "every", "lower"): Meaning("disinfections come more often", ("water_too_hot",)),
    ("pump_set", "power", "lower"): Meaning("the pump was set lower", ("low_flow",)),
    ("pump_set", "power", "higher"): Meaning("the pump was set higher, or runs on", ("pump_always_on",)),
}
SETTING_OF = {
    ("curve_set", "cold_flow"): "heating_curve",
    ("curve_set", "mild_flow"): "heating_curve",
    ("curve_set", "set_back"): "set_back",
    ("hot_water_set", "setpoint"): "hot_water_setpoint",
    ("hot_water_set", "reheat"): "hot_water_reheat",
    ("pump_set", "power"): "pump_speed",
    ("flow", "rate"): "pump_speed",
}
"""Settings of the tuning diary that move a value on purpose."""
ANOTHER_METER = Meaning(
    "another meter, another unit or pulse value, or a slip of the hand", ("meter_misplaced", "unit_mismatch")
)
EXCHANGED = Meaning(
    "the counter stands below its reading at hand-over: exchanged, or reset", ("register_reset",)
)
_NEW_METER = "the meter was exchanged"
_SITE_FILE = "enter the new one's unit, pulse value and class in the site file where they differ"
EXCHANGED_METER = Meaning(
    f"{_NEW_METER}; its running total began anew, and energy is counted on from there: no total is off by it;"
    f" {_SITE_FILE}",
    ("register_reset",),
)
EXCHANGED_UNCOUNTED = Meaning(
    f"{_NEW_METER}; it is read as power or by the interval, so the figures go on; {_SITE_FILE}"
)
EXCHANGED_UNSEEN = Meaning(
    "another number, but the running total went on without a step: a slip of the hand, a new meter set to the"
    " old one's total, or readings of another meter; compare its display with the readings",
    ("meter_misplaced",),
)
EXCHANGED_BEFORE = Meaning(
    f"{_NEW_METER}, longer ago than the days looked at here: whether its running total began anew is not told"
)
