"""Limits of the findings about the water: the cylinder, its reheats, the circuit."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

_COIL = "common practice: heat-pump coils pass the unit's full output at 5 to 10 K over the cylinder"

LIMITS_WATER: dict[str, Limit] = {
    "immersion_day_kwh": Limit(
        0.3,
        "kWh/day",
        "common practice: six minutes of a 3 kW element; less is a test or a disinfection's last half kelvin",
        "a day on which the immersion heater worked",
    ),
    "immersion_watch_kwh": Limit(
        0.8,
        "kWh/day",
        "common practice: a seventh of a family's tapping day (profile M, 5.8 kWh, Reg. (EU) 813/2013)",
        "immersion heat beyond disinfection, mean of all days",
    ),
    "immersion_act_kwh": Limit(
        2.0, "kWh/day", "common practice: a third of that tapping day", "the same, worth a setting"
    ),
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
    "pasteurise_slack_days": Limit(
        2.0,
        "days",
        "common practice: a run may be put off for a day by a draw or a power cut",
        "days beyond the schedule",
    ),
    "pasteurise_act": Limit(
        2.0,
        "-",
        "common practice: two schedules missed in a row",
        "time without disinfection over its interval",
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
    "pressure_fall_note": Limit(
        0.015,
        "bar/week",
        "common practice: one topping-up a year is 0.5 bar or 0.01 bar/week",
        "fall of the circuit's pressure",
    ),
    "pressure_fall_watch": Limit(
        0.04, "bar/week", "common practice: 0.5 bar in a quarter of a year", "the same, look again soon"
    ),
    "pressure_fall_act": Limit(
        0.15,
        "bar/week",
        "common practice: from a usual fill to the low limit in about five weeks",
        "the same, worth a visit",
    ),
    "pressure_fallen_bar": Limit(
        0.12,
        "bar",
        "twice what a degree of water temperature and a sensor's 0.05 bar explain (common practice)",
        "least fall in all",
    ),
    "pressure_low_watch": Limit(
        0.8,
        "bar",
        "EN 12828: static height plus 0.2 to 0.3 bar, 0.7 bar at least (from memory); makers ask for 1 to 1.5"
        " bar cold",
        "pressure of the circuit",
        "below",
    ),
    "pressure_low_act": Limit(
        0.5, "bar", "common practice: units lock out at 0.3 to 0.5 bar", "the same, worth a visit", "below"
    ),
    "pressure_refill_bar": Limit(
        0.1,
        "bar",
        "common practice: a householder's topping-up moves the needle by a tick mark, 0.1 to 0.5 bar",
        "jump of the level that is a refill",
    ),
    "pressure_fallen_watch": Limit(
        0.4,
        "bar",
        "common practice: from a usual fill of 1.2 bar to the low limit",
        "fall in all that is looked at soon, however slow",
    ),
    "pressure_refills_watch": Limit(
        2.0,
        "refills",
        "common practice: a sound circuit is topped up once or twice a year, not twice in a season",
        "refills within one steady fall",
    ),
    "pressure_settling_bar": Limit(
        0.3,
        "bar",
        "common practice: air that leaves a new circuit takes some tenths of a bar with it",
        "fall of a new circuit that is more than air",
    ),
    "pressure_days_left": Limit(
        30.0,
        "days",
        "common practice: rounds are monthly in the season",
        "time until a circuit that loses water locks the unit out",
        "below",
    ),
    "pressure_high_watch": Limit(
        2.5,
        "bar",
        "EN 12828 (from memory): the final pressure stays 0.5 bar below the relief valve, 3 bar in dwellings",
        "highest pressure of a day",
    ),
    "pressure_high_act": Limit(
        2.8,
        "bar",
        "common practice: relief valves weep from a tenth below their opening pressure, 3 bar",
        "the same, worth a visit",
    ),
    "pressure_rise_watch": Limit(
        0.05,
        "bar/week",
        "a closed circuit takes up no water: any steady rise beyond a sensor's drift comes in from the main"
        " (common practice)",
        "rise of pressure at like water temperature",
    ),
    "pressure_risen_bar": Limit(
        0.3, "bar", "common practice: three times a householder's tick mark", "least rise in all"
    ),
    "pressure_rise_from": Limit(
        1.8,
        "bar",
        "common practice: a cold circuit is filled to 1 to 1.5 bar",
        "level from which a steady rise is told",
    ),
    "pressure_swing_watch": Limit(
        0.4,
        "bar",
        "common practice: 25 K of water move a circuit with a sound vessel by about 0.3 bar",
        "swing of the pressure within a day",
    ),
    "pressure_swing_act": Limit(
        1.0,
        "bar",
        "common practice: from a cold fill of 1.5 bar such a swing ends at the final pressure, 2.5 bar",
        "the same, worth a visit",
    ),
    "pressure_follows": Limit(
        0.6,
        "-",
        "common practice: half of the swing comes with the water's temperature (0.6 squared is over a third)",
        "correlation of pressure and water temperature",
    ),
    "pressure_slope_over": Limit(
        1.7,
        "-",
        "EN 12828: a vessel of the least size gives the expected slope, known to a third (common practice):"
        " two standard uncertainties",
        "slope of pressure on temperature over the expected one",
    ),
    "pressure_slope_sound": Limit(
        1.25,
        "-",
        "EN 12828: a vessel of the least size gives the expected slope, known to a third (common practice):"
        " one standard uncertainty",
        "slope over the expected one up to which a day shows a sound vessel",
    ),
    "pressure_mended": Limit(
        1.5,
        "-",
        "common practice: vessels are recharged or replaced to several times what a failed one held",
        "gas that the slope speaks of, over that of the days with the fault, from which the vessel was"
        " mended",
        "below",
    ),
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
    "disinfection_minutes": Limit(
        60.0,
        "min",
        "HSG274 Part 2 (from memory): the whole store at 60 °C for an hour; 3 minutes at 70 °C do the same"
        " (DVGW W 551, from memory)",
        "hold, as minutes at 60 °C, that counts as a disinfection",
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
    "frost_water_c": Limit(
        3.0,
        "°C",
        "common practice: makers' frost guards start the pump at 4 to 5 °C",
        "coldest still water in the unit",
        "below",
    ),
    "frost_minutes": Limit(
        30.0,
        "min",
        "common practice: a frost guard mixes the water within minutes",
        "minutes near freezing without flow",
    ),
    "frost_unseen_minutes": Limit(
        600.0,
        "min",
        "common practice: longer than any day's work on a unit, and long enough for its water to freeze at a"
        " few degrees below zero",
        "minutes without supply in frost, where no water temperature is measured",
    ),
    "frost_dead_minutes": Limit(
        180.0,
        "min",
        "common practice: a unit's water takes some hours to freeze at a few degrees below zero",
        "minutes without supply in frost",
    ),
}
