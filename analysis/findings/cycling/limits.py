"""Limits of the findings about the operation."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

LIMITS_OPERATION: dict[str, Limit] = {
    # short cycling
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
    "cycling_field_rank": Limit(
        0.75,
        "-",
        "a quarter of 127 air-source units start more often as a winter's mean: 12.8 a day (reference 9.3)",
        "share of the field's units that start less often, below which short runs are a note",
        "below",
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
    # defrosts
    "defrost_week_chance": Limit(
        0.7,
        "-",
        "common practice: more likely than not, and by a good deal",
        "probability by rate and melting alone, from which a week belongs to an episode",
    ),
    "defrost_chance_note": Limit(
        0.5,
        "-",
        "common practice: more likely than not",
        "probability that defrosts come for another reason than frost, from which it is noted",
    ),
    "defrost_change_odds": Limit(
        2.0,
        "-",
        "common practice: seven to one",
        "logarithm of the odds that a unit began to defrost more often at like frost",
    ),
    "defrost_needless_heat": Limit(
        0.003,
        "-",
        "common practice: less than some tens of kWh a year",
        "needless melting over all heat given, from which it matters",
    ),
    "defrost_excess": Limit(
        1.0,
        "-",
        "expectation.defrost: frost from air and load over the coat of 165 g/kW that a clean coil carries",
        "defrosts on frosty days over those that air and load explain",
    ),
    "defrost_excess_told": Limit(
        1.3,
        "-",
        "common practice: a third more is beyond rounding",
        "the same, from which their number is what is told",
    ),
    "defrost_excess_act": Limit(
        3.0,
        "-",
        "common practice: every 30 minutes where 90 are right",
        "the same, from which it needs a visit",
    ),
    "defrost_penalty_act": Limit(
        0.06,
        "-",
        "seasonal penalties of sound units are 5 to 10 % of the electricity with the lost output (reference"
        " 9.2, from memory); 6 % of the heat as melting alone is above them",
        "heat and electricity of the defrosts over all heat given, from which it needs a visit",
    ),
    "defrost_taken_wh_per_kw": Limit(
        0.5,
        "Wh/kW",
        "a reversed compressor can't draw less than this in a minute (half of the rated output)",
        "heat taken from the water in a defrost, below which the meter only counts forwards",
        "below",
    ),
    "defrost_usual_cop": Limit(
        3.0,
        "-",
        "reference 2.3: field trials lie at 2.7 to 3.1",
        "heat over electricity where none is measured, to price heat drawn back",
    ),
    "defrost_very_long_minutes": Limit(
        10.0,
        "min",
        "common practice: 2 to 10 minutes; units end a defrost by time after 8 to 15",
        "median length of a defrost, from which melting that lacks heat needs a visit",
    ),
    "defrost_long_minutes": Limit(
        5.0,
        "min",
        "5 minutes cleared the coil of an 8 kW unit in all conditions tested (reference 9.2)",
        "median length of a defrost, above which it melts too slowly",
    ),
    "defrost_heat_share": Limit(
        0.30,
        "-",
        "common practice: a reversed compressor draws half to all of the rated output out of the water",
        "heat drawn from the water in a defrost over rated output, below which melting heat is lacking",
        "below",
    ),
    "defrost_count_watch": Limit(
        40.0,
        "defrosts",
        "common practice: some days of frosting weather, so that a single wet day decides nothing",
        "defrosts that must be seen before their spacing is judged",
    ),
    "defrost_days": Limit(
        5.0,
        "days",
        "common practice: a week's weather, so that fog or sleet decides nothing",
        "frosty days that must be seen before defrosts are judged",
    ),
    "dry_frost_g_per_kw": Limit(
        12.0,
        "g/kW",
        "a tenth or less of what blocks a coil; below it, what is warmed is the coil itself",
        "most frost that can have settled since the last defrost, below which a defrost had nothing to melt",
        "below",
    ),
    "dry_air_c": Limit(
        9.0,
        "°C",
        "a coil 10 K colder than the air at full output; outdoor sensors on warm walls and a unit's own cold"
        " air take 2 to 3 K (common practice)",
        "outdoor temperature from which no coil can frost, whatever sensor and place",
    ),
    "dry_rate_chance": Limit(
        0.95,
        "-",
        "common practice: two standard deviations on one side",
        "probability that there are more defrosts than air and load explain, from which those that use little"
        " count as without frost",
    ),
    "heated_day_minutes": Limit(
        60.0,
        "min",
        "common practice: less is a warm-up or a test",
        "heating of a day from which it can be judged",
    ),
    "timed_mild_c": Limit(
        8.0,
        "°C",
        "common practice: timers count only with a cold coil",
        "outdoor temperature above which a timer does not count",
    ),
    "timed_mild_share": Limit(
        0.05,
        "-",
        "common practice: a few defrosts of a mild spell",
        "share of defrosts in mild air, from which no timer sets them",
    ),
    "timed_defrosts": Limit(
        40.0,
        "defrosts",
        "common practice: a week or two of frosting weather, so that a spacing is a spacing",
        "defrosts that must be seen before their spacing is taken for a timer's",
    ),
    "timed_defrost_spread": Limit(
        0.2,
        "-",
        "common practice: a timer counts running time; the end of a run or a charge moves it by some minutes",
        "spread of the middle seven tenths of the spacings over their median, below which a timer sets them",
        "below",
    ),
    "timed_defrost_minutes": Limit(
        55.0,
        "min",
        "common practice: timers stand at 60 to 120 minutes, the lock after a defrost at 30 to 45",
        "median running time between defrosts, from which an even spacing may be a timer's",
    ),
    "timed_defrost_efficiency": Limit(
        0.93,
        "-",
        "common practice: lost refrigerant shows in performance before it shows in defrosts",
        "steady heating's performance over the unit's rating, below which an even spacing is no timer's",
    ),
    "dry_defrosts": Limit(
        10.0,
        "defrosts",
        "common practice: sensors, sleet and a gust of fog explain a few in a season",
        "defrosts without frost, from which they are more than a note",
    ),
    "dry_defrost_days": Limit(
        5.0,
        "days",
        "common practice: a sensor's bad day or sleet explains a few",
        "days with a defrost without frost, from which they are more than a note",
    ),
    "dry_defrost_least_share": Limit(
        0.01,
        "-",
        "common practice: in a season of a thousand defrosts, one in a hundred meets sleet or a gust of fog",
        "share of all defrosts in the spell, below which those without frost are no more than a note",
        "below",
    ),
    "dry_defrosts_act": Limit(
        60.0,
        "defrosts",
        "common practice: an hour of heating lost a month",
        "defrosts without frost, from which it needs a visit",
    ),
    "defrost_coil_wh_per_kw": Limit(
        14.0,
        "Wh/kW",
        "common practice: a coil of 2 kJ/K a kilowatt warmed by 20 K takes 11; frost that blocks it takes as"
        " much again",
        "heat and electricity of a defrost per kilowatt rated, below which little or nothing was melted",
        "below",
    ),
    # flow temperature
    "flow_above_curve_note_k": Limit(
        2.0,
        "K",
        "common practice: sensors and a switching difference explain less",
        "flow above the designed curve, from which it is noted",
    ),
    "flow_above_curve_watch_k": Limit(
        3.0,
        "K",
        "2 to 2.5 % more electricity a kelvin (reference 8): about 7 %",
        "flow above the designed curve, from which it is worth a setting",
    ),
    "flow_above_curve_act_k": Limit(
        6.0,
        "K",
        "2 to 2.5 % more electricity a kelvin (reference 8): about 14 %",
        "flow above the designed curve, from which it must be set",
    ),
    "curve_judged_below_c": Limit(
        12.0,
        "°C",
        "common practice: above it the lowest flow temperature and short runs hide the curve",
        "outdoor temperature below which the heating curve is judged",
    ),
    "compensation_share": Limit(
        0.33,
        "-",
        "common practice: rooms' influence and a lowest flow temperature flatten a curve by a third, not"
        " by two",
        "measured slope over the designed one, below which flow does not follow the weather",
        "below",
    ),
    "compensation_low_target_k": Limit(
        4.0,
        "K",
        "common practice: set-backs lower the rooms by 2 to 3 K, absences by more",
        "rooms set so far below the design's, from which the water is as cool as the unit can give it",
    ),
    "compensation_span_k": Limit(
        6.0,
        "K",
        "common practice: at a slope of 0.6 it moves the flow by 4 K, ten times a sensor's error",
        "range of outdoor temperature that must have occurred",
    ),
    "heating_limit_c": Limit(
        17.0,
        "°C",
        "EN 14825 ends the heating season at 16 °C outdoors; a kelvin for the sensor and the damping",
        "day's mean outdoor temperature from which a house needs no heat",
    ),
    "heating_limit_least_c": Limit(
        15.5,
        "°C",
        "EN 14825 ends the heating season at 16 °C; well insulated houses need none from 12 to 15 °C on",
        "the same, at the lowest, for houses whose own base temperature is known",
        "below",
    ),
    "over_base_k": Limit(
        2.0,
        "K",
        "common practice: sun, wind and a cool morning move a day's need by a kelvin or two",
        "day's mean outdoor temperature over the house's own base temperature, from which it needs no heat",
    ),
    "warm_day_minutes": Limit(
        30.0,
        "min",
        "common practice: less is a valve's exercise or the end of a hot-water charge",
        "heating with 15 °C or more outdoors, from which a warm day counts",
    ),
    "warm_heating_hours": Limit(
        3.0,
        "h/day",
        "common practice: an eighth of the day; 10 to 20 kWh of heat nobody needs",
        "mean space heating on warm days, from which it must be set",
    ),
    "warm_heating_watch_hours": Limit(
        1.0,
        "h/day",
        "common practice: a cylinder's daily charge takes an hour; less can't be told from it",
        "mean space heating on warm days, from which it is told",
    ),
    "warm_days": Limit(
        5.0,
        "days",
        "common practice: controls average the weather over a day or two",
        "warm days with heating, from which it is more than a note",
    ),
    # water flow
    "low_flow_watch_share": Limit(
        0.70,
        "-",
        "common practice: makers ask for nominal flow within a quarter; at 0.7 the difference is 1.4 times as"
        " wide",
        "flow over nominal, below which it is too little",
        "below",
    ),
    "low_flow_act_share": Limit(
        0.50,
        "-",
        "common practice: near the least flow at which units lock out (30 to 50 % of nominal)",
        "flow over nominal, below which the unit is about to trip",
        "below",
    ),
    "low_flow_note_share": Limit(
        0.78,
        "-",
        "common practice: beyond what a meter's error and valves explain",
        "flow over nominal, below which it is noted",
        "below",
    ),
    "wide_lift_share": Limit(
        1.05,
        "-",
        "a difference at or below nominal carries the rated heat; 5 % for the flow meter (EN 1434-1 class 2)",
        "difference at the highest output seen over nominal, up to which a low flow is a pump that saves",
    ),
    "antifreeze_wider": Limit(
        1.08,
        "-",
        "propylene glycol of 30 % carries 6 to 8 % less heat a cubic metre and kelvin (Melinder 2010, from"
        " memory)",
        "difference with antifreeze over that with water",
    ),
    "low_flow_unseen_chance": Limit(
        0.8,
        "-",
        "common practice: four of five pumps hold one speed where nothing else is known",
        "probability of a fault where the flow is low and no difference is measured",
    ),
    "widest_nominal_k": Limit(
        7.0,
        "K",
        "common practice: makers rate air-to-water units at 5 K (EN 14511), 7 K is the wide end",
        "difference at rated output that gives the nominal flow where the site file has none",
    ),
    "usual_nominal_k": Limit(
        5.0,
        "K",
        "EN 14511: 30 to 35 and 40 to 45 °C",
        "difference at nominal flow where the site file has no rated output",
    ),
    "busiest_days": Limit(
        0.9,
        "-",
        "common practice: the tenth of the days with most heat",
        "quantile of the days' heat from which the difference is read",
    ),
    "charge_minutes": Limit(
        15.0,
        "min",
        "common practice: full output is reached after five to ten minutes",
        "charge of the cylinder from which its difference counts",
        "below",
    ),
    "flow_steady_minutes": Limit(
        60.0,
        "min",
        "common practice: an hour of steady running makes a mean",
        "steady running of a day from which its flow is judged",
        "below",
    ),
    "buffer_flow_ratio": Limit(
        1.1,
        "-",
        "four sensors of 0.3 K on differences of 3 to 5 K tell flows apart by a tenth",
        "flow to the emitters over the heat pump's, above which water is drawn in at the buffer",
    ),
    "flow_jitter": Limit(
        0.02,
        "-",
        "common practice: a closed circuit without air is steadier than 1 % from minute to minute",
        "relative change of flow from one minute to the next, above which air is likely",
    ),
    "flow_fall_note_share": Limit(
        0.08,
        "-",
        "common practice: a flow meter's drift and the pump's own spread",
        "fall of the flow over the period, from which it is noted",
    ),
    "flow_fall_noise": Limit(
        4.0,
        "-",
        "common practice: four standard deviations of a day",
        "fall over the scatter from day to day, below which it is not told",
        "below",
    ),
    "flow_days": Limit(
        3.0,
        "days",
        "common practice: a cold spell's beginning",
        "days with a flow that must be seen",
        "below",
    ),
    "buffer_days": Limit(
        5.0,
        "days",
        "common practice: a working week",
        "days with both sides of the buffer that must be seen",
        "below",
    ),
    "buffer_drop_note_k": Limit(
        0.8,
        "K",
        "two sensors disagree by up to 0.7 K (EN 60751 class B at 35 °C, twice by root of squares)",
        "flow temperature lost at the buffer, from which it is noted",
    ),
    "flow_fall_watch_share": Limit(
        0.12,
        "-",
        "common practice: twice a flow meter's drift and the pump's own spread",
        "fall of the flow over the period, above which something clogs",
    ),
    "flow_fall_act_share": Limit(
        0.30,
        "-",
        "common practice: a third less flow widens the difference by half",
        "fall of the flow over the period, from which the strainer must be cleaned",
    ),
    "flow_step_share": Limit(
        0.6,
        "-",
        "a straight fall puts a fifth of itself into the steepest two weeks of ten; a step nearly all",
        "part of the fall within two weeks, above which it is a step and no clogging",
    ),
    "buffer_drop_watch_k": Limit(
        1.0,
        "K",
        "two sensors disagree by up to 0.7 K (EN 60751 class B at 35 °C, twice by root of squares); a kelvin"
        " is 2 % of the electricity",
        "flow temperature lost at the buffer, from which it is worth a look",
    ),
    "buffer_drop_act_k": Limit(
        3.0,
        "K",
        "2 to 2.5 % more electricity a kelvin (reference 8): 7 %",
        "flow temperature lost at the buffer, from which the pumps must be set",
    ),
    # rest
    "standby_watch_w": Limit(
        65.0,
        "W",
        "common practice: controls 10 to 20 W and a crankcase heater of 30 to 45 W",
        "power at rest, above which something draws that should not",
    ),
    "standby_kwh": Limit(
        60.0,
        "kWh/year",
        "common practice: less isn't worth a call",
        "electricity at rest beyond a usual unit's, from which it is more than a note",
    ),
    "standby_w_per_kw": Limit(
        1.5,
        "W/kW",
        "common practice: crankcase heaters grow with the compressor; on top for each kilowatt rated"
        " above 12",
        "allowed on top of standby_watch_w for big units",
    ),
    "standby_act_w": Limit(
        130.0,
        "W",
        "twice the usual: more than 1 000 kWh a year",
        "power at rest, from which it needs a visit",
    ),
    "standby_pump_w": Limit(
        75.0,
        "W",
        "common practice: circulators for up to 12 kW draw 5 to 75 W (EEI 0.23 and below), bigger ones in"
        " proportion",
        "allowed on top where a pump inside the meter can't be taken out",
    ),
    "idle_pump_share": Limit(
        0.5,
        "-",
        "common practice: run-on, exercise and frost guard stay well below half of the time",
        "share of the time without demand in which a pump runs",
    ),
    "idle_pump_hours": Limit(
        3.0,
        "h/day",
        "common practice: with 40 to 60 W it is 50 kWh a year",
        "hours a day that a pump runs with nothing to do",
    ),
    "idle_pump_act_hours": Limit(
        12.0,
        "h/day",
        "common practice: with 40 to 60 W it is 200 kWh a year",
        "the same, from which it needs a setting",
    ),
    "idle_pump_kwh": Limit(
        25.0,
        "kWh/year",
        "common practice: less isn't worth a call",
        "electricity of an idle pump, from which it is more than a note",
    ),
    "idle_pump_other_days": Limit(
        4.0,
        "days",
        "common practice: some days, so that one odd day decides nothing",
        "days before it began, or too warm to heat, that can be compared",
        "below",
    ),
    "idle_pump_days": Limit(
        7.0,
        "days",
        "common practice: a week is no accident of a setting being tried",
        "days with an idle pump, from which it is more than a note",
    ),
}
