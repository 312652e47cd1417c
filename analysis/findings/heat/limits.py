"""Limits of the findings about the heat."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

_METER = (
    "a class 2 heat meter may be 5 to 7 % off (EN 1434-1), a unit 8 % under its declared efficiency (Reg."
    " (EU) 813/2013 Table 8)"
)
_HEAT_LOSS = (
    "reference 6.2: measured coefficients of lived-in homes scatter by 7 to 20 %, so flag only outside about"
    " 20 %"
)

LIMITS_HEAT: dict[str, Limit] = {
    "backup_day_kwh": Limit(
        0.3,
        "kWh/day",
        "common practice: a heater that helps one defrost or a test uses less",
        "a day on which the back-up heater ran in weather the unit should carry",
    ),
    "backup_share_watch": Limit(
        0.01,
        "-",
        "common practice: designs leave 1 to 2 % of a year's heat to the heater below the bivalent point, and"
        " none above it",
        "share of the space heat by the back-up heater in weather above the bivalent point, on days as cold"
        " as those with it",
    ),
    "backup_days_watch": Limit(
        14.0,
        "days",
        "common practice: a fortnight with a kilowatt-hour or more is no chance, however little of a season"
        " it makes",
        "days with 1 kWh or more of it, whatever their share of the space heat",
    ),
    "backup_share_act": Limit(
        0.05,
        "-",
        "common practice: at a COP of 3, 5 % of the heat is a tenth more electricity",
        "the same, worth a visit",
    ),
    "efficiency_sound": Limit(
        0.97,
        "-",
        "common practice: 3 % less costs some tens of kWh a year",
        "efficiency over the expected, below which it is a shortfall at all",
        "below",
    ),
    "efficiency_note": Limit(0.94, "-", _METER, "the same, from which it is noted", "below"),
    "efficiency_watch": Limit(
        0.85,
        "-",
        "Reg. (EU) 813/2013 Table 8: 8 % under the declared figure is allowed; class 2 heat meters 7 % at 3 K"
        " (EN 1434-1): both together",
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
        "spacing of readings above which low output can't be told from stops",
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
        "drop of efficiency at like conditions",
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
    "heat_loss_above": Limit(1.20, "-", _HEAT_LOSS, "measured heat loss over the designed one"),
    "heat_loss_above_act": Limit(
        1.45,
        "-",
        f"{_HEAT_LOSS}; near half more than designed uses up any usual spare",
        "the same, worth a visit",
    ),
    "heat_loss_below": Limit(
        0.80, "-", _HEAT_LOSS, "measured heat loss over the designed one, downwards", "below"
    ),
    "heat_loss_unmeasured": Limit(
        0.09,
        "-",
        "common practice: rooms kept a kelvin and a half cooler than designed, as 1.5 of 17 to 25 K",
        "the same, on top, where no room is measured",
    ),
    "heat_loss_sure": Limit(
        0.06,
        "-",
        "common practice: the whole 95 % interval beyond a rounding of the design",
        "how far the interval must stay from 1",
    ),
    "capacity_note": Limit(
        1.0,
        "-",
        "EN 12831-1: the heat source gives at least the design load",
        "output over load on the design day",
        "below",
    ),
    "capacity_watch": Limit(
        0.92,
        "-",
        "common practice: an eighth of the load is within the interval of load and rating together",
        "the same, look again soon",
        "below",
    ),
    "capacity_act": Limit(
        0.78,
        "-",
        "common practice: a fifth short is 4 to 5 K of room temperature on the design day",
        "the same, worth a visit",
        "below",
    ),
    "capacity_rated_near_k": Limit(
        5.0,
        "K",
        "EN 14511 rates at 7, 2, -7 and -15 °C: half the way between two of them",
        "distance of the coldest rated point from the design temperature, up to which the rating alone tells",
        "below",
    ),
    "capacity_held_near_k": Limit(
        2.0,
        "K",
        "common practice: 2 K are a tenth of a design load",
        "distance from the design temperature up to which a day shows that it holds",
        "below",
    ),
    "capacity_failed_days": Limit(
        3.0,
        "days",
        "common practice: a recovery from a set-back or from absence takes one or two days",
        "days milder than the design's on which the unit ran flat out and fell short",
    ),
    "capacity_failed_against_margin": Limit(
        2.0,
        "-",
        "common practice: one measure against another needs twice the evidence",
        "times as many such days, where output over load on the design day says that it holds",
    ),
    # against the promise
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
    "room_deficit_note": Limit(
        0.7,
        "K",
        "a room thermostat's band of half a kelvin and a sensor's 0.2 K (common practice)",
        "room under its target, hours after it was asked",
    ),
    "room_deficit_watch": Limit(
        1.2,
        "K",
        "common practice: half a thermostat's band, a sensor's 0.2 K and half a kelvin that nobody feels; ISO"
        " 7730 category B allows 2 K (from memory)",
        "the same, on most heating days",
    ),
    "room_deficit_act": Limit(
        2.0, "K", "ISO 7730 category C (from memory); people notice 2 K", "the same, worth a visit"
    ),
    "room_deficit_urgent": Limit(
        5.0,
        "K",
        "common practice: a room asked to be 20 °C stays below 15 °C, which harms frail people (WHO 2018:"
        " 18 °C)",
        "the same, harm may follow",
    ),
    "room_deficit_explained": Limit(
        1.0,
        "K",
        "common practice: a shortage whose cause shows plainly needs less size to be believed",
        "the same, where one cause explains it plainly",
    ),
    "room_cause_plain": Limit(
        0.8,
        "-",
        "common practice: four to one for one cause",
        "weight of a cause, from which it shows plainly",
    ),
    "room_cold_c": Limit(
        16.0,
        "°C",
        "WHO Housing and health guidelines 2018: 18 °C at least; 2 K for rooms kept cool on purpose (common"
        " practice)",
        "daytime mean of a zone without a set temperature of its own",
        "below",
    ),
    "room_days_share": Limit(
        0.3,
        "-",
        "common practice: odd cold days are windows and set-backs",
        "share of the heating days on which it was so",
    ),
    "room_days": Limit(
        4.0,
        "days",
        "common practice: half a week, so that an open window or a day away does not count",
        "days on which it was so",
    ),
}
