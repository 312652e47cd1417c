"""Measured quantities: their forms, units and physical bounds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Form = Literal["power", "register", "interval", "gauge", "state"]
"""Form of a point's numbers (`as` in the site file)."""

MODES = {"off": 0, "heating": 1, "hot_water": 2, "defrost": 3, "cooling": 4}
SWITCH = {"0": 0, "1": 1}


@dataclass(frozen=True)
class Quantity:
    """One row of the contract's table of quantities.

    unit : canonical unit of gauges and powers. energy : canonical unit of registers and intervals, if any.
    low, high : bounds in `unit` outside which a reading is refused at the door: no dwelling's plant can show
        it, in any unit that people mix up. A kW read as W, or a degF as degC, passes and is found by the
        analysis.
    likely : the range in `unit` that a working sensor in its right unit stays in; the analysis leaves out the
        rest.
    states : word -> code for state quantities; empty for free text.
    """

    name: str
    forms: tuple[Form, ...]
    unit: str
    meaning: str
    low: float
    high: float
    likely: tuple[float, float]
    energy: str = ""
    states: dict[str, int] | None = None
    may_count_back: bool = False
    """Whether a running total can be below zero: a balance, or a heat meter whose sensors are swapped, which
    the analysis finds."""

    @property
    def is_text(self) -> bool:
        return self.name == "fault_code"

    @property
    def is_temperature(self) -> bool:
        return self.unit == "degC"

    def canonical(self, form: Form) -> str:
        """Canonical unit of readings of this form; empty for states."""
        if form in ("register", "interval"):
            return self.energy
        return "" if form == "state" else self.unit


_METERED: tuple[Form, ...] = ("power", "register", "interval")


def _energy(
    name: str,
    meaning: str,
    likely: tuple[float, float] = (-50.0, 40_000.0),
    *,
    may_count_back: bool = False,
) -> Quantity:
    return Quantity(
        name, _METERED, "W", meaning, -1e8, 1e8, likely, energy="kWh", may_count_back=may_count_back
    )


def _heat(name: str, meaning: str) -> Quantity:
    return _energy(name, meaning, (-40_000.0, 80_000.0), may_count_back=True)


def _gauge(
    name: str, unit: str, bounds: tuple[float, float], likely: tuple[float, float], meaning: str
) -> Quantity:
    return Quantity(name, ("gauge",), unit, meaning, *bounds, likely)


def _state(name: str, states: dict[str, int] | None, meaning: str) -> Quantity:
    anything = (float("-inf"), float("inf"))
    return Quantity(name, ("state",), "", meaning, *anything, anything, states=states)


# Rejected: water above 165 C would be steam at any heating circuit's relief pressure, and 165 degF is a store
# at 74 C. Air: twice the records at inhabited places (-68 and 57 C, World Meteorological Organization), so
# degF fits.
_WATER, _LIKELY_WATER = (-60.0, 165.0), (-25.0, 99.0)
_AIR, _LIKELY_AIR = (-75.0, 130.0), (-50.0, 58.0)
_ROOM, _LIKELY_ROOM = (-60.0, 130.0), (-10.0, 45.0)
_TABLE = (
    _energy("heat_pump_electricity", "the outdoor unit: compressor, fan, its controls"),
    _energy("fan_electricity", "source fan or brine pump alone"),
    _energy("backup_heater_electricity", "direct electric heater in the heating circuit"),
    _energy("immersion_electricity", "direct electric heater in the cylinder"),
    _energy("circulation_pump_electricity", "heat sink pumps"),
    _energy("house_electricity", "whole house import", (-50_000.0, 80_000.0), may_count_back=True),
    _heat("heat_output", "heat from the heat pump, all uses; negative in a defrost"),
    _heat("space_heat", "heat to space heating"),
    _heat("hot_water_heat", "heat to hot water"),
    _heat("other_heat_output", "heat from another source: boiler, stove, solar"),
    _energy("pv_output", "electricity that the home's own solar panels make"),
    _gauge("flow_temperature", "degC", _WATER, _LIKELY_WATER, "water leaving the heat pump"),
    _gauge("return_temperature", "degC", _WATER, _LIKELY_WATER, "water entering the heat pump"),
    _gauge("distribution_flow_temperature", "degC", _WATER, _LIKELY_WATER, "flow beyond the buffer"),
    _gauge("distribution_return_temperature", "degC", _WATER, _LIKELY_WATER, "return beyond the buffer"),
    _gauge("flow_rate", "m3/h", (-0.1, 10_000.0), (-0.1, 20.0), "water through the heat pump"),
    _gauge("outdoor_temperature", "degC", _AIR, _LIKELY_AIR, "outdoor air"),
    _gauge("outdoor_humidity", "%", (-1.0, 150.0), (0.0, 105.0), "outdoor relative humidity"),
    _gauge("solar_irradiance", "W/m2", (-100.0, 2500.0), (-20.0, 1600.0), "global horizontal irradiance"),
    _gauge("room_temperature", "degC", _ROOM, _LIKELY_ROOM, "room air, per zone"),
    _gauge("target_room_temperature", "degC", _ROOM, _LIKELY_ROOM, "room temperature asked for"),
    _gauge("target_flow_temperature", "degC", _WATER, _LIKELY_WATER, "flow temperature asked for"),
    _gauge("cylinder_temperature", "degC", _WATER, _LIKELY_WATER, "water in the hot-water cylinder"),
    _gauge("buffer_temperature", "degC", _WATER, _LIKELY_WATER, "water in the buffer"),
    _gauge("system_pressure", "bar", (-2.0, 600.0), (-0.2, 10.0), "heating circuit, gauge pressure"),
    _state("operating_mode", MODES, "off, heating, hot_water, defrost, cooling"),
    _state("defrost_active", SWITCH, "1 while the unit defrosts"),
    _state("heat_call", SWITCH, "1 while a room or zone calls for heat"),
    _state("diverter_to_hot_water", SWITCH, "1 while the diverter points to the cylinder"),
    _gauge("compressor_speed", "%", (-10.0, 10_000.0), (-1.0, 130.0), "share of the greatest speed"),
    Quantity(
        "compressor_starts", ("register",), "count", "running total of starts", 0.0, 1e9, (0.0, 1e7), "count"
    ),
    Quantity("compressor_hours", ("register",), "h", "running total of hours", 0.0, 1e9, (0.0, 1e6), "h"),
    _state("fault_code", None, "fault as the unit reports it"),
)
QUANTITIES: dict[str, Quantity] = {q.name: q for q in _TABLE}
