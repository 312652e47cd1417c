"""Limits of the findings on efficiency and on performance against the design."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

_METER = (
    "a class 2 heat meter may be 5 to 7 % off (EN 1434-1), a unit 8 % under its declared efficiency (Reg."
    " (EU) 813/2013 Table 8)"
)

LIMITS_EFFICIENCY: dict[str, Limit] = {
    # efficiency
    "efficiency_sound": Limit(
        0.97,
        "-",
        "common practice: 3 % less costs some tens of kWh a year",
        "efficiency over the expected, below which it is a shortfall at all",
        "below",
    ),
    "efficiency_note": Limit(0.94, "-", _METER, "the same, from which it is noted", "below"),
    "efficiency_watch": Limit(
        0.90,
        "-",
        "common practice: a tenth more electricity is noticed on a bill; what meters, rating and part load"
        " leave open is counted by its probability",
        "the same, from which it is worth a look where it is probable",
        "below",
    ),
    "efficiency_act": Limit(
        0.77,
        "-",
        "common practice: a fifth less than rated is outside every tolerance",
        "the same, worth a visit",
        "below",
    ),
    "efficiency_chance_note": Limit(
        0.75,
        "-",
        "common practice: three in four",
        "probability of a shortfall from which it is noted",
    ),
    "efficiency_chance": Limit(
        0.90,
        "-",
        "common practice: nine in ten, by meters, rating and part load together",
        "probability of a shortfall from which it is more than a note",
    ),
    "pump_inside_w_per_kw": Limit(
        5.5,
        "W/kW",
        "common practice: circulators for up to 12 kW draw 5 to 75 W (EEI 0.23 and below), 45 W for 8 kW",
        "power of a circulation pump inside the unit's meter, a kilowatt rated, which no rating contains",
    ),
    "pump_inside_sd_w": Limit(
        20.0,
        "W",
        "common practice: any power from 5 to 75 W is as likely (70 W over the root of 12)",
        "standard uncertainty of that power",
    ),
    "efficiency_least_kwh": Limit(
        8.0,
        "kWh",
        "common practice: some hours of running; less is starts and meter steps",
        "electricity that must be compared",
        "below",
    ),
    "efficiency_full_hours": Limit(
        4.0,
        "h",
        "common practice: some cold mornings or charges of the cylinder",
        "running near full output that must be compared",
        "below",
    ),
    "efficiency_sees_full_min": Limit(
        2.5,
        "min",
        "common practice: steps of a register, minutes apart, pick themselves as full output",
        "spacing of readings above which all running is compared instead of that near full output",
    ),
    "efficiency_sees_load_min": Limit(
        10.0,
        "min",
        "common practice: a run's shape shows in readings a third of its length apart",
        "spacing of readings above which low output and stops look the same",
    ),
    "efficiency_before_days": Limit(
        21.0,
        "days",
        "common practice: three weeks of weather",
        "days before a drop from which they are judged by themselves",
        "below",
    ),
    "efficiency_hot_running": Limit(
        0.6,
        "-",
        "common practice: a charge's temperatures rise all along, so that its mean efficiency is no rating"
        " point's",
        "share of hot water in the running that is compared, above which the rating tells too little",
    ),
    "efficiency_hot_share": Limit(
        0.4,
        "-",
        "common practice: with more of it the unmeasured share of hot water moves a day's efficiency by 5 %"
        " and more",
        "share of hot water in a day's heat above which the day is not compared, where use and flow"
        " temperature are not measured",
    ),
    "efficiency_mixed_days": Limit(
        21.0,
        "days",
        "common practice: visitors and spells of weather last a week or two",
        "days on both sides of a change that are needed where neither use nor flow temperature is measured",
        "below",
    ),
    "efficiency_drop_chance": Limit(
        0.95,
        "-",
        "common practice: two standard deviations on one side",
        "probability of a drop from which it is more than a note",
    ),
    "efficiency_drop_held": Limit(
        0.7,
        "-",
        "common practice: a fault is there every day, and a day in five is blurred by weather and use",
        "share of the days since a drop that show a quarter of it, below which it is no more than a note",
        "below",
    ),
    "efficiency_day_heat_kwh": Limit(
        4.0,
        "kWh",
        "common practice: below it a day's efficiency is starts and meter steps",
        "heat of a day from which it is compared",
        "below",
    ),
    "efficiency_day_kwh": Limit(
        0.2,
        "kWh",
        "common practice: two steps of a register of 0.1 kWh",
        "electricity of a day from which it is compared",
        "below",
    ),
    "efficiency_day_known": Limit(
        0.9,
        "-",
        "common practice: a tenth of a day may be lost without moving its ratio",
        "share of a day's minutes that must be measured",
        "below",
    ),
    "efficiency_won_back": Limit(
        0.6,
        "-",
        "common practice: more than half",
        "part of a drop that must be won back for it to have ended",
    ),
    "efficiency_drop_note": Limit(
        0.035,
        "-",
        "common practice: the same meters compared with themselves repeat to a few per cent",
        "drop of efficiency under comparable conditions",
    ),
    "efficiency_drop_watch": Limit(
        0.08,
        "-",
        "common practice: beyond what dirt, humidity and habits do within a season",
        "the same, look again soon",
    ),
    "efficiency_drop_act": Limit(
        0.20,
        "-",
        "common practice: no wear does it; something broke or was changed",
        "the same, worth a visit",
    ),
    # design promise
    "promise_note_share": Limit(
        0.95,
        "-",
        "common practice: within 5 % a promise is kept",
        "performance at the design's weather over the promise",
        "below",
    ),
    "promise_watch_share": Limit(
        0.90,
        "-",
        "common practice: a tenth more electricity is noticed on a bill",
        "the same, worth a look",
        "below",
    ),
    "promise_act_share": Limit(
        0.75,
        "-",
        "common practice: a third more electricity",
        "the same, from which it must be put right",
        "below",
    ),
    "promise_sure": Limit(
        0.9, "-", "common practice: nine in ten", "probability that it is below the promise"
    ),
    "promise_heating_days": Limit(
        28.0,
        "days",
        "common practice: four weeks of heating hold mild and cold days",
        "heating days that are needed",
        "below",
    ),
    "promise_year_days": Limit(
        300.0,
        "days",
        "common practice: hot water differs by season, so a year is needed",
        "days that are needed for hot water",
        "below",
    ),
    "electricity_watch_ratio": Limit(
        1.30,
        "-",
        "common practice: houses and habits differ from the design by a fifth",
        "electricity over what design and weather explain",
    ),
    "electricity_act_ratio": Limit(
        1.7, "-", "common practice: beyond what habits explain", "the same, from which it must be found"
    ),
    "electricity_sure": Limit(
        0.9,
        "-",
        "common practice: nine in ten",
        "probability that it is above what design and weather explain",
    ),
    "electricity_step": Limit(
        0.4,
        "-",
        "common practice: a rise that explains less of it is not when the excess began",
        "share of the excess that a rise must explain to be told as its beginning",
    ),
    "electricity_days": Limit(
        28.0,
        "days",
        "common practice: four weeks hold mild and cold days",
        "whole days that are needed",
        "below",
    ),
    "electricity_day_share": Limit(
        0.95,
        "-",
        "common practice: a day with an hour missing is not whole",
        "share of a day with readings",
        "below",
    ),
}
