"""Limits of the findings on the heating circuit: water flow, buffer, pressure and freezing."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

LIMITS_FLOW: dict[str, Limit] = {
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
    "flow_heat_minutes": Limit(
        15.0,
        "min",
        "common practice: an hour of steady running has four readings",
        "spacing of the heat meter's counts up to which they show the heat of steady minutes",
        "below",
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
        "fall over the scatter from day to day, below which it is not reported",
        "below",
    ),
    "flow_days": Limit(
        3.0,
        "days",
        "common practice: a cold spell's beginning",
        "days with a flow that must be seen",
        "below",
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
    "flow_drop_share": Limit(
        0.2,
        "-",
        "common practice: a stage of a pump; less is a valve's last turn or a colder mixture",
        "fall of the flow at once, from which somebody has to look",
    ),
    "flow_drop_act_share": Limit(
        0.5, "-", "common practice: half of the flow doubles the difference", "the same, worth a visit"
    ),
    # buffer
    "buffer_flow_ratio": Limit(
        1.1,
        "-",
        "four sensors of 0.3 K on differences of 3 to 5 K tell flows apart by a tenth",
        "flow to the emitters over the heat pump's, above which water is drawn in at the buffer",
    ),
    "buffer_days": Limit(
        5.0,
        "days",
        "common practice: a working week",
        "days with both sides of the buffer that must be seen",
        "below",
    ),
    "buffer_recent_days": Limit(
        14.0,
        "days",
        "common practice: a fortnight has cold and mild days",
        "newest days of an episode, by whose loss it is judged",
    ),
    "buffer_drop_note_k": Limit(
        0.8,
        "K",
        "two sensors disagree by up to 0.7 K (EN 60751 class B at 35 °C, twice by root of squares)",
        "flow temperature lost at the buffer, from which it is noted",
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
    # circuit pressure
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
        "level from which a steady rise is reported",
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
    "pressure_swing_share": Limit(
        0.3,
        "-",
        "common practice: a failed vessel shows whenever the water's temperature moves; a filling or"
        " bleeding does on single days",
        "share of an episode's days with it, below which it is no vessel's",
        "below",
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
    # freezing
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
