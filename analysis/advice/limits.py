"""Limits of advice: range of each setting, and uncertainty of the estimates."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

LIMITS_ADVICE: dict[str, Limit] = {
    "advice_fewest_days": Limit(
        21.0,
        "days",
        "common practice: three weeks of heating show how rooms follow the water",
        "too few heating days to advise from",
        "below",
    ),
    "advice_fewest_spread_k": Limit(
        5.0,
        "K",
        "common practice: a line needs some width",
        "outdoor temperatures too alike to tell a curve",
        "below",
    ),
    "advice_room_tolerance_k": Limit(
        0.3,
        "K",
        "common practice: half the switching band of a room thermostat, not felt",
        "a room counts as below its target",
    ),
    "advice_days_short": Limit(
        0.05, "-", "common practice: one day in twenty", "share of days on which a room may miss its target"
    ),
    "advice_step_k": Limit(
        2.0,
        "K per week",
        "common practice: a house needs some days to show a change",
        "the heating curve is changed too fast",
    ),
    "advice_emitter_doubt": Limit(
        0.15,
        "-",
        "common practice: rated output of emitters as found against their data sheets",
        "relative uncertainty of emitter output",
    ),
    "advice_response_doubt": Limit(
        1.5,
        "-",
        "common practice, no source",
        "least factor by which the measured response of valves may be wrong",
    ),
    "advice_response_doubt_most": Limit(
        3.0,
        "-",
        "common practice, no source: beyond it the emitters and the loss bound the room by themselves",
        "greatest factor by which the measured response of valves may be wrong",
    ),
    "advice_valves_shut_k": Limit(
        1.0,
        "K",
        "EN 215: thermostatic valves go from open to shut within about 2 K about their set temperature",
        "room above its target at which valves are shut",
    ),
    "advice_shut_days": Limit(
        0.5,
        "-",
        "common practice: half of the days",
        "valves are shut so far that a lower set temperature does little",
    ),
    "advice_valves_open": Limit(
        0.85,
        "-",
        "common practice: with the doubt of data sheets, what emitters give with all valves open",
        "share of the emitters' output that shows open valves",
    ),
    "advice_valves_gone_k": Limit(
        2.0,
        "K",
        "EN 215: every thermostatic valve is shut 2 K above its set temperature",
        "room above its target at which a valve that acts gives nothing",
    ),
    "advice_valves_half_open": Limit(
        0.5,
        "-",
        "common practice: by twice the doubt of data sheets no valve can be shut",
        "share of the emitters' output that a shut valve can't give",
    ),
    "advice_floats_k": Limit(
        1.5,
        "K",
        "common practice: a third of the switching difference of a unit's controls",
        "flow under what the curve asks for, at which the room and no longer the curve decides it",
    ),
    "advice_valves_move": Limit(
        0.3,
        "-",
        "common practice, no source: in homes without valves room and used share hardly go together",
        "correlation at comparable weather of the room with the emitters' used share that shows valves",
    ),
    "advice_influence_least": Limit(
        0.3,
        "-",
        "common practice: less is lost in the outdoor sensor's damping",
        "kelvins of flow for a kelvin of the room: room influence is on",
    ),
    "advice_influence_most": Limit(
        6.0, "-", "common practice: controls offer 1 to 5", "greatest room influence that is believed"
    ),
    "advice_bivalent_margin": Limit(
        1.1,
        "-",
        "common practice: hot water and defrosts take a tenth of the day in the cold",
        "output over load at which the heat pump carries the house",
        "below",
    ),
    "advice_bivalent_taken": Limit(
        0.6,
        "-",
        "common practice, no source",
        "least share of the heater's heat that the heat pump takes over",
        "below",
    ),
    "advice_buffer_drop_k": Limit(
        2.0, "K", "common practice: as for mixing at the buffer", "temperature lost in the buffer"
    ),
    "advice_buffer_left_k": Limit(
        0.5, "K", "common practice: pipes and sensors", "temperature lost in a buffer that does not mix"
    ),
    "advice_cylinder_gives": Limit(
        0.8,
        "-",
        "EN 16147: layers mix while water is drawn",
        "hot water drawn over what a full cylinder holds",
        "below",
    ),
    "advice_rest_fall_k": Limit(
        0.7,
        "K",
        "common practice: a fall of half a kelvin to a kelvin in the evening is hardly felt",
        "fall of the rooms while the heating rests",
    ),
    "advice_rest_hours": Limit(
        5.0, "h", "common practice: dear hours of a tariff last two to four", "rest of the heating"
    ),
    "advice_rest_kept": Limit(
        0.5,
        "-",
        "common practice, no source: part of the heat is made up in hours that cost more of it",
        "least share of the price difference that is saved",
        "below",
    ),
    "advice_running_share": Limit(
        0.9,
        "-",
        "common practice: hot water, defrosts and short stops take up to a tenth of the day",
        "share of the day with the unit heating, below which it rests",
        "below",
    ),
    "advice_one_speed": Limit(
        0.8,
        "-",
        "common practice: units without an inverter, and those that hardly go down",
        "least output of a unit over its rated one: it has one speed",
    ),
    "advice_above_least": Limit(
        1.3,
        "-",
        "common practice: a unit that stops because it gives too much runs near its least output",
        "output while heating over the least one",
    ),
    "advice_airing_c": Limit(
        24.0, "°C", "common practice: people open windows in rooms so warm", "mean of the rooms"
    ),
    "advice_airing_factor": Limit(
        2.5,
        "-",
        "common practice, no source: two air changes an hour more than double a house's loss",
        "greatest loss of an aired house over the closed one's",
    ),
    "advice_worth_kwh": Limit(
        25.0, "kWh", "common practice: about what a call costs", "a saving too small to advise", "below"
    ),
    "advice_lift_low_k": Limit(
        3.5,
        "K",
        "common practice: heat pumps are laid out for 5 K between flow and return",
        "the pump moves more water than the heat needs",
        "below",
    ),
    "advice_lift_k": Limit(5.0, "K", "common practice: design difference of flow and return", "wanted"),
    "advice_lift_high_k": Limit(
        9.0,
        "K",
        "common practice: nearly twice the design difference",
        "the pump moves too little water",
    ),
    "advice_pump_least": Limit(
        0.7,
        "-",
        "common practice: makers ask for a least flow; stay well above it",
        "pump setting lowered too far in one step",
        "below",
    ),
    "advice_setback_deepest_k": Limit(
        3.0,
        "K",
        "common practice: deeper set-backs need hotter water in the morning",
        "set-back deeper than advised",
    ),
    "advice_recovery_h": Limit(
        5.0,
        "h",
        "common practice: from 5 h in the morning to 10 h",
        "rooms come up too late after the night's set-back",
    ),
    "advice_cold_water_min": Limit(
        60.0,
        "minutes per week below 40 °C",
        "common practice: the cylinder is short as it is",
        "hot water runs short too often to save at it",
    ),
    "advice_reheat_gap_k": Limit(
        8.0,
        "K",
        "common practice: 6 to 10 K between setpoint and reheat",
        "difference at which the cylinder is reheated",
    ),
    "balance_room_open_k": Limit(
        1.0,
        "K",
        "common practice: half a kelvin either way is what people feel in a room",
        "how far a zone's room after other water may be open to be told as one temperature",
    ),
    "balance_apart_k": Limit(
        0.7,
        "K",
        "common practice: sensors and valves leave half a kelvin; people feel 1 K",
        "zones lie apart, each against its target",
    ),
    "balance_sensor_k": Limit(
        0.4,
        "K",
        "common practice: two room sensors of 0.3 K each",
        "half interval of the difference of two rooms",
    ),
    "balance_calls": Limit(
        0.9,
        "-",
        "common practice: a zone that rests for more than a tenth of the time is shut by its thermostat",
        "share of the time for which some zone calls for heat",
        "below",
    ),
    "balance_least_flow": Limit(
        0.4,
        "-",
        "common practice: less water lets a zone's flow and return lie 12 K apart",
        "water of a zone over its designed share",
        "below",
    ),
    "snap_fall_k": Limit(
        1.0,
        "K",
        "common practice: people feel a change of 1 K",
        "a cold snap leaves rooms so far under their target",
    ),
    "snap_held_k": Limit(
        0.7,
        "K",
        "common practice: switching band and set-back leave a room about so far from its target",
        "rooms further off their target are not held by a thermostat",
    ),
    "snap_load_doubt": Limit(
        0.05,
        "-",
        "common practice: wind and habits move the heat of some cold days by so much",
        "relative half interval of the load in a cold snap",
    ),
    "snap_emitter_doubt": Limit(
        0.15,
        "-",
        "common practice: rated output of emitters as found against their data sheets",
        "relative half interval of emitters that no day has measured",
    ),
    "snap_output_lost": Limit(
        0.3,
        "-",
        "common practice: what too little refrigerant, air or water may take of a unit's output",
        "relative half interval of a unit's output where a finding says that it lacks something",
    ),
    "tuning_short_days": Limit(
        2.0,
        "days a week",
        "common practice: one cold day may be an open window, two are not",
        "a step of tuning is taken back",
    ),
    "tuning_cold_water_min": Limit(
        60.0,
        "min a week",
        "common practice: a shower a day that is cut short",
        "a step of tuning is taken back",
    ),
    "tuning_worth_share": Limit(
        0.02,
        "-",
        "common practice: less is lost in the weather of a week",
        "share of the electricity that a further step must save",
        "below",
    ),
    "tuning_water_days": Limit(
        14.0,
        "days",
        "common practice: later shortages are guests or a fault, for the findings to tell",
        "hot water is no longer judged by the last step",
    ),
    "tuning_heated_days": Limit(
        7.0,
        "days of 14",
        "common practice: half of a fortnight",
        "rooms are heated too seldom to tune them",
        "below",
    ),
}
