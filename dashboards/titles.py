"""Plain names for the codes that results carry."""

from __future__ import annotations

SEVERITY_WORDS = {"urgent": "Urgent", "act": "Act", "watch": "Watch", "note": "Note"}
SEVERITY_MEANING = {
    "urgent": "harm or damage may follow",
    "act": "a setting or a visit is needed",
    "watch": "look again soon",
    "note": "worth knowing",
}

VISITS = {
    "drive": "Drive there",
    "setting": "Change a setting",
    "call": "Phone the household",
    "none": "Nothing to do",
}

TITLES = {
    "short_cycling": "Starts too often",
    "excessive_defrost": "Defrosts more than the weather explains",
    "defrost_without_frost": "Defrosts when nothing can freeze",
    "flow_temperature_above_curve": "Water hotter than the designed curve",
    "no_weather_compensation": "Flow temperature ignores the weather",
    "low_flow": "Too little water through the heat pump",
    "falling_flow": "Water flow is falling",
    "buffer_mixing": "Heat lost by mixing at the buffer",
    "backup_heater_use": "Direct heater works in mild weather",
    "immersion_use": "Immersion heater makes everyday hot water",
    "high_standby": "Draws a lot while idle",
    "pump_always_on": "Pump runs with nothing to do",
    "heating_out_of_season": "Heats in warm weather",
    "efficiency_below_expected": "Less efficient than its own rating",
    "efficiency_fell": "Efficiency has fallen",
    "heat_loss_above_design": "House loses more heat than designed",
    "heat_loss_below_design": "House loses less heat than designed",
    "capacity_short": "May not hold the coldest days",
    "room_below_target": "Rooms colder than asked",
    "slow_reheat": "Cylinder heats slowly",
    "reheat_incomplete": "Cylinder stops short of its setpoint",
    "hot_water_shortfall": "Hot water runs out",
    "high_standing_loss": "Cylinder cools too fast",
    "pasteurisation_missed": "Thermal disinfection not reached",
    "diverter_passing": "Heat leaks through the diverter valve",
    "pressure_falling": "Heating circuit is losing pressure",
    "pressure_low": "Heating circuit pressure is low",
    "frost_risk": "Water in the unit near freezing",
    "data_gap": "Readings are missing",
    "sensor_stuck": "A sensor stands still",
    "register_reset": "A meter's total was reset",
    "unit_mismatch": "A unit does not fit",
    "flow_return_swapped": "Flow and return are swapped",
    "clock_offset": "The gateway's clock is off",
    "implausible_efficiency": "Efficiency beyond what can be",
    "heat_meter_disagrees": "Heat meter disagrees with flow and temperatures",
    "outdoor_sensor_biased": "Outdoor sensor reads wrong",
    "silence": "Nothing heard from the gateway",
}

CAUSES = {
    "oversized_for_mild_load": "unit too large for the mild load",
    "thermostat_chopping": "room thermostats cut the runs short",
    "low_water_volume": "too little water in the circuit",
    "flow_restriction": "something holds the water back",
    "coil_airflow": "air can't pass the outdoor coil freely",
    "low_refrigerant_symptom": "signs as with too little refrigerant",
    "insufficient_defrost_heat": "too little heat to defrost with",
    "sensor_fault": "a sensor is wrong",
    "curve_set_high": "heating curve set too high",
    "manual_override": "flow temperature fixed by hand",
    "fixed_flow_setting": "a fixed flow temperature is set",
    "strainer_or_air": "strainer blocked or air in the circuit",
    "pump_setting": "pump set too low",
    "strainer_clogging": "strainer is clogging",
    "secondary_flow_exceeds_primary": "the house side pumps more than the heat pump side",
    "bivalent_set_high": "back-up heater allowed too early",
    "capacity_shortfall": "unit too small for the load",
    "immersion_timer_on": "immersion heater's timer is on",
    "setpoint_above_reach": "setpoint beyond what the unit reaches",
    "capacity_short": "unit too small for the load",
    "curve_too_low": "heating curve set too low",
    "zone_not_opening": "a zone valve does not open",
    "coil_or_scale": "cylinder coil too small or scaled",
    "flow_low": "too little water through the coil",
    "reheat_window": "reheating is not allowed at the right hours",
    "cylinder_small": "cylinder too small for the draws",
    "reheat_slow": "reheating takes too long",
    "secondary_circulation": "hot-water circulation pipe loses heat",
    "insulation": "insulation missing or poor",
    "power_loss": "power to the unit was lost",
    "antifreeze_uncorrected": "heat meter does not allow for antifreeze",
}

LOSSES = {
    "flow_temperature_above_curve": "Water off the designed curve",
    "part_load": "Gain at part load",
    "cycling": "Starting and stopping",
    "defrost": "Defrosting beyond the rating's test",
    "hot_water": "Hot water below its rating",
    "direct_electric_heat": "Direct electric heat",
    "pumps_and_standby": "Pumps and standby",
    "unexplained": "Not explained",
}

FIGURES = {
    "short_cycling": "runs", "excessive_defrost": "defrosts", "defrost_without_frost": "defrosts",
    "flow_temperature_above_curve": "curve", "no_weather_compensation": "curve", "low_flow": "water",
    "falling_flow": "water", "buffer_mixing": "curve", "backup_heater_use": "direct", "immersion_use": "direct",
    "high_standby": "idle", "pump_always_on": "idle", "heating_out_of_season": "heat",
    "efficiency_below_expected": "efficiency", "efficiency_fell": "against_rating", "heat_loss_above_design": "heat",
    "heat_loss_below_design": "heat", "capacity_short": "heat", "room_below_target": "rooms", "slow_reheat": "reheats",
    "reheat_incomplete": "reheats", "hot_water_shortfall": "reheats", "high_standing_loss": "cylinder",
    "pasteurisation_missed": "cylinder", "diverter_passing": "cylinder", "pressure_falling": "pressure",
    "pressure_low": "pressure", "frost_risk": "frost", "data_gap": "coverage", "sensor_stuck": "coverage",
    "register_reset": "coverage", "implausible_efficiency": "months", "heat_meter_disagrees": "months",
    "outdoor_sensor_biased": "heat", "unit_mismatch": "coverage", "clock_offset": "coverage",
    "flow_return_swapped": "curve",
}  # fmt: skip

POINT_NAMES = {
    "heat_pump_electricity": "Heat pump electricity", "fan_electricity": "Fan electricity",
    "backup_heater_electricity": "Back-up heater", "immersion_electricity": "Immersion heater",
    "circulation_pump_electricity": "Circulation pumps", "house_electricity": "Whole house",
    "heat_output": "Heat given", "space_heat": "Heat to rooms", "hot_water_heat": "Heat to hot water",
    "flow_temperature": "Flow", "return_temperature": "Return", "distribution_flow_temperature": "Flow beyond buffer",
    "distribution_return_temperature": "Return beyond buffer", "flow_rate": "Water flow",
    "outdoor_temperature": "Outdoors", "outdoor_humidity": "Outdoor humidity", "solar_irradiance": "Sun",
    "room_temperature": "Room", "target_room_temperature": "Room asked for", "target_flow_temperature": "Flow asked for",
    "cylinder_temperature": "Cylinder", "buffer_temperature": "Buffer", "system_pressure": "Circuit pressure",
    "operating_mode": "Mode", "defrost_active": "Defrosting", "heat_call": "Call for heat",
    "diverter_to_hot_water": "Diverter to hot water", "compressor_speed": "Compressor speed",
    "compressor_starts": "Starts counted", "compressor_hours": "Hours counted", "fault_code": "Fault shown",
}  # fmt: skip

KINDS = {
    "gap": "nothing read", "reset": "total reset", "rolled_over": "total rolled over", "stepped_back": "total stepped back",
    "jumped": "total jumped", "unlikely": "unlikely values left out", "stuck": "stood still",
}  # fmt: skip
