"""The engine's input (epJSON) of a house: zone, weather, plant loop with an air-source heat pump, one-minute
steps."""

from __future__ import annotations

from typing import Any

from tests.reference.engine.houses import House

Model = dict[str, dict[str, Any]]
STEPS_PER_HOUR = 60
ALWAYS, ON = "Always", "Operating"
RADIATOR_DROP_K = 8.0
LEAST_HOLD_MIN = 10
"""Least minutes of a run and of a rest (common practice: units keep 6 to 10)."""
OPEN_C = 30.0
"""A set temperature at which the emitter is always open."""

OUTPUTS = (
    "Site Outdoor Air Drybulb Temperature",
    "Site Outdoor Air Relative Humidity",
    "Site Wind Speed",
    "Site Diffuse Solar Radiation Rate per Area",
    "Site Direct Solar Radiation Rate per Area",
    "Site Solar Altitude Angle",
    "Zone Mean Air Temperature",
    "Schedule Value",
    "Heat Pump Load Side Heat Transfer Rate",
    "Heat Pump Electricity Rate",
    "Heat Pump Load Side Inlet Temperature",
    "Heat Pump Load Side Outlet Temperature",
    "Heat Pump Load Side Mass Flow Rate",
    "Pump Electricity Rate",
    "Zone Ideal Loads Zone Sensible Heating Rate",
)


def input_of(house: House, begin: tuple[int, int], end: tuple[int, int], *, coheating: bool = False) -> Model:
    """The engine's input.

    begin, end : (month, day) of a run that may pass the turn of the year; the weather file's year repeats
    coheating : an ideal heater at a constant temperature instead of the plant, no gains and no sun, to
        measure the heat loss
    """
    model = _frame(begin, end)
    _envelope(model, house, shaded=coheating)
    _use(model, house, coheating)
    if coheating:
        _ideal_heater(model, house)
    else:
        _plant(model, house)
    return model


def _frame(begin: tuple[int, int], end: tuple[int, int]) -> Model:
    years = (2023, 2024 if end < begin else 2023)
    return {
        "Version": {"Version 1": {"version_identifier": "25.2"}},
        "Building": {"House": {"terrain": "Suburbs", "solar_distribution": "FullExterior"}},
        "SimulationControl": {"Control": {"run_simulation_for_sizing_periods": "No"}},
        "Timestep": {"Steps": {"number_of_timesteps_per_hour": STEPS_PER_HOUR}},
        "GlobalGeometryRules": {
            "Rules": {
                "starting_vertex_position": "UpperLeftCorner",
                "vertex_entry_direction": "Counterclockwise",
                "coordinate_system": "Relative",
            }
        },
        "RunPeriod": {
            "Winter": {
                "begin_month": begin[0],
                "begin_day_of_month": begin[1],
                "begin_year": years[0],
                "end_month": end[0],
                "end_day_of_month": end[1],
                "end_year": years[1],
                "use_weather_file_daylight_saving_period": "No",
                "use_weather_file_holidays_and_special_days": "No",
            }
        },
        "ScheduleTypeLimits": {"Any": {}},
        "Schedule:Constant": {
            ALWAYS: {"schedule_type_limits_name": "Any", "hourly_value": 1.0},
            "Single heating": {"schedule_type_limits_name": "Any", "hourly_value": 1.0},
        },
        "Output:Variable": {
            f"Output {n}": {"key_value": "*", "variable_name": name, "reporting_frequency": "Timestep"}
            for n, name in enumerate(OUTPUTS)
        },
        "OutputControl:Files": {
            "Files": {
                "output_csv": "Yes",
                "output_eso": "Yes",
                "output_tabular": "No",
                "output_sqlite": "No",
                "output_json": "No",
            }
        },
    }


def _envelope(model: Model, house: House, *, shaded: bool) -> None:
    """A box. Walls, roof and floor are a massive inner layer behind insulation of the wanted conductance."""
    w, d, h = house.width_m, house.depth_m, house.height_m
    inner = {"roughness": "MediumRough", "conductivity": 1.1, "density": 1800.0, "specific_heat": 900.0}
    outer = {"roughness": "MediumRough", "conductivity": 0.035, "density": 30.0, "specific_heat": 1400.0}
    mass = house.thermal_mass_m
    absorbed = 0.0 if shaded else 0.6
    model["Material"] = {"Mass": {**inner, "thickness": mass, "solar_absorptance": 0.6}}
    for part, u in (("Wall", house.wall_u), ("Roof", house.roof_u), ("Floor", house.floor_u)):
        # Surface films take 0.17 m2K/W (ISO 6946), the massive layer its own share.
        resistance = 1.0 / u - 0.17 - mass / 1.1
        model["Material"][f"{part} insulation"] = {
            **outer,
            "thickness": max(0.035 * resistance, 0.003),
            "solar_absorptance": max(absorbed, 0.0001),
        }
    model["WindowMaterial:SimpleGlazingSystem"] = {
        "Glass": {
            "u_factor": house.window_u,
            "solar_heat_gain_coefficient": 0.02 if shaded else house.solar_gain,
        }
    }
    model["Construction"] = {
        part: {"outside_layer": f"{part} insulation", "layer_2": "Mass"} for part in ("Wall", "Roof", "Floor")
    } | {"Window": {"outside_layer": "Glass"}}
    model["Zone"] = {"House": {}}
    walls = {
        "South": [(0, 0, h), (0, 0, 0), (w, 0, 0), (w, 0, h)],
        "East": [(w, 0, h), (w, 0, 0), (w, d, 0), (w, d, h)],
        "North": [(w, d, h), (w, d, 0), (0, d, 0), (0, d, h)],
        "West": [(0, d, h), (0, d, 0), (0, 0, 0), (0, 0, h)],
    }
    surfaces: dict[str, Any] = {}
    for name, corners in walls.items():
        surfaces[name] = _surface("Wall", "Wall", "Outdoors", corners)
    surfaces["Roof"] = _surface("Roof", "Roof", "Outdoors", [(0, d, h), (0, 0, h), (w, 0, h), (w, d, h)])
    surfaces["Floor"] = _surface("Floor", "Floor", "Outdoors", [(0, 0, 0), (0, d, 0), (w, d, 0), (w, 0, 0)])
    surfaces["Floor"] |= {"sun_exposure": "NoSun", "wind_exposure": "NoWind"}
    model["BuildingSurface:Detailed"] = surfaces
    share = house.window_share**0.5
    model["FenestrationSurface:Detailed"] = {
        f"{name} window": _window(name, corners, share * (1.2 if name == "South" else 0.9))
        for name, corners in walls.items()
    }


def _surface(
    kind: str, construction: str, boundary: str, corners: list[tuple[float, float, float]]
) -> dict[str, Any]:
    axes = ("x", "y", "z")
    return {
        "surface_type": kind,
        "construction_name": construction,
        "zone_name": "House",
        "outside_boundary_condition": boundary,
        "sun_exposure": "SunExposed",
        "wind_exposure": "WindExposed",
        "vertices": [{f"vertex_{a}_coordinate": v for a, v in zip(axes, c, strict=True)} for c in corners],
    }


def _window(wall: str, corners: list[tuple[float, float, float]], scale: float) -> dict[str, Any]:
    """A window in the middle of a wall, its sides `scale` of the wall's."""
    centre = [sum(c[i] for c in corners) / 4.0 for i in range(3)]
    out: dict[str, Any] = {
        "surface_type": "Window",
        "construction_name": "Window",
        "building_surface_name": wall,
        "number_of_vertices": 4,
    }
    for n, corner in enumerate(corners, start=1):
        for i, axis in enumerate("xyz"):
            out[f"vertex_{n}_{axis}_coordinate"] = centre[i] + scale * (corner[i] - centre[i])
    return out


def _use(model: Model, house: House, coheating: bool) -> None:
    wind = house.wind_share
    model["ZoneInfiltration:DesignFlowRate"] = {
        "Air": {
            "zone_or_zonelist_or_space_or_spacelist_name": "House",
            "schedule_name": ALWAYS,
            "design_flow_rate_calculation_method": "AirChanges/Hour",
            "air_changes_per_hour": house.air_changes,
            "constant_term_coefficient": 1.0 - wind,
            "temperature_term_coefficient": 0.0,
            "velocity_term_coefficient": wind / 4.47,
            "velocity_squared_term_coefficient": 0.0,
        }
    }
    if coheating:
        return
    model["Schedule:Compact"] = {
        "Presence": _compact(
            [
                "Until: 07:00",
                0.7,
                "Until: 09:00",
                1.5,
                "Until: 17:00",
                0.7,
                "Until: 23:00",
                1.7,
                "Until: 24:00",
                0.7,
            ]
        ),
        "Evening": _compact(["Until: 17:00", 0.0, "Until: 22:00", 1.0, "Until: 24:00", 0.0]),
    }
    model["OtherEquipment"] = {"People and appliances": _gain(house.gains_w / 1.04, "Presence")}
    if house.stove_w:
        model["OtherEquipment"]["Stove"] = _gain(house.stove_w, "Evening")


def _compact(fields: list[str | float]) -> dict[str, Any]:
    head: list[str | float] = ["Through: 12/31", "For: AllDays"]
    return {"schedule_type_limits_name": "Any", "data": [{"field": f} for f in head + fields]}


def _gain(watts: float, schedule: str) -> dict[str, Any]:
    return {
        "fuel_type": "None",
        "zone_or_zonelist_or_space_or_spacelist_name": "House",
        "schedule_name": schedule,
        "design_level_calculation_method": "EquipmentLevel",
        "design_level": watts,
        "fraction_radiant": 0.3,
    }


def _thermostat(model: Model, schedule: str, deadband_k: float) -> None:
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


def _equipment(model: Model, kind: str, name: str, **connections: str) -> None:
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


def _ideal_heater(model: Model, house: House) -> None:
    """A co-heating test: 25 °C throughout."""
    model["Schedule:Constant"]["Test temperature"] = {
        "schedule_type_limits_name": "Any",
        "hourly_value": 25.0,
    }
    _thermostat(model, "Test temperature", 0.0)
    model["ZoneHVAC:IdealLoadsAirSystem"] = {
        "Heater": {"zone_supply_air_node_name": "Supply air", "zone_exhaust_air_node_name": "Exhaust air"}
    }
    _equipment(
        model,
        "ZoneHVAC:IdealLoadsAirSystem",
        "Heater",
        zone_air_inlet_node_or_nodelist_name="Supply air",
        zone_air_exhaust_node_or_nodelist_name="Exhaust air",
    )


def _plant(model: Model, house: House) -> None:
    low = house.target_c - house.set_back_k
    schedule = ["Until: 06:00", low, "Until: 22:00", house.target_c, "Until: 24:00", low]
    model["Schedule:Compact"]["Target temperature"] = _compact(schedule)
    _room_thermostat(model, house)
    flow_m3_s = house.design_load_kw / (4.18 * RADIATOR_DROP_K) / 995.0
    if house.emitter == "radiator":
        # UA that gives the rated output with 50 K between mean water and room.
        model["ZoneHVAC:Baseboard:Convective:Water"] = {
            "Emitter": {
                "inlet_node_name": "Emitter in",
                "outlet_node_name": "Emitter out",
                "heating_design_capacity": 1000.0 * house.emitter_kw,
                "u_factor_times_area_value": 1000.0 * house.emitter_kw / 50.0,
                "maximum_water_flow_rate": flow_m3_s,
            }
        }
        kind = "ZoneHVAC:Baseboard:Convective:Water"
    else:
        kind = "ZoneHVAC:LowTemperatureRadiant:VariableFlow"
        _floor_heating(model, house, flow_m3_s)
    _equipment(model, kind, "Emitter")
    _heat_pump(model, house, flow_m3_s)
    _loop(model, house, kind, flow_m3_s)


def _room_thermostat(model: Model, house: House) -> None:
    """An on-off room thermostat with a dead band: it lets the loop run or not, and the emitter takes what the
    loop gives.

    The engine's own thermostat meets the load of each minute exactly, which no real one does.
    """
    model["Schedule:Constant"]["Emitter open"] = {"schedule_type_limits_name": "Any", "hourly_value": OPEN_C}
    _thermostat(model, "Emitter open", 0.0)
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
        # Less than full output costs up to a seventh less electricity a unit of heat; near the least it costs
        # more.
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
            "heat_pump_defrost_control": "None",
        }
    }
    model["OutdoorAir:NodeList"] = {"Air nodes": {"nodes": [{"node_or_nodelist_name": "Outdoor in"}]}}


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


def _loop(model: Model, house: House, emitter_kind: str, flow_m3_s: float) -> None:
    model["SetpointManager:OutdoorAirReset"] = {
        "Curve": {
            "control_variable": "Temperature",
            "setpoint_at_outdoor_low_temperature": house.curve[0],
            "outdoor_low_temperature": house.design_outdoor_c,
            "setpoint_at_outdoor_high_temperature": house.curve[1],
            "outdoor_high_temperature": 15.0,
            "setpoint_node_or_nodelist_name": "Supply out",
        },
        "Unit curve": {
            "control_variable": "Temperature",
            "setpoint_at_outdoor_low_temperature": house.curve[0],
            "outdoor_low_temperature": house.design_outdoor_c,
            "setpoint_at_outdoor_high_temperature": house.curve[1],
            "outdoor_high_temperature": 15.0,
            "setpoint_node_or_nodelist_name": "Unit out",
        },
    }
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
    pipes = {"Supply pipe": ("Unit out", "Supply out"), "Bypass pipe": ("Bypass in", "Bypass out")}
    pipes |= {
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
    model["Pipe:Adiabatic"]["Supply pipe"]["inlet_node_name"] = "Supply mix"
    model["Branch"] = {
        name: {
            "components": [
                {
                    "component_object_type": kind,
                    "component_name": part,
                    "component_inlet_node_name": a,
                    "component_outlet_node_name": b,
                }
            ]
        }
        for name, (kind, part, a, b) in components.items()
    }
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
    model["PlantEquipmentList"] = {
        "Units": {
            "equipment": [
                {"equipment_object_type": "HeatPump:PlantLoop:EIR:Heating", "equipment_name": "Heat pump"}
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
