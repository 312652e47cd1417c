"""The heat pump and the emitters in the engine's input."""

from __future__ import annotations

from tests.reference.engine.houses import House
from tests.reference.engine.loop import RADIATOR_DROP_K, loop
from tests.reference.engine.parts import ALWAYS, OPEN_C, Model, compact, equipment, thermostat
from tests.reference.engine.thermostat import room_thermostat


def heating(model: Model, house: House) -> None:
    """Set temperatures, thermostat, emitter, heat pump and water loop."""
    low = house.target_c - house.set_back_k
    schedule = ["Until: 06:00", low, "Until: 22:00", house.target_c, "Until: 24:00", low]
    model["Schedule:Compact"]["Target temperature"] = compact(schedule)
    if house.chopped:
        room_thermostat(model, house)
    else:
        thermostat(model, "Target temperature", 0.0)
    flow_m3_s = house.design_load_kw / (4.18 * RADIATOR_DROP_K) / 995.0
    if house.emitter == "radiator":
        # UA that gives the rated output with 50 K between mean water and room.
        model["ZoneHVAC:Baseboard:Convective:Water"] = {
            "Emitter": {
                "inlet_node_name": "Emitter in",
                "outlet_node_name": "Emitter out",
                "heating_design_capacity": 1000.0 * house.emitter_kw,
                "u_factor_times_area_value": 1000.0 * house.emitter_kw / 50.0,
                "maximum_water_flow_rate": flow_m3_s * house.valve_open,
            }
        }
        kind = "ZoneHVAC:Baseboard:Convective:Water"
    else:
        kind = "ZoneHVAC:LowTemperatureRadiant:VariableFlow"
        _floor_heating(model, house, flow_m3_s)
    equipment(model, kind, "Emitter")
    _heat_pump(model, house, flow_m3_s)
    if house.backup_kw:
        _backup(model, house, flow_m3_s)
    loop(model, house, kind, flow_m3_s)


def _floor_heating(model: Model, house: House, flow_m3_s: float) -> None:
    model["Material"]["Screed"] = {
        "roughness": "MediumRough",
        "conductivity": 1.4,
        "density": 2000.0,
        "specific_heat": 1000.0,
        "thickness": 0.05,
    }
    model["ConstructionProperty:InternalHeatSource"] = {
        "Pipes": {
            "construction_name": "Floor",
            "thermal_source_present_after_layer_number": 2,
            "temperature_calculation_requested_after_layer_number": 2,
            "dimensions_for_the_ctf_calculation": 1,
            "tube_spacing": 0.15,
        }
    }
    model["Construction"]["Floor"] = {
        "outside_layer": "Floor insulation",
        "layer_2": "Mass",
        "layer_3": "Screed",
    }
    model["Schedule:Constant"]["Floor throttle"] = {
        "schedule_type_limits_name": "Any",
        "hourly_value": OPEN_C,
    }
    model["ZoneHVAC:LowTemperatureRadiant:VariableFlow:Design"] = {
        "Floor design": {
            "fluid_to_radiant_surface_heat_transfer_model": "ConvectionOnly",
            "temperature_control_type": "MeanAirTemperature",
            "heating_design_capacity_method": "HeatingDesignCapacity",
            "heating_control_throttling_range": 1.0,
            "heating_control_temperature_schedule_name": "Floor throttle",
        }
    }
    model["ZoneHVAC:LowTemperatureRadiant:VariableFlow"] = {
        "Emitter": {
            "design_object": "Floor design",
            "availability_schedule_name": ALWAYS,
            "zone_name": "House",
            "surface_name_or_radiant_surface_group_name": "Floor",
            "hydronic_tubing_length": house.width_m * house.depth_m / 0.15,
            "heating_design_capacity": 1000.0 * house.design_load_kw,
            "maximum_hot_water_flow": flow_m3_s,
            "heating_water_inlet_node_name": "Emitter in",
            "heating_water_outlet_node_name": "Emitter out",
            "number_of_circuits": "CalculateFromCircuitLength",
            "circuit_length": 90.0,
        }
    }


def _heat_pump(model: Model, house: House, flow_m3_s: float) -> None:
    """Capacity and input ratio as smooth functions of leaving water and air temperature, about the level of
    EN 14511 data."""
    # x: leaving water, y: entering air [°C]; `houses.capacity_share` and `input_share` are the same sums.
    model["Curve:Biquadratic"] = {
        "Capacity": _curve(0.993, -0.003, 0.0, 0.016, 0.0, 0.0),
        "Input ratio": _curve(0.605, 0.0115, 0.00012, -0.0205, 0.00022, -0.00009),
    }
    model["Curve:Quadratic"] = {
        # Less than full output costs up to a seventh less electricity a unit of heat; near the least it
        # costs more.
        "Part load": {
            "coefficient1_constant": 0.98,
            "coefficient2_x": -0.30,
            "coefficient3_x_2": 0.32,
            "minimum_value_of_x": 0.0,
            "maximum_value_of_x": 1.0,
        }
    }
    model["HeatPump:PlantLoop:EIR:Heating"] = {
        "Heat pump": {
            "load_side_inlet_node_name": "Unit in",
            "load_side_outlet_node_name": "Unit out",
            "condenser_type": "AirSource",
            "source_side_inlet_node_name": "Outdoor in",
            "source_side_outlet_node_name": "Outdoor out",
            "load_side_reference_flow_rate": flow_m3_s,
            "source_side_reference_flow_rate": 0.8,
            "reference_capacity": 1000.0 * house.output_kw,
            "reference_coefficient_of_performance": house.cop,
            "capacity_modifier_function_of_temperature_curve_name": "Capacity",
            "electric_input_to_output_ratio_modifier_function_of_temperature_curve_name": "Input ratio",
            "electric_input_to_output_ratio_modifier_function_of_part_load_ratio_curve_name": "Part load",
            "control_type": "Setpoint",
            "minimum_part_load_ratio": house.least_share,
            "heat_pump_defrost_control": "Timed" if house.defrost else "None",
        }
    }
    model["OutdoorAir:NodeList"] = {"Air nodes": {"nodes": [{"node_or_nodelist_name": "Outdoor in"}]}}


def _backup(model: Model, house: House, flow_m3_s: float) -> None:
    """An electric heater in the flow, for what the heat pump leaves."""
    model["Boiler:HotWater"] = {
        "Backup": {
            "fuel_type": "Electricity",
            "nominal_capacity": 1000.0 * house.backup_kw,
            "nominal_thermal_efficiency": 1.0,
            "design_water_flow_rate": flow_m3_s,
            "minimum_part_load_ratio": 0.0,
            "maximum_part_load_ratio": 1.0,
            "optimum_part_load_ratio": 1.0,
            "boiler_water_inlet_node_name": "Unit out",
            "boiler_water_outlet_node_name": "Backup out",
            "water_outlet_upper_temperature_limit": 80.0,
            "boiler_flow_mode": "NotModulated",
        }
    }


def _curve(c1: float, x: float, x2: float, y: float, y2: float, xy: float) -> dict[str, float]:
    return {
        "coefficient1_constant": c1,
        "coefficient2_x": x,
        "coefficient3_x_2": x2,
        "coefficient4_y": y,
        "coefficient5_y_2": y2,
        "coefficient6_x_y": xy,
        "minimum_value_of_x": 20.0,
        "maximum_value_of_x": 65.0,
        "minimum_value_of_y": -25.0,
        "maximum_value_of_y": 25.0,
    }
