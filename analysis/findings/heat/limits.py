"""Limits of the findings on heat: heating curve, heat loss, capacity and room temperature."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

_HEAT_LOSS = (
    "reference 6.2: measured coefficients of lived-in homes scatter by 7 to 20 %, so flag only outside about"
    " 20 %"
)

LIMITS_HEAT: dict[str, Limit] = {
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
    "flow_below_curve_watch_k": Limit(
        5.0,
        "K",
        "EN 442: at 40 °C less 5 K radiators give a third less heat into 20 °C (exponent 1.3)",
        "flow below the designed curve, from which the rooms may lack heat",
    ),
    "flow_below_curve_act_k": Limit(
        8.0,
        "K",
        "EN 442: at 40 °C less 8 K radiators give half of the heat",
        "the same with cold rooms, from which it must be set or mended",
    ),
    "flow_below_curve_days": Limit(
        5.0,
        "days",
        "common practice: a week of work, so that a quiet weekend or a power cut does not count",
        "days on which it was so",
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
        "common practice: a cylinder's daily charge takes an hour; less can't be told apart from it",
        "mean space heating on warm days, from which it is reported",
    ),
    "warm_days": Limit(
        5.0,
        "days",
        "common practice: controls average the weather over a day or two",
        "warm days with heating, from which it is more than a note",
    ),
    # heat loss
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
    "heat_loss_gains_beyond": Limit(
        2.0,
        "-",
        "two standard deviations: one dwelling in forty has so much by people and appliances alone",
        "free heat beyond the usual, over the spread of dwellings and of the fit, from which a heater that"
        " nobody meters is likely",
    ),
    "heat_loss_free_share": Limit(
        0.5,
        "-",
        "common practice: what is metered should be the greater part",
        "share of the loss that sun, people and unmetered heat cover, from which a house unlike its design is"
        " only noted",
    ),
    "heat_loss_sure": Limit(
        0.06,
        "-",
        "common practice: the whole 95 % interval beyond a rounding of the design",
        "how far the interval must stay from 1",
    ),
    "heat_loss_likely": Limit(
        0.9,
        "-",
        "common practice: nine in ten are enough to look again, not to visit",
        "probability that the loss is beyond this, from which a leakier house is watched",
    ),
    "overheated_k": Limit(
        2.0,
        "K",
        "common practice: rooms kept a kelvin or two warmer than designed are a wish; beyond, nobody asked"
        " for the heat (ISO 7730 category B: 2 K, from memory)",
        "rooms above the designed temperature while heated, from which the house's balance can't be read",
    ),
    # capacity
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
    # rooms
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
    "room_emission_shut": Limit(
        0.6,
        "-",
        "EN 442 with a quarter of doubt in the emitters' sizes (common practice): open emitters give what"
        " they can",
        "heat given over what the emitters can give at this water temperature, below which valves are shut"
        " and no warmer water is advised",
        "below",
    ),
    "room_cold_c": Limit(
        16.0,
        "°C",
        "WHO Housing and health guidelines 2018: 18 °C at least; 2 K for rooms kept cool on purpose (common"
        " practice)",
        "daytime mean of a zone without a set temperature of its own",
        "below",
    ),
    "room_below_design_k": Limit(
        3.0,
        "K",
        "common practice: rooms kept cooler than designed are half a kelvin below it, within one and a half;"
        " one in twenty is further",
        "room without a set temperature of its own below the design's",
    ),
    "room_heated_kwh": Limit(
        5.0,
        "kWh",
        "common practice: two hours of a small unit's least output",
        "heat to the rooms, from which a day without long runs is one of heating",
    ),
    "room_set_back_k": Limit(
        2.0,
        "K",
        "common practice: radiators make up for two kelvin in the 2 to 4 hours before people rise",
        "fall of the rooms by night, from which a set-back may be what leaves them cool by day",
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
