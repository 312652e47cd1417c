"""Pieces of the engine's input that several parts of a house need."""

from __future__ import annotations

from typing import Any

Model = dict[str, dict[str, Any]]
ALWAYS = "Always"
OPEN_C = 30.0
"""A set temperature at which the emitter is always open."""


def compact(fields: list[str | float]) -> dict[str, Any]:
    """A schedule of every day alike. fields : "Until: HH:MM" and the value up to then, in turn"""
    head: list[str | float] = ["Through: 12/31", "For: AllDays"]
    return {"schedule_type_limits_name": "Any", "data": [{"field": f} for f in head + fields]}


def gain(watts: float, schedule: str) -> dict[str, Any]:
    """Heat given to the room, three tenths of it radiant [W at a schedule value of 1]."""
    return {
        "fuel_type": "None",
        "zone_or_zonelist_or_space_or_spacelist_name": "House",
        "schedule_name": schedule,
        "design_level_calculation_method": "EquipmentLevel",
        "design_level": watts,
        "fraction_radiant": 0.3,
    }


def thermostat(model: Model, schedule: str, deadband_k: float) -> None:
    """The engine's own thermostat for the zone, at the temperature of a schedule."""
    model["ThermostatSetpoint:SingleHeating"] = {"Target": {"setpoint_temperature_schedule_name": schedule}}
    model["ZoneControl:Thermostat"] = {
        "Thermostat": {
            "zone_or_zonelist_name": "House",
            "control_type_schedule_name": "Single heating",
            "control_1_object_type": "ThermostatSetpoint:SingleHeating",
            "control_1_name": "Target",
            "temperature_difference_between_cutout_and_setpoint": deadband_k,
        }
    }


def equipment(model: Model, kind: str, name: str, **connections: str) -> None:
    """The one piece of heating equipment of the zone, with its nodes."""
    model["ZoneHVAC:EquipmentList"] = {
        "Equipment": {
            "equipment": [
                {
                    "zone_equipment_object_type": kind,
                    "zone_equipment_name": name,
                    "zone_equipment_cooling_sequence": 1,
                    "zone_equipment_heating_or_no_load_sequence": 1,
                }
            ]
        }
    }
    model["ZoneHVAC:EquipmentConnections"] = {
        "Connections": {
            "zone_name": "House",
            "zone_conditioning_equipment_list_name": "Equipment",
            "zone_air_node_name": "House air",
            **connections,
        }
    }
