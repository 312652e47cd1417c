"""Limits of the answers to customers' questions: high bill, cold rooms, no hot water, noise, ice."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

LIMITS_ANSWERS: dict[str, Limit] = {
    "answer_fewest_days": Limit(
        10.0,
        "days",
        "common practice: a week and a half of habits on each side",
        "too few days to split a bill",
        "below",
    ),
    "answer_whole_day": Limit(
        0.9, "-", "common practice: as for every day's figures", "a day counts as read", "above"
    ),
    "answer_room_drift_k": Limit(
        0.15,
        "K",
        "common practice: a room sensor moved or drifted within a year",
        "standard uncertainty of a change of room temperature",
    ),
    "answer_heat_drift": Limit(
        0.01,
        "-",
        "common practice: a heat meter holds its own error to a percent over a year",
        "standard uncertainty of a change of heat",
    ),
    "answer_heat_error": Limit(
        0.025,
        "-",
        "EN 1434-1: a heat meter of class 2 errs by 3 to 5 % at most, as a rectangle",
        "standard uncertainty of metered heat",
    ),
    "answer_line_doubt": Limit(
        0.03,
        "-",
        "common practice: mass, wind and habits bend a house's line by some percent",
        "standard uncertainty of the line of heat over weather",
    ),
    "answer_unseen_weather": Limit(
        0.012,
        "-",
        "common practice: wind, sky and habits differ by a percent or two between like winters",
        "standard uncertainty of a season's need",
    ),
    "answer_unread_day": Limit(
        0.15,
        "-",
        "common practice: a day that nobody read differs so much from a like one",
        "standard uncertainty of what was not read",
    ),
    "answer_unread_blind": Limit(
        0.5,
        "-",
        "common practice: weeks of one winter differ by half where nobody knows their weather",
        "the same where the weather is not known either",
    ),
    "answer_use_doubt": Limit(
        0.04,
        "-",
        "common practice: minutes between two uses, pipes and run-on move some percent from one to the other",
        "standard uncertainty of what a use took",
    ),
    "answer_loss_change": Limit(
        0.25,
        "-",
        "common practice: a cylinder's standing loss between draws scatters by a quarter",
        "standard uncertainty of standing loss",
    ),
    "answer_alike_area": Limit(
        0.3,
        "-",
        "common practice: homes whose floor area is within three tenths",
        "homes that count as alike",
        "below",
    ),
    "answer_fewest_homes": Limit(
        3.0,
        "homes",
        "common practice: a middle of fewer is one home's habits",
        "too few homes alike",
        "below",
    ),
    "answer_part_told": Limit(
        0.02,
        "-",
        "common practice: less than a fiftieth of the bill is not worth a word",
        "share of the bill that is worth a word",
    ),
    "answer_seen_room_k": Limit(
        0.3, "K", "common practice: twice what a room sensor drifts in a year", "change of rooms that is told"
    ),
    "answer_seen_water_k": Limit(
        2.0,
        "K",
        "common practice: a cylinder's sensor and its switching band",
        "change of the full cylinder that is told",
    ),
    "answer_away_days": Limit(
        2.0, "days", "common practice: a weekend away is no habit", "absence that is told", "above"
    ),
    "answer_cold_k": Limit(
        0.5, "K", "common practice: half a kelvin is within a thermostat's band", "room below its target"
    ),
    "answer_comfort_k": Limit(
        1.0,
        "K",
        "common practice: a target a kelvin under the design's indoor temperature feels cold",
        "target under the design",
    ),
    "answer_setback_k": Limit(
        1.0, "K", "common practice: a set-back of a kelvin is felt", "target under the day's highest"
    ),
    "answer_recovery_min": Limit(
        240.0,
        "min",
        "common practice: radiators follow a raised target in 2 to 4 hours",
        "time that a raised target may take",
        "below",
    ),
    "answer_call_share": Limit(
        0.3,
        "-",
        "common practice: a cold room's thermostat calls most of the time",
        "share of cold minutes with a call",
        "below",
    ),
    "answer_flow_gap_k": Limit(
        2.5,
        "K",
        "common practice: two water sensors of class B and a controller's band",
        "water under the designed curve",
    ),
    "answer_lacking_k": Limit(
        2.0, "K", "common practice: as for cold rooms", "water under what is asked for"
    ),
    "answer_lacking_share": Limit(
        0.25,
        "-",
        "common practice: a quarter of the heating is no start-up",
        "share of heating with the water too cool",
    ),
    "answer_emission": Limit(
        1.0,
        "-",
        "EN 442: emitters must give what the house needs at the water temperatures measured",
        "heat that emitters can give over what the house needs",
        "below",
    ),
    "answer_usual_lift_k": Limit(
        5.0,
        "K",
        "common practice: water that gives off less than the designed difference carries its heat",
        "flow less return of too little water",
    ),
    "answer_low_flow": Limit(
        0.7, "-", "common practice: as for low flow", "water flow over its nominal", "below"
    ),
    "answer_high_lift_k": Limit(
        9.0,
        "K",
        "common practice: 4 to 8 K between flow and return",
        "flow less return, where no flow is measured",
    ),
    "answer_full_share": Limit(
        0.75,
        "-",
        "common practice: defrosts and hot water take the rest of a rating in the cold",
        "output over the rating",
    ),
    "answer_running_share": Limit(
        0.85,
        "-",
        "common practice: a unit that hardly rests has no reserve",
        "share of the time that the unit runs",
    ),
    "answer_loss_ratio": Limit(
        1.2,
        "-",
        "common practice: a fifth more than designed is more than a calculation's spread",
        "measured over designed heat loss",
    ),
    "answer_window_k_per_h": Limit(
        2.0,
        "K/h",
        "common practice: a heated room falls by less than a kelvin an hour; an open window takes several",
        "fall of a room while it is heated",
    ),
    "answer_window_times": Limit(
        3.0,
        "-",
        "common practice: an open window cools a room several times as fast as no heat does",
        "fall of a heated room over that of the closed, unheated house",
    ),
    "answer_window_least_k_per_h": Limit(
        1.0,
        "K/h",
        "common practice: doors, people and sun move a heated room by less",
        "fall of a heated room that a window explains",
    ),
    "answer_fewest_still_min": Limit(
        60.0,
        "min",
        "common practice: an hour without heat shows how a house cools",
        "time without heat",
        "below",
    ),
    "answer_rising_share": Limit(
        1.05,
        "-",
        "balance of heat: with more than it needs at its target a room comes up; 5 % for the measured loss",
        "heat while rooms come back, over what the house needs",
    ),
    "answer_rise_over_needed": Limit(
        0.2,
        "-",
        "common practice: a room that gains by day what it lost by night rises a quarter as fast as it"
        " should",
        "rise of a room over the rise that brings it back in time",
        "below",
    ),
    "answer_fell_share": Limit(
        0.5,
        "-",
        "common practice: most of what a room lacks must be what it lost by night",
        "fall by night over what the room lacks",
        "below",
    ),
    "answer_gains_w_per_m2": Limit(
        4.0,
        "W/m2",
        "common practice: people, appliances and winter sun of a home, about 3 to 5",
        "heat that is free",
    ),
    "answer_fewest_before": Limit(
        7.0,
        "days",
        "common practice: a week shows what a house takes",
        "days before to compare with",
        "below",
    ),
    "answer_falls_a_day": Limit(
        0.5,
        "1/d",
        "common practice: airing every other day in the hours named is no accident",
        "steep falls of a heated room a day",
    ),
    "answer_taken": Limit(
        0.75,
        "-",
        "common practice: rooms that take three quarters of what emitters can give",
        "heat given over what the emitters can give",
        "below",
    ),
    "answer_taken_most": Limit(
        1.5,
        "-",
        "EN 442: emitters give no more than their characteristic; half as much again for water and metal that"
        " warm up, and for the meters",
        "heat given over what the emitters can give, above which their output or a reading can't be right",
    ),
    "answer_weight": Limit(
        0.5, "-", "more likely than all other causes together", "weight of a cause without numbers of its own"
    ),
    "answer_gap_k": Limit(
        1.0,
        "K",
        "common practice: rooms of one house differ by a kelvin",
        "how much more one zone lacks than the best",
    ),
    "answer_mostly_cold": Limit(
        0.5,
        "-",
        "common practice: more than half of the time is no accident",
        "cold share of the hours named",
    ),
    "answer_stop_h": Limit(
        6.0,
        "h",
        "common practice: no tariff and no rest of a healthy unit lasts so long in need",
        "rest in spite of need",
    ),
    "answer_heating_limit_c": Limit(
        15.0,
        "°C",
        "common practice: controls stop the heating above 14 to 17 °C outdoors",
        "air too warm to blame a unit that rests",
    ),
    "answer_due_k": Limit(
        1.0, "K", "common practice: a sensor in its pocket", "cylinder under its reheat limit"
    ),
    "answer_reached_share": Limit(
        0.4,
        "-",
        "common practice: rooms that are back at their target for part of the evening",
        "rooms back at target before the next set-back",
        "below",
    ),
    "answer_cold_elsewhere": Limit(
        0.3,
        "-",
        "common practice: a third of the other hours is no accident",
        "cold share of hours outside the set-back",
    ),
    "answer_longest_recovery_min": Limit(
        600.0,
        "min",
        "common practice: ten hours after a night set-back it is evening; rooms cold then are no recovery",
        "longest time that a room is said to come back from a set-back",
    ),
    "answer_set_back_share": Limit(
        0.6, "-", "common practice: most of the cold time", "share of the cold time in or after a set-back"
    ),
    "answer_extra_loss": Limit(
        1.35,
        "-",
        "common practice: a third more than the house's own measured loss is no chance",
        "heat given over what the house's loss takes",
    ),
    "answer_cold_tap_c": Limit(
        40.0,
        "°C",
        "EN 16147: usable hot water is at 40 °C",
        "cylinder colder than water to wash with",
        "below",
    ),
    "answer_low_setpoint_c": Limit(
        45.0,
        "°C",
        "common practice: below this little water is left to mix to 40 °C",
        "setpoint of hot water",
        "below",
    ),
    "answer_drawn_more": Limit(
        1.25,
        "-",
        "common practice: the weeks of a household differ by a fifth",
        "hot water drawn over the weeks before",
    ),
    "answer_small_turns": Limit(
        0.8,
        "-",
        "common practice: most of what a full cylinder gives, taken at once",
        "drawn in one go over what a full cylinder gave",
    ),
    "answer_waiting_share": Limit(
        0.5,
        "-",
        "common practice: a cold cylinder is charged within the hour",
        "share of cold minutes in which nothing charges",
    ),
    "answer_slow": Limit(
        1.5,
        "-",
        "common practice: half as long again as expected is beyond its uncertainty",
        "length of a charge over the expected",
    ),
    "answer_short_top_k": Limit(
        3.0,
        "K",
        "common practice: a controller's band and a sensor's pocket",
        "full cylinder under its setpoint",
    ),
    "answer_loss_over": Limit(
        1.6, "-", "common practice: beyond pipes and fittings as installed", "standing loss over the expected"
    ),
    "answer_loss_warm": Limit(
        0.8,
        "-",
        "common practice: in a cylinder that is half empty layers mix, and its sensor cools by that too",
        "store over the room, of the setpoint's: its standing loss can be measured",
        "below",
    ),
    "answer_fast_share": Limit(
        0.8,
        "-",
        "common practice: fan and compressor are heard from four fifths of their speed",
        "compressor speed over its greatest",
    ),
    "answer_fast_time": Limit(
        0.25,
        "-",
        "common practice: a quarter of the night is noticed",
        "share of the running time near the greatest speed",
    ),
    "answer_charging_share": Limit(
        0.4,
        "-",
        "common practice: charges that make up most of a night's running",
        "share of the running that charges the cylinder",
    ),
    "answer_frozen_share": Limit(
        0.7,
        "-",
        "common practice: in lasting frost nothing thaws under the unit by itself",
        "share of the time below freezing",
    ),
    "answer_starts_per_h": Limit(
        0.8,
        "1/h",
        "95 % of field units start less often in winter (Brudermueller et al. 2023, reference 9.3)",
        "starts an hour",
    ),
    "answer_short_run_min": Limit(
        25.0,
        "min",
        "90 % of air-source units have a median run above it (reference 9.3)",
        "median run in the hours named, below which starts are heard",
        "below",
    ),
    "answer_short_starts_per_h": Limit(
        0.5,
        "1/h",
        "common practice: four starts a night wake people",
        "starts an hour from which short runs count",
    ),
    "answer_defrosts_a_night": Limit(
        3.0, "1/night", "common practice: more than three hisses a night wake people", "defrosts a night"
    ),
    "answer_high_flow": Limit(
        1.25,
        "-",
        "common practice: water beyond its nominal flow is heard in valves and pipes",
        "water flow over its nominal",
    ),
    "answer_low_bar": Limit(
        0.8,
        "bar",
        "common practice: below this air gathers at the top of the circuit",
        "pressure of the heating circuit",
        "below",
    ),
    "answer_no_frost_c": Limit(
        7.0,
        "°C",
        "common practice: coils frost below 6 to 7 °C outdoors",
        "air too warm for frost on a coil",
    ),
    "answer_too_often": Limit(
        1.64, "-", "one-sided 95 % of a normal distribution", "score of more defrosts than the frost asks for"
    ),
    "answer_no_defrost_coats": Limit(
        2.5,
        "-",
        "common practice: two coats and a half without a defrost close a coil",
        "coats of frost since the last defrost",
    ),
    "answer_long_defrost_min": Limit(
        6.0, "min", "common practice: 2 to 6 minutes; makers end one at 8 to 12", "length of a defrost"
    ),
    "answer_usual_nights": Limit(
        3.0, "nights", "common practice: fewer nights are no habit", "nights to compare with", "below"
    ),
}
