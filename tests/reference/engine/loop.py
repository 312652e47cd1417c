"""The water loop between heat pump and emitter in the engine's input."""

from __future__ import annotations

from tests.reference.engine.houses import House
from tests.reference.engine.parts import ALWAYS, Model

RADIATOR_DROP_K = 8.0
"""Flow less return at the design load [K]."""


def loop(model: Model, house: House, emitter_kind: str, flow_m3_s: float) -> None:
    """Add the loop: flow by the heating curve, one pump, a bypass beside the emitter.

    emitter_kind : the engine's name of the emitter. flow_m3_s : nominal water flow [m3/s]
    """
    _curve(model, house)
    _pump(model, flow_m3_s)
    _branches(model, emitter_kind)
    if house.backup_kw:
        model["Branch"]["Unit branch"]["components"].append(
            _component("Boiler:HotWater", "Backup", "Unit out", "Backup out")
        )
    _sides(model)
    _operation(model, house)
    _plant_loop(model, house, flow_m3_s)


def _curve(model: Model, house: House) -> None:
    low, high = house.curve
    points = {
        "control_variable": "Temperature",
        "setpoint_at_outdoor_low_temperature": low,
        "outdoor_low_temperature": house.design_outdoor_c,
        "setpoint_at_outdoor_high_temperature": high,
        "outdoor_high_temperature": 15.0,
    }
    model["SetpointManager:OutdoorAirReset"] = {
        "Curve": {**points, "setpoint_node_or_nodelist_name": "Supply out"},
        "Unit curve": {**points, "setpoint_node_or_nodelist_name": "Unit out"},
    }


def _pump(model: Model, flow_m3_s: float) -> None:
    model["Pump:ConstantSpeed"] = {
        "Pump": {
            "inlet_node_name": "Supply in",
            "outlet_node_name": "Pump out",
            "design_flow_rate": flow_m3_s,
            "design_pump_head": 25_000.0,
            "design_power_consumption": 60.0,
            "motor_efficiency": 0.6,
            "pump_control_type": "Intermittent",
        }
    }


def _branches(model: Model, emitter_kind: str) -> None:
    pipes = {
        "Supply pipe": ("Supply mix", "Supply out"),
        "Bypass pipe": ("Bypass in", "Bypass out"),
        "Demand in pipe": ("Demand in", "Demand split"),
        "Demand out pipe": ("Demand mix", "Demand out"),
    }
    model["Pipe:Adiabatic"] = {
        name: {"inlet_node_name": a, "outlet_node_name": b} for name, (a, b) in pipes.items()
    }
    components = {
        "Pump branch": ("Pump:ConstantSpeed", "Pump", "Supply in", "Pump out"),
        "Unit branch": ("HeatPump:PlantLoop:EIR:Heating", "Heat pump", "Unit in", "Unit out"),
        "Supply end": ("Pipe:Adiabatic", "Supply pipe", "Supply mix", "Supply out"),
        "Demand begin": ("Pipe:Adiabatic", "Demand in pipe", "Demand in", "Demand split"),
        "Emitter branch": (emitter_kind, "Emitter", "Emitter in", "Emitter out"),
        "Bypass": ("Pipe:Adiabatic", "Bypass pipe", "Bypass in", "Bypass out"),
        "Demand end": ("Pipe:Adiabatic", "Demand out pipe", "Demand mix", "Demand out"),
    }
    model["Branch"] = {
        name: {"components": [_component(kind, part, a, b)]}
        for name, (kind, part, a, b) in components.items()
    }


def _component(kind: str, part: str, a: str, b: str) -> dict[str, str]:
    return {
        "component_object_type": kind,
        "component_name": part,
        "component_inlet_node_name": a,
        "component_outlet_node_name": b,
    }


def _sides(model: Model) -> None:
    """Branches of both sides of the loop, with what splits and joins them."""
    sides = {
        "Supply": ("Pump branch", ["Unit branch"], "Supply end"),
        "Demand": ("Demand begin", ["Emitter branch", "Bypass"], "Demand end"),
    }
    for name in ("BranchList", "ConnectorList", "Connector:Splitter", "Connector:Mixer"):
        model[name] = {}
    for side, (first, middle, last) in sides.items():
        model["BranchList"][f"{side} branches"] = {
            "branches": [{"branch_name": b} for b in (first, *middle, last)]
        }
        model["Connector:Splitter"][f"{side} splitter"] = {
            "inlet_branch_name": first,
            "branches": [{"outlet_branch_name": b} for b in middle],
        }
        model["Connector:Mixer"][f"{side} mixer"] = {
            "outlet_branch_name": last,
            "branches": [{"inlet_branch_name": b} for b in middle],
        }
        model["ConnectorList"][f"{side} connectors"] = {
            "connector_1_object_type": "Connector:Splitter",
            "connector_1_name": f"{side} splitter",
            "connector_2_object_type": "Connector:Mixer",
            "connector_2_name": f"{side} mixer",
        }


def _operation(model: Model, house: House) -> None:
    """The heat pump serves every load, and the heater behind it what is left."""
    second = [{"equipment_object_type": "Boiler:HotWater", "equipment_name": "Backup"}]
    model["PlantEquipmentList"] = {
        "Units": {
            "equipment": [
                {"equipment_object_type": "HeatPump:PlantLoop:EIR:Heating", "equipment_name": "Heat pump"},
                *(second if house.backup_kw else []),
            ]
        }
    }
    model["PlantEquipmentOperation:HeatingLoad"] = {
        "Heating": {
            "load_range_1_lower_limit": 0.0,
            "load_range_1_upper_limit": 1e9,
            "range_1_equipment_list_name": "Units",
        }
    }
    model["PlantEquipmentOperationSchemes"] = {
        "Scheme": {
            "control_scheme_1_object_type": "PlantEquipmentOperation:HeatingLoad",
            "control_scheme_1_name": "Heating",
            "control_scheme_1_schedule_name": ALWAYS,
        }
    }


def _plant_loop(model: Model, house: House, flow_m3_s: float) -> None:
    model["PlantLoop"] = {
        "Heating loop": {
            "fluid_type": "Water",
            "plant_equipment_operation_scheme_name": "Scheme",
            "loop_temperature_setpoint_node_name": "Supply out",
            "maximum_loop_temperature": 80.0,
            "minimum_loop_temperature": 5.0,
            "maximum_loop_flow_rate": flow_m3_s,
            "plant_loop_volume": 0.08,
            "plant_side_inlet_node_name": "Supply in",
            "plant_side_outlet_node_name": "Supply out",
            "plant_side_branch_list_name": "Supply branches",
            "plant_side_connector_list_name": "Supply connectors",
            "demand_side_inlet_node_name": "Demand in",
            "demand_side_outlet_node_name": "Demand out",
            "demand_side_branch_list_name": "Demand branches",
            "demand_side_connector_list_name": "Demand connectors",
        }
    }
    model["Sizing:Plant"] = {
        "Sizing": {
            "plant_or_condenser_loop_name": "Heating loop",
            "loop_type": "Heating",
            "design_loop_exit_temperature": house.curve[0],
            "loop_design_temperature_difference": RADIATOR_DROP_K,
        }
    }
