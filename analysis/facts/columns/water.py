"""Columns of the days table: the heating circuit, its pressure, and the cylinder."""

from __future__ import annotations

from fieldfare.analysis.facts.columns.column import HEAT, USE, DayColumn, made_by

_FLOW, _RETURN = "flow_temperature", "return_temperature"
_BEYOND, _BEYOND_BACK = "distribution_flow_temperature", "distribution_return_temperature"
_OUTDOOR, _RATE, _ASKED = "outdoor_temperature", "flow_rate", "target_flow_temperature"

CIRCUIT = made_by(
    "circuit",
    ("flow", "°C", "Mean flow temperature in steady heating.", _FLOW),
    ("flow_by_heat", "°C", "The same, weighted by heat.", _FLOW, HEAT),
    ("return", "°C", "Mean return temperature in steady heating.", _RETURN),
    ("lift", "K", "Mean of flow less return in steady heating.", _FLOW, _RETURN),
    ("outdoor_steady", "°C", "Mean outdoor temperature in steady heating.", _OUTDOOR, USE),
    ("curve", "°C", "Mean flow temperature of the designed curve in steady heating.", _OUTDOOR, USE),
    ("above_curve", "K", "Flow temperature over the designed curve.", _FLOW, _OUTDOOR),
    ("target_flow", "°C", "Mean flow temperature asked for while heating.", _ASKED),
    ("target_above_curve", "K", "The same over the designed curve.", _ASKED, _OUTDOOR),
    ("flow_rate", "m3/h", "Mean water flow in steady heating.", _RATE),
    ("flow_rate_hot_water", "m3/h", "Mean water flow in charges of the cylinder.", _RATE),
    ("beyond_flow", "°C", "Mean flow temperature beyond the buffer in steady heating.", _BEYOND),
    ("buffer_drop", "K", "Flow less flow beyond the buffer.", _FLOW, _BEYOND),
    ("beyond_lift", "K", "Flow less return beyond the buffer.", _BEYOND, _BEYOND_BACK),
    ("heat_power", "W", "Mean heat in steady heating.", HEAT, USE),
    ("heat_power_max", "W", "Best whole hour of known heat without a rest.", HEAT),
    ("speed", "%", "Mean compressor speed in steady heating.", "compressor_speed"),
    ("pressure", "bar", "Median pressure.", "system_pressure"),
    ("pressure_min", "bar", "Lowest pressure.", "system_pressure"),
    ("water_min", "°C", "Coldest water below 2 °C outdoors.", f"{_FLOW}|{_RETURN}", _OUTDOOR),
    ("flow_in_hot_water", "°C", "Mean flow temperature beyond the buffer in charges.", _BEYOND),
) + made_by(
    "circuit",
    ("minutes_steady", "min", "Heating, five minutes after its begin.", USE),
    (
        "minutes_beyond",
        "min",
        "Steady heating with flow and the flow beyond the buffer known.",
        _FLOW,
        _BEYOND,
    ),
    ("minutes_full_speed", "min", "The compressor runs above 97 % of its speed.", "compressor_speed"),
    ("minutes_near_freezing", "min", "Standing water below 3 °C in frost.", f"{_FLOW}|{_RETURN}", _OUTDOOR),
    absent=0.0,
)

CHECKS = made_by(
    "circuit",
    ("check_meter", "kWh", "Heat by the meter in minutes in which flow and temperatures give it too."),
    ("check_flow", "kWh", "Heat by flow and temperatures in the same minutes."),
    ("check_volume", "m3", "Water in them."),
    ("core_meter", "kWh", "Heat by the meter well after a start and before a stop."),
    ("core_flow", "kWh", "The same by flow and temperatures."),
    ("core_volume", "m3", "Water in those minutes."),
    ("pair_offset", "K", "Flow less return while water passes the resting unit."),
    ("minutes_passing", "min", "Minutes in which it does."),
    optional=True,
)

PRESSURE = made_by(
    "circuit_pressure",
    ("pressure_max", "bar", "Pressure exceeded for half an hour."),
    ("pressure_swing", "bar", "Range between the lowest and highest fiftieth of the minutes."),
    ("pressure_per_k", "bar/K", "Slope on the water's temperature.", f"{_FLOW}", _RETURN),
    ("pressure_follows", "-", "Correlation with it.", _FLOW, _RETURN),
    ("pressure_topped", "bar", "Sudden rises that stay, as when a circuit is topped up."),
    needs=("system_pressure",),
)

CYLINDER = made_by(
    "cylinder",
    ("tank_mean", "°C", "Mean temperature of the cylinder."),
    ("tank_min", "°C", "Lowest temperature."),
    ("tank_max", "°C", "Highest temperature."),
    ("minutes_tank_known", "min", "Minutes with it known."),
    ("minutes_tank_cold", "min", "Minutes below 40 °C."),
    ("minutes_cold_charging", "min", "Minutes below 40 °C while the unit charges it."),
    ("cold_longest_min", "min", "Longest stretch below 40 °C that ends in the day."),
    ("minutes_hot_enough", "min", "Minutes at the disinfection temperature or above."),
    ("standing_k_per_h", "K/h", "Slowest cooling without a charge."),
    ("standing_over_k", "K", "Excess over the room in those hours."),
    ("cooling_night", "K/h", "Slow cooling over three quarters of an hour at night."),
    ("cooling_day", "K/h", "Slow cooling over three quarters of an hour by day."),
    ("cooling_day_usual", "K/h", "Cooling in half of the quarter hours by day."),
    optional=True,
)

HYGIENE = made_by(
    "cylinder_heat",
    ("tank_held", "°C", "Highest temperature held for ten minutes."),
    ("minutes_tank_hot", "min", "Minutes above 65 °C."),
    ("minutes_tank_growth", "min", "Minutes from 20 to below 50 °C."),
    ("disinfection_min", "min", "Most equivalent minutes at 60 °C within four hours."),
    ("disinfection_most_min", "min", "The same if the sensor reads a kelvin low."),
    ("tank_jumps", "", "Rises faster than any heater makes."),
    ("tank_rise_alone", "K", "Warming with every known heater off."),
    ("tank_peak_at", "min", "Local minute of its hottest."),
    ("flow_greatest", "°C", "Hottest flow."),
    optional=True,
)

COLUMNS: tuple[DayColumn, ...] = (*CIRCUIT, *CHECKS, *PRESSURE, *CYLINDER, *HYGIENE)
