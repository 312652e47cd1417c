"""Plain names for the codes that results carry."""

from __future__ import annotations

import re

from analysis.verdict import WORDS

SEVERITY_WORDS = {s: WORDS[s][:1].upper() + WORDS[s][1:] for s in ("urgent", "act", "watch")} | {
    "note": "Note"
}
SEVERITY_MEANING = {
    "urgent": "harm or damage may follow",
    "act": "a setting or a visit is needed",
    "watch": "look again soon",
    "note": "worth knowing",
}

VISITS = {
    "drive": "Visit",
    "setting": "Change a setting",
    "call": "Phone the householder",
    "none": "Nothing to do",
}

TITLES = {
    "short_cycling": "Starts too often",
    "excessive_defrost": "Defrosts more than the weather explains",
    "defrost_without_frost": "Defrosts when no frost can form",
    "flow_temperature_above_curve": "Flow temperature above the design curve",
    "no_weather_compensation": "Flow temperature ignores the weather",
    "low_flow": "Too little water through the heat pump",
    "falling_flow": "Water flow is falling",
    "buffer_mixing": "Heat lost by mixing at the buffer",
    "backup_heater_use": "Back-up heater runs in mild weather",
    "immersion_use": "Immersion heater makes everyday hot water",
    "high_standby": "High standby power",
    "pump_always_on": "Pump runs when nothing needs it",
    "heating_out_of_season": "Heats in warm weather",
    "efficiency_below_expected": "Efficiency below its rating",
    "efficiency_fell": "Efficiency has fallen",
    "heat_loss_above_design": "House loses more heat than designed",
    "heat_loss_below_design": "House loses less heat than designed",
    "capacity_short": "May not carry the coldest days",
    "room_below_target": "Rooms below set temperature",
    "slow_reheat": "Cylinder heats slowly",
    "reheat_incomplete": "Cylinder does not reach its setpoint",
    "hot_water_shortfall": "Hot water runs out",
    "high_standing_loss": "Cylinder cools too fast",
    "pasteurisation_missed": "Thermal disinfection not reached",
    "diverter_passing": "Heat leaks through the diverter valve",
    "pressure_falling": "Heating circuit is losing pressure",
    "pressure_low": "Heating circuit pressure is low",
    "frost_risk": "Water in the unit near freezing",
    "unit_stopped": "Heat pump does not run",
    "fault_reported": "Heat pump reports a fault",
    "water_too_hot": "Stored water hot enough to scald",
    "disinfection_lacking": "Stored water is not disinfected",
    "pressure_high": "Heating circuit pressure is too high",
    "pressure_swings": "Heating circuit pressure swings",
    "meter_misplaced": "A meter measures something else",
    "performance_below_promise": "Seasonal performance below the design",
    "electricity_above_expected": "Uses more electricity than expected",
    "data_gap": "Readings are missing",
    "sensor_stuck": "A sensor is stuck",
    "register_reset": "A meter's total was reset",
    "unit_mismatch": "A unit of measurement does not fit",
    "flow_return_swapped": "Flow and return are swapped",
    "clock_offset": "The gateway's clock is off",
    "implausible_efficiency": "Efficiency higher than physically possible",
    "heat_meter_disagrees": "Heat meter disagrees with flow and temperatures",
    "outdoor_sensor_biased": "Outdoor sensor reads wrongly",
    "silence": "Nothing heard from the gateway",
}

CAUSES = {
    "oversized_for_mild_load": "unit too large for the mild load",
    "thermostat_chopping": "room thermostats cut the runs short",
    "low_water_volume": "too little water in the circuit",
    "flow_restriction": "flow is restricted",
    "coil_airflow": "airflow through the outdoor coil is restricted",
    "low_refrigerant_symptom": "pattern consistent with low refrigerant charge",
    "insufficient_defrost_heat": "too little heat to defrost with",
    "sensor_fault": "a sensor is faulty",
    "curve_set_high": "heating curve set too high",
    "manual_override": "flow temperature set by hand",
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
    "no_power": "no power to the unit",
    "locked_out": "the unit is locked out",
    "switched_off": "the unit is switched off",
    "disinfection_stuck": "disinfection run does not end",
    "other_source": "another heat source",
    "none_scheduled": "no disinfection is scheduled",
    "setpoint_too_low": "setpoint too low",
    "vessel_empty": "expansion vessel has lost its charge",
    "filling_loop_open": "filling loop left open",
    "one_branch_only": "heat meter in one branch only",
    "behind_heater": "heat meter behind the in-line heater",
    "other_circuit": "meter on another circuit",
    "other_load_inside": "other loads on the meter",
    "pulse_value": "pulse value set wrongly",
    "unit_trips": "the unit stops by itself within minutes",
    "antifreeze_uncorrected": "heat meter does not allow for antifreeze",
}

LOSSES = {
    "flow_temperature_above_curve": "Flow temperature off the design curve",
    "part_load": "Gain at part load",
    "cycling": "Cycling",
    "defrost": "Defrosting beyond the rating's test",
    "hot_water": "Hot water below its rating",
    "direct_electric_heat": "Back-up and immersion heaters",
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
    "flow_return_swapped": "curve", "unit_stopped": "heat", "fault_reported": "runs", "water_too_hot": "cylinder",
    "disinfection_lacking": "cylinder", "pressure_high": "pressure", "pressure_swings": "pressure",
    "meter_misplaced": "months", "performance_below_promise": "months", "electricity_above_expected": "heat",
}  # fmt: skip

POINT_NAMES = {
    "heat_pump_electricity": "Heat pump electricity", "fan_electricity": "Fan electricity",
    "backup_heater_electricity": "Back-up heater electricity", "immersion_electricity": "Immersion heater electricity",
    "circulation_pump_electricity": "Circulation pump electricity", "house_electricity": "Whole-house electricity",
    "heat_output": "Heat output", "space_heat": "Heat to rooms", "hot_water_heat": "Heat to hot water",
    "flow_temperature": "Flow temperature", "return_temperature": "Return temperature",
    "distribution_flow_temperature": "Flow temperature after the buffer",
    "distribution_return_temperature": "Return temperature before the buffer", "flow_rate": "Water flow rate",
    "outdoor_temperature": "Outdoor temperature", "outdoor_humidity": "Outdoor humidity",
    "solar_irradiance": "Solar irradiance", "room_temperature": "Room temperature",
    "target_room_temperature": "Set room temperature", "target_flow_temperature": "Set flow temperature",
    "cylinder_temperature": "Cylinder temperature", "buffer_temperature": "Buffer temperature",
    "system_pressure": "Circuit pressure", "operating_mode": "Operating mode", "defrost_active": "Defrost signal",
    "heat_call": "Call for heat", "diverter_to_hot_water": "Diverter to hot water", "compressor_speed": "Compressor speed",
    "compressor_starts": "Compressor start counter", "compressor_hours": "Compressor hour counter", "fault_code": "Fault code",
}  # fmt: skip
"""The name of each quantity, on every page and paper."""

SITE_KEYS = {
    "design.heat_loss_kw": "the designed heat loss", "design.indoor_c": "the designed indoor temperature",
    "design.outdoor_c": "the design outdoor temperature", "design.bivalent_c": "the bivalent temperature",
    "design.space_heat_kwh_per_year": "the designed heat to rooms", "design.spf_space": "the designed efficiency for rooms",
    "design.hot_water_kwh_per_year": "the designed heat to hot water",
    "design.spf_hot_water": "the designed efficiency for hot water",
    "heat_pump.rated_output_kw": "the rated output", "heat_pump.flow_m3_per_h": "the nominal water flow",
    "heat_pump.max_flow_c": "the highest flow temperature", "heat_pump.min_output_kw": "the lowest output",
    "hot_water.cylinder_litres": "the cylinder's volume", "cost.electricity or cost.band": "an electricity price",
    "cost.electricity": "an electricity price", "cost.band": "the tariff bands",
    "cost.previous_fuel_price": "the price of the previous fuel", "heating_curve in the site file": "the designed heating curve",
    "a rating point with output_kw": "a rating point with its output", "[cost] in the site file": "prices (not entered yet)",
    "[csv] timezone": "its time zone of exports", "[csv] time_format": "its time format", "output_kw": "output",
    "the site's [csv]": "the site's export settings", "time_format": "the time format",
}  # fmt: skip
"""What the keys of a site file mean, for those who never saw one."""

NOT_FOR_READERS = (
    re.compile(r" ?\(?,? ?from memory\)?"),
    re.compile(r" ?\(references? [\d., and]+\)"),
    re.compile(r"references? \d[\d.]*[:,]? ?"),
    re.compile(r" ?\(limits table\)|\blimits table\b"),
)
"""Remarks in sources and reasons that say nothing to readers."""

KINDS = {
    "gap": "no readings", "reset": "total reset", "rolled_over": "total rolled over", "stepped_back": "total stepped back",
    "jumped": "total jumped", "unlikely": "implausible values left out", "stuck": "stuck at one value",
}  # fmt: skip
