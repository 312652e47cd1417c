"""Limits of the findings about a unit that does not run, and about faults it reports."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

LIMITS_STOPPED: dict[str, Limit] = {
    # one of several
    "cascade_busy_share": Limit(
        0.85,
        "-",
        "common practice: a unit that hardly rests has no reserve",
        "share of the time that the other heat pump of a cascade runs, from which on one at rest is missed",
    ),
    "cascade_full_share": Limit(
        0.75,
        "-",
        "common practice: meters and rating points leave a quarter open",
        "output of the other heat pump of a cascade over its part of the rating: it can do no more",
    ),
    "cascade_rest_days": Limit(
        3.0,
        "days",
        "common practice: controls change the leading unit within days",
        "days without a run of one heat pump of a cascade, beside one that hardly rests",
    ),
    # whether heat is due
    "stopped_room_short_k": Limit(
        1.0,
        "K",
        "common practice: twice a room thermostat's usual switching band of half a kelvin",
        "room below its target by so much while the unit gives no heat",
    ),
    "stopped_room_short_mild_k": Limit(
        2.0,
        "K",
        "common practice: above 10 °C outdoors sun and people carry most houses",
        "the same above 10 °C outdoors",
    ),
    "stopped_room_fall_k": Limit(
        3.0,
        "K",
        "common practice: a night's set-back costs a usual house 1 to 3 K",
        "fall of the room during a rest, where no target is measured",
    ),
    "stopped_barren_fall_k": Limit(
        1.5,
        "K",
        "common practice: more than a thermostat's band and an open window; a heated room does not cool so"
        " far",
        "fall of the room while the unit runs and its heat meter shows nothing, from which it is not the"
        " meter",
    ),
    "stopped_collapse_k": Limit(
        4.0,
        "K",
        "common practice: more than any set-back or open window costs the mean of a day",
        "fall of the warmest room's daily mean while the unit runs as before",
    ),
    "stopped_room_cool_c": Limit(
        17.0,
        "°C",
        "common practice: below what any household sets for living rooms; WHO housing guidelines ask for "
        "18 °C",
        "room temperature after a rest, where no target is measured",
        "below",
    ),
    "stopped_room_floor_c": Limit(
        10.0,
        "°C",
        "common practice: pipes in cold corners freeze and mould grows below; frost settings keep 5 to 12 °C",
        "room temperature that no lowered target excuses",
        "below",
    ),
    "stopped_mild_c": Limit(
        10.0,
        "°C",
        "common practice: well insulated houses need no heat above",
        "outdoor temperature from which a cool room alone needs more to be a fault",
    ),
    "stopped_season_c": Limit(
        15.5,
        "°C",
        "EN 14825's heating limit is 16 °C, the British degree-day base 15.5 °C",
        "mean outdoor temperature from which heat for rooms is not due",
        "below",
    ),
    "stopped_weather_c": Limit(
        7.0,
        "°C",
        "common practice: passive houses heat below 5 to 8 °C, all others sooner",
        "mean outdoor temperature below which heat is due where the house's own habit is not known",
        "below",
    ),
    "stopped_weather_most_c": Limit(
        12.0,
        "°C",
        "common practice: above, a day without heat is felt by nobody; rooms and calls tell better",
        "warmest mean outdoors at which weather and habit alone make heat due",
        "below",
    ),
    "stopped_like_rests": Limit(
        3.0,
        "rests",
        "common practice: three times is no accident",
        "rests about as long in weather as cold, which make a rest usual for this unit",
    ),
    "stopped_like_length": Limit(
        0.8,
        "-",
        "common practice: four fifths is about as long",
        "length of such rests over the one judged",
        "below",
    ),
    "stopped_like_k": Limit(
        1.0,
        "K",
        "common practice: outdoor sensors differ by so much",
        "how much milder it may have been in them",
    ),
    "stopped_habit_days": Limit(
        5.0,
        "days",
        "common practice: a working week shows the habit",
        "days before the rest that show in which weather the house heats",
        "below",
    ),
    "stopped_habit_share": Limit(
        0.7,
        "-",
        "common practice: two days of three and more are a habit",
        "share of the days in comparable weather on which the unit heated",
    ),
    "stopped_cylinder_short_k": Limit(
        3.0,
        "K",
        "common practice: sensor pockets and switching differences explain 1 to 2 K",
        "cylinder below the temperature at which its reheat starts",
    ),
    "stopped_cylinder_hours": Limit(
        4.0,
        "h",
        "common practice: longer than the rests before any reheat, or a tariff's lock",
        "rest before a cold cylinder counts",
    ),
    "stopped_cylinder_cold_min": Limit(
        60.0,
        "min",
        "common practice: a unit ends a run, a defrost or its restart pause before it begins a reheat",
        "time that a cylinder stays colder than its reheat starts at, before it counts",
    ),
    "stopped_heater_kwh": Limit(
        2.0,
        "kWh",
        "common practice: more than an hour's help at a defrost or a start",
        "direct electric heat while the compressor rests",
    ),
    "stopped_immersion_kwh": Limit(
        1.5,
        "kWh/day",
        "common practice: a weekly disinfection takes 2 to 4 kWh a week, a household's water 3 to 8 kWh a "
        "day",
        "immersion heat while the compressor rests",
    ),
    "stopped_hot_share": Limit(
        0.5,
        "-",
        "common practice: on most days",
        "share of a rest's days with stored water hotter than the unit makes it, from which none was due"
        " from it",
    ),
    "stopped_direct_share": Limit(
        0.8,
        "-",
        "common practice: nearly all of the day, so that defrosts and starts are no explanation",
        "share of the unit's running in which a kilowatt hour of heat came from a kilowatt hour drawn",
    ),
    "stopped_direct_minutes": Limit(
        180.0,
        "min",
        "common practice: longer than a disinfection that an electric heater finishes",
        "running minutes of such a day",
    ),
    # how long
    "stopped_weather_hours": Limit(
        12.0,
        "h",
        "common practice: longer than any night's set-back",
        "rest in cold weather where only the weather tells",
    ),
    "stopped_room_hours": Limit(
        6.0,
        "h",
        "common practice: longer than a tariff's lock or a set-back's cooling",
        "rest before cool rooms count",
    ),
    "stopped_unknown_pause_hours": Limit(
        3.5,
        "h",
        "common practice: a tariff's lock takes 2 hours, 3 at most",
        "rest while heat is asked for, before the unit's habits are known",
    ),
    "stopped_pause_minutes": Limit(
        30.0,
        "min",
        "common practice: restart locks and changes of use take 5 to 20 minutes",
        "rest while heat is asked for, at the least",
    ),
    "stopped_answered_minutes": Limit(
        20.0,
        "min",
        "common practice: restart locks take 5 to 20 minutes",
        "longest pause with a flow temperature asked for and not reached, up to which asking means needing",
        "below",
    ),
    "stopped_pause_ratio": Limit(
        1.4,
        "-",
        "common practice: pauses vary by a third from one to the next in comparable weather",
        "rest over the longest pause of this unit in comparable weather",
    ),
    "stopped_possible": Limit(
        0.3,
        "-",
        "common practice: one chance in three is worth a line, not a call",
        "chance that a rest is a stop, from its length and the rooms alone",
    ),
    "stopped_likely": Limit(
        0.5,
        "-",
        "more likely than not",
        "the same, from which it is more than a note",
    ),
    "stopped_sure": Limit(
        0.85,
        "-",
        "common practice: somebody is rung for nothing once in seven times",
        "the same, from which it is to be acted on",
    ),
    "stopped_chance": Limit(
        0.004,
        "-",
        "common practice: four rests for a day of running, and a stop in some two months of it",
        "chance of a stop, before a rest's length and the room are looked at; more where a unit rests seldom",
        "below",
    ),
    "stopped_powerless_minutes": Limit(
        20.0,
        "min",
        "common practice: a breaker that is put back at once takes less",
        "without any draw where controls usually draw some watts",
    ),
    "stopped_standby_w": Limit(
        3.0,
        "W",
        "common practice: controls draw 5 to 20 W; meters that show nothing below some watts differ from it",
        "usual draw at rest from which no draw at all means no supply",
    ),
    "stopped_nothing_share": Limit(
        0.5,
        "-",
        "common practice: half of the rest, on half of the days of work",
        "share of a day's rest without any draw from which that is usual of unit or meter",
    ),
    "stopped_past_hours": Limit(
        12.0,
        "h",
        "common practice: longer than a service or a power cut",
        "a stop that has ended, worth a look",
    ),
    "stopped_past_days": Limit(
        7.0,
        "days",
        "common practice: a stop of last week may come again",
        "days since a stop ended, up to which it is more than a note",
        "below",
    ),
    "stopped_again_times": Limit(
        4.0,
        "",
        "common practice: a service, a power cut and a fuse are three",
        "stops of half a day with cold rooms, none further from the next than a week, from which they go on",
    ),
    "stopped_long_hours": Limit(
        48.0,
        "h",
        "common practice: longer than a power cut; a household sits two days in the cold only when it must",
        "a stop that has ended, from which its cause is still asked for later",
    ),
    "stopped_long_days": Limit(
        120.0,
        "days",
        "common practice: what stopped a unit in winter and was not mended stops it again in the same season",
        "days since such a long stop ended, up to which it is more than a note",
        "below",
    ),
    # how grave
    "stopped_frost_c": Limit(
        0.5,
        "°C",
        "water freezes at 0 °C; sensors read half a kelvin off",
        "lowest outdoor temperature of the rest",
        "below",
    ),
    "stopped_harm_room_c": Limit(
        16.0,
        "°C",
        "common practice, WHO housing guidelines: below 16 °C the health of the old and the ill is at risk",
        "room temperature during a rest",
        "below",
    ),
    "stopped_cylinder_floor_c": Limit(
        40.0,
        "°C",
        "EN 16147: water is usable from 40 °C; below, the cylinder stays where Legionella grows",
        "cylinder temperature during a rest",
        "below",
    ),
    # faults that the unit reports
    "fault_repeats_a_week": Limit(
        3.0,
        "1/week",
        "common practice: one lock-out may be chance, three in a week need a visit",
        "faults that came within a week",
    ),
    "fault_lockouts_watch": Limit(
        2.0,
        "1/week",
        "common practice: a lock-out that came back after a reset has a cause",
        "lock-outs in the last days on which the unit stood still",
    ),
    "fault_stop_minutes": Limit(
        60.0,
        "min",
        "common practice: units retry by themselves within the hour",
        "the unit stood still while it reported the fault",
    ),
    "fault_recent_days": Limit(
        7.0,
        "days",
        "common practice: what has not come back for a week has passed",
        "days since the fault was last reported",
        "below",
    ),
    "fault_defrost_minutes": Limit(
        30.0,
        "min",
        "common practice: a defrost takes 3 to 12 minutes, with its preparation and rest half an hour",
        "length of a message that comes with the defrosts and is no fault",
        "below",
    ),
    "fault_standing_hours": Limit(
        24.0,
        "h",
        "common practice: a message that stays for a day will not go by itself",
        "the fault is reported without a break",
    ),
    # runs that the unit ends by itself
    "trips_a_day": Limit(
        12.0,
        "1/day",
        "common practice: a unit that works through starts a few times a day",
        "runs that end within minutes with heat still asked for",
    ),
    "trip_run_minutes": Limit(
        10.0,
        "min",
        "common practice: makers' least run times are 6 to 10 minutes; a trip comes before the unit has "
        "settled",
        "length of such a run",
        "below",
    ),
    "trip_share": Limit(
        0.6,
        "-",
        "common practice: most runs, so that chance and reheats are no explanation",
        "share of the day's heating runs that end so",
    ),
}
