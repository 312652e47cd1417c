"""Limits of the findings on short cycling."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

LIMITS_CYCLING: dict[str, Limit] = {
    "cold_load_share": Limit(
        0.4,
        "-",
        "common practice: inverter units turn down to a third of the design load, 40 % at most, and run"
        " through above it",
        "share of the design load from which a unit should run through",
    ),
    "mild_load_share": Limit(
        0.2,
        "-",
        "common practice: at a fifth of the design load every unit cycles",
        "share of the design load at and below which the limits for mild weather hold; between, they slide",
    ),
    "short_run_minutes": Limit(
        12.0,
        "min",
        "common practice: makers ask for 6 to 10 minutes at least; in the field 90 % of air-source units have"
        " a median run above 25 minutes (reference 9.3)",
        "median heating run of a day with 40 % of the design load or more, below which it short-cycles",
        "below",
    ),
    "mild_run_minutes": Limit(
        6.0,
        "min",
        "common practice: the lower end of what makers ask for",
        "the same in mild weather",
        "below",
    ),
    "starts_per_hour": Limit(
        2.0,
        "1/h",
        "common practice: 2 to 3 starts an hour at most (reference 9.4), the fewer the more load there is",
        "starts an hour while it heats with 40 % of the design load or more, above which it short-cycles",
    ),
    "mild_starts_per_hour": Limit(
        3.25,
        "1/h",
        "common practice: 2 to 3 starts an hour in mild weather are right (reference 9.4); the cycling law N"
        " = 4 Nmax x (1 - x) with Nmax 3 gives runs of 10 minutes at half of the least output",
        "the same in mild weather",
    ),
    "cold_starts_a_day": Limit(
        19.0,
        "1/day",
        "95 % of 127 air-source units stay below it as a winter's mean (reference 9.3)",
        "heating starts of a day with 40 % of the design load or more, above which it cycles where it should"
        " run through",
    ),
    "cold_run_minutes": Limit(
        25.0,
        "min",
        "90 % of air-source units have a median run above it (reference 9.3)",
        "median run on such a day, below which it counts",
        "below",
    ),
    "cycling_runs_a_day": Limit(
        8.0,
        "runs",
        "common practice: fewer short runs a day neither wear nor cost anything to speak of",
        "heating runs from which a day can count as short-cycling",
    ),
    "counted_starts_a_day": Limit(
        24.0,
        "1/day",
        "none of 127 air-source units averages more over a winter (reference 9.3); p95 is 19",
        "starts a day by a counter or by coarse data, above which it cycles too often",
    ),
    "fixed_speed_share": Limit(
        0.95,
        "-",
        "common practice: an inverter is at full speed on the coldest days and in hot water alone; the rest"
        " is the first and last reading of a run",
        "running time at full speed over all of it, from which a unit only switches on and off",
    ),
    "fixed_speed_starts_a_day": Limit(
        48.0,
        "1/day",
        "common practice: 2 starts an hour are what makers of compressors allow for good (reference 9.4)",
        "starts a day, above which a unit that only switches on and off cycles too often: it can't run"
        " through",
    ),
    "starts_a_year": Limit(
        6700.0,
        "1/year",
        "common practice, no source: a compressor is good for 100 000 starts and a unit for 15 years",
        "heating starts a year at the rate of the episode, from which they wear the unit",
    ),
    "cycling_kwh": Limit(
        50.0,
        "kWh/year",
        "common practice: about what a look is worth",
        "electricity of starts beyond one an hour, from which they are worth a look where they wear little",
    ),
    "cycling_act_kwh": Limit(
        300.0, "kWh/year", "common practice: about what a visit is worth", "the same, worth a visit"
    ),
    "hidden_rest_share": Limit(
        1.25,
        "-",
        "common practice: makers state the least output at one rating point, and it differs by a fifth with"
        " air and water; a heat meter adds 5 % (EN 1434-1 class 2)",
        "running time seen over what the day's heat takes at the least output, above which rests are hidden",
    ),
    "cycling_days": Limit(
        7.0,
        "days",
        "common practice: a week of it is no accident of weather or of a tradesman's visit",
        "days with short cycling, from which it is more than a note",
    ),
    "water_litres_per_kw": Limit(
        15.0,
        "l/kW",
        "common practice: makers ask for 5 to 10 l of free water a kilowatt of lowest output; metal adds half"
        " as much again",
        "water that a start can warm, below which a run has to end at once",
        "below",
    ),
    "oversized_share": Limit(
        0.7,
        "-",
        "common practice: inverter units turn down to a third; above two thirds of the design load they cycle"
        " all winter",
        "lowest output over the design heat loss, above which the unit is too big",
    ),
    "heated_day_minutes": Limit(
        60.0,
        "min",
        "common practice: less is a warm-up or a test",
        "heating of a day from which it can be judged",
    ),
}
