"""Findings that could explain the same readings, with the published source."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

_PRACTICE = "common practice, no source"
_LIFT = "each kelvin of flow takes 2.2 to 2.5 % of the COP: Staffell et al. 2012 (reference 8)"
_PART_LOAD = "below its least output a unit starts and stops, at a lower COP: EN 14825, Cd (reference 3.2)"
_ICING = "icing lowers the efficiency below about 2 °C: heat pump model of oemof-thermal (reference 8)"
_NO_NEED = "many defrosts start without need: Keene et al., 22 homes (reference 9.2)"
_WATER_DIFFERENCE = (
    "flow less return changes the energy of defrosts by 20 to 40 %: Energy 348, 2026 (reference 9.2)"
)
_BOUNDARY = "direct heat counts in H3 and H4: SEPEMO-Build (reference 2.1)"
_OFF_MODES = "standby and off modes count in the season: EN 14825 (reference 3.2)"
_BIVALENT = "what the unit lacks below the bivalent temperature the heater gives: EN 14825 (reference 3.3)"
_LOAD = "the load is loss coefficient times temperature difference: EN 12831-1 (reference 6.3)"
_EMITTERS = "an emitter gives less at a cooler mean water temperature: EN 442 (reference 4)"

_OF_EFFICIENCY = MappingProxyType(
    {
        "flow_temperature_above_curve": _LIFT,
        "low_flow": _PRACTICE,
        "falling_flow": _PRACTICE,
        "excessive_defrost": _ICING,
        "defrost_without_frost": _PRACTICE,
        "short_cycling": _PART_LOAD,
        "buffer_mixing": _PRACTICE,
        "diverter_passing": _PRACTICE,
    }
)
"""What lowers a heat pump's efficiency besides the unit itself."""

ALTERNATIVE_FINDINGS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "short_cycling": {
            "buffer_mixing": _PRACTICE,
            "low_flow": _PRACTICE,
            "falling_flow": _PRACTICE,
            "heat_loss_below_design": _PART_LOAD,
        },
        "excessive_defrost": {
            "defrost_without_frost": _NO_NEED,
            "low_flow": _WATER_DIFFERENCE,
            "falling_flow": _WATER_DIFFERENCE,
        },
        "defrost_without_frost": {
            "excessive_defrost": _NO_NEED,
        },
        "flow_temperature_above_curve": {
            "no_weather_compensation": _PRACTICE,
            "buffer_mixing": _PRACTICE,
        },
        "flow_temperature_below_curve": {
            "capacity_short": _LOAD,
            "low_flow": _PRACTICE,
            "excessive_defrost": _PRACTICE,
            "unit_stopped": _PRACTICE,
        },
        "no_weather_compensation": {
            "flow_temperature_above_curve": _PRACTICE,
            "capacity_short": _PRACTICE,
        },
        "low_flow": {
            "falling_flow": _PRACTICE,
            "buffer_mixing": _PRACTICE,
            "pressure_low": _PRACTICE,
        },
        "falling_flow": {
            "low_flow": _PRACTICE,
            "pressure_falling": _PRACTICE,
            "pressure_low": _PRACTICE,
        },
        "buffer_mixing": {
            "low_flow": _PRACTICE,
            "falling_flow": _PRACTICE,
        },
        "backup_heater_use": {
            "capacity_short": _BIVALENT,
            "heat_loss_above_design": _LOAD,
            "unit_stopped": _PRACTICE,
        },
        "immersion_use": {
            "reheat_incomplete": _PRACTICE,
            "slow_reheat": _PRACTICE,
            "hot_water_shortfall": _PRACTICE,
        },
        "high_standby": {
            "pump_always_on": _PRACTICE,
        },
        "pump_always_on": {
            "heating_out_of_season": _PRACTICE,
        },
        "heating_out_of_season": {
            "diverter_passing": _PRACTICE,
            "pump_always_on": _PRACTICE,
        },
        "efficiency_below_expected": _OF_EFFICIENCY,
        "efficiency_fell": _OF_EFFICIENCY,
        "performance_below_promise": {
            **_OF_EFFICIENCY,
            "efficiency_below_expected": _PRACTICE,
            "backup_heater_use": _BOUNDARY,
            "immersion_use": _BOUNDARY,
            "high_standby": _OFF_MODES,
        },
        "electricity_above_expected": {
            "heat_loss_above_design": _LOAD,
            "heating_out_of_season": _PRACTICE,
            "backup_heater_use": _BOUNDARY,
            "immersion_use": _BOUNDARY,
            "high_standby": _OFF_MODES,
        },
        "heat_loss_above_design": {
            "heating_out_of_season": _PRACTICE,
            "diverter_passing": _PRACTICE,
        },
        "heat_loss_below_design": {
            "capacity_short": _LOAD,
        },
        "capacity_short": {
            "heat_loss_above_design": _LOAD,
            "low_flow": _PRACTICE,
            "excessive_defrost": _PRACTICE,
            "efficiency_below_expected": _PRACTICE,
        },
        "room_below_target": {
            "capacity_short": _LOAD,
            "heat_loss_above_design": _LOAD,
            "low_flow": _EMITTERS,
            "excessive_defrost": _PRACTICE,
            "unit_stopped": _PRACTICE,
        },
        "slow_reheat": {
            "low_flow": _PRACTICE,
            "efficiency_below_expected": _PRACTICE,
            "diverter_passing": _PRACTICE,
        },
        "reheat_incomplete": {
            "slow_reheat": _PRACTICE,
            "diverter_passing": _PRACTICE,
        },
        "hot_water_shortfall": {
            "slow_reheat": _PRACTICE,
            "reheat_incomplete": _PRACTICE,
            "high_standing_loss": _PRACTICE,
            "unit_stopped": _PRACTICE,
        },
        "high_standing_loss": {
            "diverter_passing": _PRACTICE,
        },
        "pasteurisation_missed": {
            "reheat_incomplete": _PRACTICE,
            "slow_reheat": _PRACTICE,
            "unit_stopped": _PRACTICE,
        },
        "disinfection_lacking": {
            "pasteurisation_missed": _PRACTICE,
            "reheat_incomplete": _PRACTICE,
        },
        "water_too_hot": {
            "immersion_use": _PRACTICE,
            "diverter_passing": _PRACTICE,
        },
        "diverter_passing": {
            "high_standing_loss": _PRACTICE,
            "heating_out_of_season": _PRACTICE,
        },
        "pressure_falling": {
            "pressure_swings": _PRACTICE,
        },
        "pressure_low": {
            "pressure_falling": _PRACTICE,
            "pressure_swings": _PRACTICE,
        },
        "pressure_high": {
            "pressure_swings": _PRACTICE,
        },
        "pressure_swings": {
            "pressure_falling": _PRACTICE,
        },
        "frost_risk": {
            "unit_stopped": _PRACTICE,
            "low_flow": _PRACTICE,
        },
        "unit_stopped": {
            "fault_reported": _PRACTICE,
            "frost_risk": _PRACTICE,
        },
        "fault_reported": {
            "unit_stopped": _PRACTICE,
            "low_flow": _PRACTICE,
            "pressure_low": _PRACTICE,
        },
    }
)
"""Finding -> other findings that can show the same readings, each with where that is published."""
