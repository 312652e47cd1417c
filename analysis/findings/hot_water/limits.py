"""Limits of the findings on hot water."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

_COIL = "common practice: heat-pump coils pass the unit's full output at 5 to 10 K over the cylinder"

LIMITS_HOT_WATER: dict[str, Limit] = {
    # reheat
    "reheat_slow_watch": Limit(
        2.2,
        "-",
        "common practice: units charge a cylinder at 60 to 100 % of their output; below half of it something"
        " holds the heat back",
        "length of a reheat over what the rated output would take",
    ),
    "reheat_slow_act": Limit(
        3.5,
        "-",
        "common practice: reheats of over three times the length fill the day",
        "the same, worth a visit",
    ),
    "coil_approach_watch": Limit(
        17.0,
        "K",
        f"{_COIL}; two thirds more than the larger of these is scale, air or too small a coil",
        "mean coil water over the cylinder, at rated output",
    ),
    "coil_approach_act": Limit(
        30.0,
        "K",
        f"{_COIL}; three times that runs into the unit's top flow temperature",
        "the same, worth a visit",
    ),
    "coil_rise_k": Limit(
        5.0,
        "K",
        f"{_COIL}; as much again doubles it, and costs a tenth of the hot water's electricity at 2 to 2.5 %"
        " a kelvin (reference 8)",
        "rise of the coil's mean water over the cylinder at equal heat, against its own earlier weeks",
    ),
    "coil_rise_kwh": Limit(
        25.0,
        "kWh/year",
        "common practice: less isn't worth a call",
        "electricity of hot water that a worse coil costs, from which it is more than a note",
    ),
    "reheat_excess_minutes": Limit(
        20.0,
        "min",
        "common practice: a household notices a third of an hour; less is within a draw or a defrost",
        "length of a reheat beyond the expected one",
    ),
    "coil_least_difference_k": Limit(
        5.0,
        "K",
        f"{_COIL}; below the smaller of these little heat passes a sound coil too",
        "flow over the cylinder from which a coil is judged by its heat",
    ),
    "reheat_flow_share": Limit(
        0.6,
        "-",
        "common practice: coil and valve take a fifth of the flow; below three fifths the unit nears its flow"
        " switch",
        "flow while charging over nominal flow",
    ),
    "reheat_lift_watch": Limit(
        8.5,
        "K",
        "EN 14511 tests at 5 K (8 K at medium temperature); beyond it the flow is short",
        "flow less return while charging",
    ),
    "reheat_short_k": Limit(
        2.0,
        "K",
        "common practice: a sensor in its pocket reads a kelvin low, a controller stops half a kelvin early",
        "end of a reheat below its setpoint",
    ),
    "reheat_short_share": Limit(
        0.5,
        "-",
        "common practice: every other reheat; single ones are cut short by draws",
        "share of reheats that end short",
    ),
    "reheat_stall_k_per_h": Limit(
        4.0,
        "K/h",
        "common practice: the slowest healthy reheat gains 10 K in two hours",
        "gain of the cylinder in a reheat's last twenty minutes, below which it has stalled",
        "below",
    ),
    # diverter
    "charge_leak_watch": Limit(
        0.18,
        "-",
        "pipes, meter class and layers explain 8 % (one standard uncertainty): more than twice that is a"
        " leak",
        "share of a charge's heat that the cylinder did not take up",
    ),
    "charge_leak_act": Limit(
        0.3, "-", "common practice: a third of every charge paid for twice", "the same, worth a visit"
    ),
    "diverter_leak_k_per_h": Limit(
        1.2,
        "K/h",
        "common practice: a cylinder stands at 0.2 to 0.4 K/h; a closed diverter passes well under a"
        " hundredth of the flow",
        "cooling of the full cylinder that follows the heating water",
    ),
    "diverter_leak_act": Limit(
        4.0, "K/h", "common practice: a kilowatt or more out of a usual cylinder", "the same, worth a visit"
    ),
    "hot_water_most_kwh": Limit(
        24.53,
        "kWh/day",
        "load profile XXL of Regulation (EU) 812/2013, Annex VII, the greatest of a single dwelling (from"
        " memory)",
        "heat that a home draws as hot water at most",
    ),
    "hot_water_home_m2": Limit(
        300.0,
        "m2",
        "common practice: a larger heated area is more than one household",
        "floor area that one greatest load profile stands for",
    ),
    "hot_water_over_design": Limit(
        3.0,
        "-",
        "common practice: a full house in winter draws two to three times the year's mean",
        "heat for hot water over the design's mean day, up to which it may be drawn",
    ),
    "hot_water_loop_kwh": Limit(
        12.0,
        "kWh/day",
        "common practice: 50 m of circulation pipe at 10 W/m, all day",
        "heat that a circulation loop loses at most",
    ),
    "hot_water_most_days": Limit(
        7.0,
        "days",
        "common practice: a week of it is no visit and no filling of a bath",
        "days with more heat for hot water than a home takes",
    ),
    "hot_water_most_act": Limit(
        2.0,
        "-",
        "common practice: twice what a home can draw leaves no doubt, and costs from the first day",
        "heat counted as hot water, over the most that a home takes, from which a visit is due",
    ),
    "cold_by_leak_share": Limit(
        0.5,
        "-",
        "common practice: most of them",
        "days short of hot water on which more heat was charged than a home can draw, over all of them, from"
        " which the leak is the cause",
    ),
    "hot_water_most_error": Limit(
        0.15,
        "-",
        "common practice: habits beyond the greatest load profile, and a heat meter of class 2 (EN 1434-1)",
        "relative standard uncertainty of the most that a home takes",
    ),
    # shortage
    "cold_day_minutes": Limit(
        120.0,
        "min",
        "common practice: a large draw empties the sensor's layer for the length of one reheat, an hour at"
        " most",
        "minutes below 40 °C that make a day short of hot water",
    ),
    "cold_day_c": Limit(
        25.0,
        "°C",
        "half-way between the main's 10 °C and usable 40 °C (EN 16147): the front of cold water has reached"
        " the sensor",
        "lowest cylinder temperature that makes a day short of hot water",
        "below",
    ),
    "emptied_share": Limit(
        0.78,
        "-",
        "common practice: a layered cylinder gives warm water until two thirds to nine tenths of its heat are"
        " drawn (EN 16147's V40 test ends there): the middle",
        "heat that one charge puts back over that of a full cylinder, below which it was not empty",
        "below",
    ),
    "emptied_error": Limit(
        0.08,
        "-",
        "common practice: two thirds to nine tenths are 1.5 standard uncertainties either side of the middle",
        "standard uncertainty of that share",
    ),
    "emptied_least_chance": Limit(
        0.4,
        "-",
        "sensor at any height from a fifth to four fifths, draws that passed it at any share up to all: half"
        " of them took the usable water (EN 12897 leaves the place of the sensor to the maker, from memory);"
        " a little less leaves room for both sides of it",
        "chance that a day's draws took all usable water, from which it counts as one that may be short",
    ),
    "emptied_likely": Limit(
        0.6,
        "-",
        "common practice: three in two for it, clear of the even odds of a sensor of unknown height",
        "chance that such days were short, from which they are more than a note",
    ),
    "cold_least_c": Limit(
        36.0,
        "°C",
        "mixing valves at showers are set to 41 °C (reference 7) and warm water is felt as lukewarm below"
        " about 36 °C (common practice)",
        "cylinder temperature above which no day is short of hot water",
    ),
    "cold_spell_minutes": Limit(
        180.0,
        "min",
        "common practice: three hours are the whole evening, whatever the reason",
        "longest stretch below 40 °C that makes a day short of hot water",
    ),
    "cold_turnover": Limit(
        1.3,
        "-",
        "a third more hot water in a day than a full cylinder holds (EN 16147: from 10 °C) leans on reheats"
        " in between",
        "hot water of a day over a full cylinder's, from which 40 minutes below 40 °C make it short",
    ),
    "cold_days_watch": Limit(
        1.3,
        "days/week",
        "common practice: three cold showers in a fortnight are no chance",
        "days a week short of hot water",
    ),
    "cold_days_act": Limit(
        3.5, "days/week", "common practice: more often than not", "the same, worth a change"
    ),
    # cylinder
    "standing_loss_over_class": Limit(
        1.3,
        "-",
        "Reg. (EU) 812/2013: class C is the worst that may be sold since 2017; a third on top for pipes and"
        " sensor as installed (common practice)",
        "standing loss per kelvin over class C's",
    ),
    "standing_loss_over_design": Limit(
        1.7,
        "-",
        "common practice: pipes and valves add a fifth to a half to the cylinder's rated loss",
        "standing loss per kelvin over the design's",
    ),
    "standing_loss_act": Limit(
        2.6, "-", "common practice: twice the limit", "standing loss over class C's, worth a visit"
    ),
    "standing_rise_share": Limit(
        0.3,
        "-",
        "common practice: draws between two readings and a warmer store-room move a loss by less",
        "rise of the standing loss over the cylinder's own earlier one",
    ),
    "standing_rise_kwh": Limit(
        50.0,
        "kWh/year",
        "common practice: about what a look is worth",
        "electricity that the rise costs, from which it is worth a look",
    ),
    "standing_rise_act_kwh": Limit(
        300.0, "kWh/year", "common practice: about what a visit is worth", "the same, worth a visit"
    ),
    "circulation_ratio": Limit(
        2.2,
        "-",
        "common practice: without a pump that runs by day the quiet hours of day and night cool alike",
        "cooling by day over cooling by night",
    ),
    "circulation_steady": Limit(
        0.5,
        "-",
        "common practice: a pump cools every quarter of an hour alike, draws only those in which they fall",
        "usual cooling of a quarter hour over the mean, by day",
    ),
    # hygiene
    "pasteurise_slack_days": Limit(
        2.0,
        "days",
        "common practice: a run may be put off for a day by a draw or a power cut",
        "days beyond the schedule",
    ),
    "pasteurise_missed_share": Limit(
        0.4,
        "-",
        "common practice: now and then a run is put off by draws; in two of five weeks it is a fault",
        "share of the days that lie in overdue stretches, where the last run was held",
    ),
    "pasteurise_act": Limit(
        2.0,
        "-",
        "common practice: two schedules missed in a row",
        "time without disinfection over its interval",
    ),
    "disinfection_minutes": Limit(
        60.0,
        "min",
        "HSG274 Part 2 (from memory): the whole store at 60 °C for an hour; 3 minutes at 70 °C do the same"
        " (DVGW W 551, from memory)",
        "hold, as minutes at 60 °C, that counts as a disinfection",
        "below",
    ),
    "disinfection_heater_share": Limit(
        0.5,
        "-",
        "common practice: a heater that enters at the top or the side reaches the upper half and more",
        "the immersion heater's heat in a run over what brings the whole store to its disinfection",
    ),
    "sensor_sees_share": Limit(
        0.5,
        "-",
        "common practice: a sensor beside the heated water rises as the heat says, one below it hardly",
        "rise of the cylinder's sensor over what the heater's heat warms the whole store, up to which the"
        " sensor sits below the heated water",
        "below",
    ),
    "disinfection_heater_days": Limit(
        0.3,
        "-",
        "common practice: disinfection is weekly, or every third day at most",
        "share of the days with immersion heat, above which the heater makes the daily hot water",
    ),
    "disinfection_brief_minutes": Limit(
        20.0,
        "min",
        "WHO 2007 (from memory): at 60 °C two minutes kill nine in ten; 20 minutes are ten such steps, seven"
        " where the sensor reads a kelvin high",
        "hold, as minutes at 60 °C, that is short of guidance but no missed disinfection",
        "below",
    ),
    "lacking_days": Limit(
        14.0,
        "days",
        "common practice: weekly disinfection; two weeks missed are no chance",
        "days without a disinfection while the store is lukewarm",
    ),
    "growth_share": Limit(
        0.5,
        "-",
        "HSG274 Part 2 (2014): Legionella grows from 20 to 45 °C, and lives on to 50 °C (WHO 2007, from"
        " memory): half of the time is where the water lives",
        "share of the time between 20 and 50 °C",
    ),
    "growth_upper_c": Limit(
        50.0,
        "°C",
        "WHO 2007 (from memory): Legionella does not multiply above 50 °C",
        "usual stored temperature",
        "below",
    ),
    "growth_act_c": Limit(
        45.0,
        "°C",
        "HSG274 Part 2 (2014): 20 to 45 °C is the range of growth",
        "usual stored temperature at which it must be changed",
        "below",
    ),
    # scald
    "scald_watch_c": Limit(
        65.0,
        "°C",
        "disinfection is 60 °C in the store (HSG274 Part 2, 2014); hotter water is for a disinfection run"
        " only (common practice)",
        "stored water, held for ten minutes without a disinfection run",
    ),
    "scald_boils_c": Limit(
        100.0, "°C", "water boils at 100 °C at one bar", "a cylinder's reading that is no water temperature"
    ),
    "scald_act_c": Limit(
        75.0,
        "°C",
        "common practice: beyond any disinfection; tempering valves (EN 1111) are rated to feed water up to"
        " 80 to 90 °C",
        "stored water whatever heated it, worth a visit",
    ),
    "scald_urgent_c": Limit(
        85.0,
        "°C",
        "common practice: energy cut-outs of unvented cylinders trip at 80 to 85 °C; one that did not has"
        " failed",
        "stored water at which harm may follow at once",
    ),
    "scald_disinfection_k": Limit(
        4.0,
        "K",
        "common practice: heaters overshoot by their thermostat's band of 2 to 4 K",
        "stored water over the scheduled disinfection that still belongs to it",
    ),
    "charge_endless_minutes": Limit(
        600.0,
        "min/day",
        "common practice: a household's water takes one to four hours of charging a day",
        "charging in a day, from which it does not end",
    ),
    "scald_disinfection_minutes": Limit(
        240.0,
        "min",
        "common practice: a disinfection run takes an hour or two and holds for one",
        "minutes above 65 °C in one interval of the schedule, besides the cooling after it, that still belong"
        " to it",
    ),
    "held_over_setpoint_k": Limit(
        4.0,
        "K",
        "common practice: a programme that goes less far above the everyday setpoint is the everyday"
        " setpoint",
        "scheduled disinfection over the setpoint from which holding it all day is a fault",
    ),
    "held_day_minutes": Limit(
        720.0,
        "min/day",
        "common practice: a disinfection with the cooling after it is over within half a day",
        "minutes of a day at disinfection temperature, from which it does not end",
    ),
    "charged_beyond_k": Limit(
        3.0,
        "K",
        "common practice: a sensor is a kelvin off in its pocket, and a controller overshoots by one or two",
        "end of a charge over the setpoint of the site file",
    ),
    "charged_beyond_share": Limit(
        0.65,
        "-",
        "common practice: two days in three are a setting, fewer are a programme for sunny days or guests",
        "share of the days on which charges ended that far above the setpoint",
    ),
    "charged_beyond_days": Limit(
        7.0,
        "days",
        "common practice: a week, so that a disinfection or a visit does not count",
        "days on which it was so",
    ),
    "scald_cool_days": Limit(
        2.0,
        "days",
        "common practice: two days of everyday heat show that it is not going on now",
        "days without, after which nobody need be rung at once",
        "below",
    ),
    "scald_gone_days": Limit(
        7.0,
        "days",
        "common practice: a week without shows that the weekly programme is mended",
        "days without, after which it has ended",
        "below",
    ),
}
