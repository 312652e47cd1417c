"""Control of the heating: a room thermostat with a dead band, or the constant temperature of a co-heating
test."""

from __future__ import annotations

from tests.reference.engine.houses import House
from tests.reference.engine.parts import OPEN_C, Model, equipment, thermostat

LEAST_HOLD_MIN = 10
"""Least minutes of a run and of a rest (common practice: units keep 6 to 10)."""


def ideal_heater(model: Model, house: House) -> None:
    """A co-heating test: 25 °C throughout."""
    model["Schedule:Constant"]["Test temperature"] = {
        "schedule_type_limits_name": "Any",
        "hourly_value": 25.0,
    }
    thermostat(model, "Test temperature", 0.0)
    model["ZoneHVAC:IdealLoadsAirSystem"] = {
        "Heater": {"zone_supply_air_node_name": "Supply air", "zone_exhaust_air_node_name": "Exhaust air"}
    }
    equipment(
        model,
        "ZoneHVAC:IdealLoadsAirSystem",
        "Heater",
        zone_air_inlet_node_or_nodelist_name="Supply air",
        zone_air_exhaust_node_or_nodelist_name="Exhaust air",
    )


def room_thermostat(model: Model, house: House) -> None:
    """An on-off room thermostat with a dead band: it lets the loop run or not, and the emitter takes what
    the loop gives.

    The engine's own thermostat meets the load of each minute exactly, which no real one does.
    """
    model["Schedule:Constant"]["Emitter open"] = {"schedule_type_limits_name": "Any", "hourly_value": OPEN_C}
    thermostat(model, "Emitter open", 0.0)
    model["EnergyManagementSystem:Sensor"] = {
        "Room": {
            "output_variable_or_output_meter_index_key_name": "House",
            "output_variable_or_output_meter_name": "Zone Operative Temperature",
        },
        "Target": {
            "output_variable_or_output_meter_index_key_name": "Target temperature",
            "output_variable_or_output_meter_name": "Schedule Value",
        },
    }
    model["EnergyManagementSystem:Actuator"] = {
        "LoopRuns": {
            "actuated_component_unique_name": "Heating loop",
            "actuated_component_type": "Plant Loop Overall",
            "actuated_component_control_type": "On/Off Supervisory",
        }
    }
    model["EnergyManagementSystem:GlobalVariable"] = {
        "Memory": {"variables": [{"erl_variable_name": "Called"}, {"erl_variable_name": "Held"}]}
    }
    half = house.deadband_k / 2.0
    lines = [
        "SET Held = Held + 1",
        f"IF Called == 0 && Room < Target - {half} && Held >= {LEAST_HOLD_MIN}",
        "SET Called = 1",
        "SET Held = 0",
        f"ELSEIF Called == 1 && Room > Target + {half} && Held >= {LEAST_HOLD_MIN}",
        "SET Called = 0",
        "SET Held = 0",
        "ENDIF",
        "SET LoopRuns = Called",
    ]
    model["EnergyManagementSystem:Program"] = {
        "Thermostat": {"lines": [{"program_line": line} for line in lines]}
    }
    model["EnergyManagementSystem:Program"]["Begin"] = {
        "lines": [{"program_line": "SET Called = 0"}, {"program_line": f"SET Held = {LEAST_HOLD_MIN}"}]
    }
    model["EnergyManagementSystem:ProgramCallingManager"] = {
        "Once": {
            "energyplus_model_calling_point": "BeginNewEnvironment",
            "programs": [{"program_name": "Begin"}],
        },
        "Each step": {
            "energyplus_model_calling_point": "BeginTimestepBeforePredictor",
            "programs": [{"program_name": "Thermostat"}],
        },
    }
