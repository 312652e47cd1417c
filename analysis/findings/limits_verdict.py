"""Limits of the verdict that no single finding has."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

LIMITS_VERDICT: dict[str, Limit] = {
    "finding_chance": Limit(
        0.9,
        "-",
        "common practice: of ten findings that send somebody to look nine should be right",
        "probability that a departure is real, below which a finding about running, rooms or efficiency is no"
        " more than a note",
        "below",
    ),
    "finding_likely": Limit(
        0.5,
        "-",
        "more likely than not",
        "probability that an excess of electricity is real, below which it is no more than a note, whatever"
        " it costs",
        "below",
    ),
    "hot_water_likely": Limit(
        0.65,
        "-",
        "common practice: two of three findings that somebody looks into should be right",
        "probability that hot water is short, charged badly or lost, everything that may explain it otherwise"
        " counted, below which it is no more than a note",
        "below",
    ),
    "surest": Limit(
        0.97,
        "-",
        "common practice: one plant in thirty has something that no model here knows of",
        "highest confidence of a finding",
    ),
    "verdict_read_share": Limit(
        0.5,
        "-",
        "common practice: what was read for less than half of the time does not speak for the rest",
        "share of the time with readings of heat and electricity, below which no home is in order",
        "below",
    ),
    "zone_cool_share": Limit(
        0.5,
        "-",
        "common practice: half a kelvin under target is within a thermostat's band, but not for half of the"
        " time",
        "share of the time that a zone is half a kelvin or more under its target: to be watched",
    ),
    "zone_cold_share": Limit(
        0.0833,
        "-",
        "common practice: two hours a day; warming up after a set-back takes less",
        "share of the time that a zone is 1.5 K or more under its target: to be watched",
    ),
    "zone_hot_k": Limit(
        3.0,
        "K",
        "common practice: sun and guests warm a room by 1 to 2 K over days; ISO 7730 category C allows 2 K"
        " (from memory)",
        "mean of a zone's last days above its target in cold weather: to be watched",
    ),
    "zone_hot_season_c": Limit(
        12.0,
        "°C",
        "common practice: below, no house without heating is warmer than it is set",
        "mildest daily mean of these days",
        "below",
    ),
    "habit_days": Limit(
        40.0,
        "days",
        "common practice: a change needs weeks of weather on both sides",
        "days that are compared",
    ),
    "habit_air_c": Limit(
        12.0,
        "°C",
        "common practice: in milder air sun and habits run a plant more than the weather does",
        "mildest daily mean of the days that are compared",
    ),
    "habit_score": Limit(
        25.0,
        "-",
        "chi-square of one step on any day: 12.2 at the 1 % level (Andrews 1993), doubled for four habits at"
        " once",
        "how surely a habit changed",
    ),
    "habit_scatter": Limit(
        3.0,
        "-",
        "common practice: three standard deviations of a day",
        "change of a habit over its scatter from day to day",
    ),
    "habit_hours": Limit(
        4.0, "h/day", "common practice: a set-back moves a home by two or three hours", "change that matters"
    ),
    "habit_kw": Limit(1.0, "kW", "common practice: a fifth of a small unit's output", "change that matters"),
    "habit_room_k": Limit(
        0.8, "K", "common practice: twice what a thermostat's band makes", "change that matters"
    ),
}
