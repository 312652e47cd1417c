"""Columns of the days table: what the plant did, in which weather, and how warm the rooms were."""

from __future__ import annotations

from fieldfare.analysis.facts.columns.column import COOLS, HEAT, UNIT, USE, DayColumn, made_by

_OUTDOOR, _ROOM, _TARGET = "outdoor_temperature", "room_temperature", "target_room_temperature"

USES = made_by(
    "days",
    ("minutes_running", "min", "The compressor runs."),
    ("minutes_defrost", "min", "It defrosts."),
    ("minutes_off", "min", "It rests."),
    ("minutes_unknown", "min", "It is not known what it does."),
    ("starts", "", "Starts of the compressor, from its operation."),
    ("compressor_starts_counted", "", "Starts by the unit's own counter.", "compressor_starts"),
    ("compressor_hours_counted", "h", "Running hours by the unit's own counter.", "compressor_hours"),
) + made_by(
    "days",
    ("minutes_heating", "min", "It heats the rooms.", USE),
    ("minutes_hot_water", "min", "It heats the cylinder.", USE),
    ("minutes_cooling", "min", "It cools.", COOLS),
    absent=0.0,
)

WEATHER = made_by(
    "days",
    ("outdoor", "°C", "Mean outdoor temperature of a day with two thirds known."),
    ("outdoor_min", "°C", "Lowest outdoor temperature."),
    ("outdoor_max", "°C", "Highest outdoor temperature."),
    ("outdoor_rise", "K", "Afternoon over the nights beside it, outdoors."),
    ("outdoor_heating", "°C", "Mean outdoor temperature while the unit heats or defrosts.", USE),
    needs=(_OUTDOOR,),
) + made_by(
    "days",
    ("solar", "W/m2", "Mean irradiance of a day with two thirds known.", "solar_irradiance"),
    ("minutes_frosting", "min", "Heating in air that can frost a coil."),
)
FROST = made_by(
    "days",
    ("frost_least", "kg", "Frost that settles on the coil: the low guess."),
    ("frost_usual", "kg", "The usual guess."),
    ("frost_most", "kg", "The high guess."),
    needs=(_OUTDOOR,),
    optional=True,
)

ROOMS = (
    made_by(
        "days",
        ("room", "°C", "Mean of the rooms of a day with two thirds known."),
        ("room_min", "°C", "Lowest mean of the rooms."),
        ("room_begin", "°C", "Mean of the rooms in the day's first hour."),
        ("room_end", "°C", "Mean of the rooms in the day's last hour."),
        needs=(_ROOM,),
    )
    + made_by(
        "days",
        ("target", "°C", "Mean set temperature of the rooms."),
        ("target_max", "°C", "Highest set temperature."),
        needs=(_TARGET,),
    )
    + made_by(
        "days",
        ("room.", "°C", "Mean temperature of a zone."),
        optional=True,
    )
    + made_by(
        "days",
        ("called.", "", "Share of the day for which a zone calls for heat."),
        needs=("heat_call",),
        optional=True,
    )
    + made_by(
        "days",
        ("target.", "°C", "Its mean set temperature in the minutes asked."),
        ("minutes_asked.", "min", "Minutes in which the zone's target has stood for four hours."),
        ("minutes_below.", "min", "Those in which it is over half a kelvin too cold."),
        ("minutes_far_below.", "min", "Those in which it is over one and a half kelvin too cold."),
        needs=(_TARGET,),
        optional=True,
    )
    + made_by(
        "room_deficit",
        ("room_day.", "°C", "Mean temperature of a zone from 8 to 22 h."),
        ("deficit.", "K", "Its own target less its temperature, where the target has stood for four hours."),
        ("wanted.", "°C", "The day's highest target of the zone."),
        optional=True,
    )
)

IDLE = (
    made_by(
        "days",
        ("minutes_rest", "min", "Rest, a quarter of an hour after a stop."),
        ("idle_power", "W", "Mean power of the unit in it.", UNIT),
    )
    + made_by(
        "days",
        ("minutes_pump_known", "min", "Rest without a call in which the pump or the flow is known."),
        ("minutes_pump_idle", "min", "Those in which the water circulates."),
        ("pump_idle_power", "W", "Mean power of the pump in rests without a call."),
        optional=True,
    )
    + made_by(
        "operating",
        ("minutes_calm", "min", "Rest clear of stops and starts by the readings' spacing."),
        ("rest_power", "W", "Median power of the unit in it; the mean of a register that counts in steps."),
        ("lowest_hour", "W", "Least power of the unit over a whole hour."),
        ("minutes_unasked", "min", "Rest in which nothing asks for heat, not near frost."),
        ("minutes_unasked_pumped", "min", "Those in which a pump runs."),
        ("unasked_pump_power", "W", "The pump's power in them."),
        ("flow_rate_top", "m3/h", "90 % quantile of the flow while heating or charging."),
        ("flow_jitter", "-", "Change of the flow from one reading to the next, over its mean."),
        optional=True,
    )
    + made_by(
        "operating",
        ("minutes_still", "min", "Such rest in which no water flows."),
        ("still_power", "W", "Median power of the unit in it."),
        needs=(UNIT, "flow_rate"),
        optional=True,
    )
    + made_by(
        "operating",
        ("minutes_heating_warm", "min", "Heating at 15 °C or more outdoors."),
        ("heat_heating_warm_kwh", "kWh", "Its heat."),
        needs=(USE,),
        absent=0.0,
    )
)

LOAD = made_by(
    "load_factor",
    (
        "load_share",
        "-",
        "Heat over rated output at the same temperatures, mean of steady heating.",
        HEAT,
        USE,
    ),
    ("load_share_top", "-", "The best whole hour's, heating or hot water.", HEAT),
    ("loop_c", "°C", "Mean temperature of the water.", "flow_temperature", "return_temperature"),
    ("minutes_dead", "min", "Minutes with known electricity in which the unit draws nothing.", UNIT),
    ("minutes_dead_frost", "min", "Longest stretch of them with standing water in frost.", UNIT),
) + made_by(
    "load_factor",
    ("minutes_settled", "min", "Steady heating, a quarter of an hour after a start or defrost.", USE),
    ("minutes_lacking", "min", "Steady heating with the flow 2 K or more below what is asked.", USE),
    absent=0.0,
)

COLUMNS: tuple[DayColumn, ...] = (*USES, *WEATHER, *FROST, *ROOMS, *IDLE, *LOAD)
