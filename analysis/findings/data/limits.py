"""Limits of the findings about the data."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

LIMITS_DATA: dict[str, Limit] = {
    "gap_watch_hours": Limit(
        48.0,
        "h",
        "common practice: two days lost are a fifteenth of a month, past the 5 % that a month's figure bears",
        "hours without any reading on the newest days (gap_recent_days), from which the gateway may fail"
        " again",
    ),
    "gap_recent_days": Limit(
        14.0,
        "days",
        "common practice: a fortnight without a failure shows that a repair has held",
        "newest days on which readings lost in a gap that is over are more than a note",
        "below",
    ),
    "gap_repeats": Limit(
        3.0,
        "gaps",
        "common practice: twice is chance, thrice a habit",
        "gaps of a whole day or more, from which the time between them says when the next one is due",
    ),
    "gap_long_days": Limit(
        14.0,
        "days",
        "common practice: half a month; neither its figures nor how the home fared are known",
        "length of a gap that is over, from which it stays to be watched",
    ),
    "gap_watch_share": Limit(
        0.01,
        "-",
        "common practice: a hundredth of a period moves its totals less than its meters' classes do",
        "share of the period without any reading, below which a gap that is over is only worth a note",
        "below",
    ),
    "gap_ongoing_days": Limit(
        3.0,
        "days",
        "common practice: a power cut or a router's restart is over by then",
        "whole days of silence to this day, from which the gateway or sensor needs someone",
    ),
    "stuck_missing_changes": Limit(
        40.0,
        "changes",
        "a value that changes so often by its own habit and does not once: chance is below 1 in 10 000 even"
        " where changes come in clusters of four (Poisson)",
        "changes of value that did not come, from which a sensor is stuck",
    ),
    "stuck_days_unknown_habit": Limit(
        4.0,
        "days",
        "common practice: air and water that are heated by day never keep to the tenth of a kelvin so long",
        "days without a change, from which a sensor is stuck whose habit is not known",
    ),
    "stuck_flicker_k": Limit(
        0.3,
        "K",
        "common practice: a converter's noise is a few tenths of a kelvin, and air outdoors moves by more"
        " within two days in any weather",
        "span of two days' outdoor temperatures, up to which its sensor stands still but for noise",
    ),
    "impossible_share": Limit(
        0.05,
        "-",
        "common practice: single bad readings come with every radio link; one in twenty is a bad contact",
        "share of a day's readings that can't be true, from which the sensor or its cable is at fault",
    ),
    "belied_cylinder_days": Limit(
        3.0,
        "days",
        "common practice: a cylinder loses 3 to 8 K a day, so that three days leave no doubt",
        "days without any heat to a cylinder that stays warm",
    ),
    "belied_cylinder_share": Limit(
        0.3,
        "-",
        "common practice: the best insulated lose half of what class C may",
        "its fall over the fall that its standing loss makes",
        "below",
    ),
    "stuck_rooms_share": Limit(
        0.34,
        "-",
        "common practice: a mean of the rooms with one of three standing still moves by a third of what the"
        " others do",
        "share of the room sensors that are stuck, up to which the house's mean temperature is still used",
    ),
    "resets_watch": Limit(
        2.0,
        "resets",
        "common practice: one is a meter's exchange or a power cut; a second has a cause that comes again",
        "resets in the period, from which the meter needs a look",
    ),
    "resets_act": Limit(
        6.0,
        "resets",
        "common practice: each reset loses what was counted since the reading before it",
        "resets in the period, from which the meter can't be relied on",
    ),
    "swapped_lift_k": Limit(
        1.0,
        "K",
        "sensor pairs agree within 0.3 K (EN 60751 class A twice); a working unit gives 3 to 8 K the"
        " other way",
        "return above flow while the compressor works, above which the two are taken as swapped",
    ),
    "backwards_ratio": Limit(
        -0.5,
        "-",
        "common practice: defrosts take a tenth of the heat; half of the electricity as cold is no defrost",
        "heat over electricity, day by day in heating weather, that shows a meter the wrong way round",
        "below",
    ),
    "clock_minutes": Limit(
        15.0,
        "min",
        "water and meters follow the compressor within 1 to 5 minutes; tariffs and states are kept by the"
        " quarter hour",
        "lag between two meters, above which a clock is wrong",
    ),
    "clock_edge_minutes": Limit(
        4.0,
        "min",
        "heat begins 0 to 3 minutes after the compressor and ends 0 to 2 minutes after it (water in the unit,"
        " common practice)",
        "minutes by which both the beginnings and the ends of heat stray from the electricity's, above which"
        " a clock is wrong",
    ),
    "clock_day_minutes": Limit(
        15.0,
        "min",
        "common practice: a charge of the cylinder takes half an hour and more, so that most of its heat"
        " still falls into it, and a hundredth of a day's heat into the next day",
        "offset between two meters, above which sums of a day's heat by use can't be trusted either",
    ),
    "clock_edge_agree_minutes": Limit(
        4.0,
        "min",
        "slow water makes beginnings late and leaves ends as they are; a clock moves both alike",
        "difference between the two up to which a clock is the reason",
        "below",
    ),
    "clock_spacings": Limit(
        0.75,
        "spacings",
        "readings this far apart show a lag to about half of their spacing",
        "the same as a share of the wider spacing, where readings are far apart",
    ),
    "clock_likeness": Limit(
        0.55,
        "-",
        "a lag is read off days on which the two meters tell the same story: below, less than a third of"
        " one's swings are the other's",
        "correlation from which a day's lag is taken",
    ),
    "clock_flow_agrees": Limit(
        0.15,
        "-",
        "EN 1434 class 2 and flow sensors of class 2 agree within some 8 %: two standard uncertainties",
        "logarithm of heat by flow and temperatures over the meter's, up to which their clocks agree",
        "below",
    ),
    "clock_sun_minutes": Limit(
        40.0,
        "min",
        "the middle of a day's irradiance scatters by 20 to 40 minutes with the clouds, its mean of weeks by"
        " 10; a shaded sensor may add as much",
        "distance of the irradiance's middle from solar noon, above which a clock is wrong",
    ),
    "clock_air_hours": Limit(
        3.5,
        "h",
        "air is warmest 1 to 5 hours after solar noon in hourly years of six places; sensors in the sun at"
        " noon",
        "distance of the outdoor temperature's daily crest from 2.75 h after solar noon, above which a clock"
        " is wrong",
    ),
    "carnot_share": Limit(
        0.65,
        "-",
        "reference values 8: real units reach 0.35 to 0.5 of Carnot at the water's own temperatures; more"
        " than 0.65 over hours is a fault of the data",
        "share of the Carnot efficiency, above which a meter is wrong",
    ),
    "efficiency_most": Limit(
        7.5,
        "-",
        "the best part-load COP of any unit at A12/W35 stays below this (EN 14511 data, common practice);"
        " days have standby in them",
        "heat over the unit's electricity of a day, above which a meter is wrong whatever the temperatures",
    ),
    "efficiency_most_carnot": Limit(
        0.42,
        "-",
        "reference values 8: real units reach 0.35 to 0.5 of Carnot",
        "share of Carnot below which no ratio is too high where the air is measured",
    ),
    "efficiency_least": Limit(
        0.8,
        "-",
        "an electric heater gives 1; meters' errors together stay below 0.2 (EN 1434-1 class 3, MID class A)",
        "heat over the unit's electricity, below which a meter is wrong",
        "below",
    ),
    "heat_meter_share": Limit(
        0.12,
        "-",
        "EN 1434-1 class 2 at 5 K and half flow 5.4 %, a unit's own flow sensor 5 %, two temperature sensors"
        " 0.3 K each 8.5 % of 5 K: together 11 to 12 %",
        "disagreement of heat meter and flow times temperatures at 5 K difference",
    ),
    "flow_product_minutes": Limit(
        15.0,
        "min",
        "domestic runs last 20 to 60 minutes (reference values 9.3): means over longer hold parts of runs and"
        " rests",
        "spacing of flow rate and temperatures, above which their product does not stand for heat",
    ),
    "flow_product_share": Limit(
        0.1,
        "-",
        "common practice for sampled signals: if a tenth of the heat comes in runs seen at two readings or"
        " fewer, about as much falls between readings",
        "share of the heat from runs beside a run or rest no longer than two readings of flow and"
        " temperatures, above which their product does not stand for heat",
    ),
    "heat_meter_melts_min": Limit(
        2.5,
        "min",
        "common practice: a defrost takes 3 to 10 minutes",
        "spacing of flow rate and temperatures, above which a defrost may fall between two readings",
    ),
    "heat_meter_melts_share": Limit(
        0.17,
        "-",
        "common practice: five minutes of defrost an hour interrupt a twelfth of the heating and take about"
        " as much heat back",
        "share by which defrosts between two readings may lower the metered heat and not the product of flow"
        " rate and temperatures",
    ),
    "heat_meter_act": Limit(
        0.30,
        "-",
        "twice the limit and more: no sensor within its class explains it",
        "disagreement from which a visit is worth while",
    ),
    "heat_meter_note": Limit(
        0.09,
        "-",
        "a class 2 or 3 meter's own limit at usual flow and difference is 5 to 8 % (EN 1434-1)",
        "disagreement that is worth a word though the sensors' classes allow it",
    ),
    "antifreeze_share": Limit(
        0.03,
        "-",
        "a class 2 meter's own error at usual flow and difference is about 3 % as a standard uncertainty (EN"
        " 1434-1)",
        "over-reading by antifreeze, above which it shows in the figures",
    ),
    "misplaced_sure": Limit(
        0.8,
        "-",
        "common practice: a visit to a meter's place is worth while where four in five such cases are"
        " found so",
        "probability that a meter measures something else than declared, from which it is reported",
    ),
    "misplaced_note": Limit(
        0.1,
        "-",
        "common practice: an interval that is to hold 95 in 100 values can't leave out what is true in one of"
        " ten such cases",
        "the same, from which it is noted and the figures that rest on the meter are widened",
    ),
    "misplaced_doubt": Limit(
        0.25,
        "-",
        "common practice: a claim about a house is not made where one in four such cases is the meter's",
        "the same, from which what the house takes is not held against its design",
    ),
    "misplaced_act": Limit(
        0.92,
        "-",
        "common practice: figures that rest on it are withheld from then on",
        "the same, from which someone has to look at the meter",
    ),
    "outdoor_sun_k": Limit(
        2.5,
        "K",
        "screened air is warmed less than 1 K by the sun (WMO No. 8); a wall or a case in the sun gives 3 to"
        " 15 K",
        "warmth at noon beyond what the air's own daily course explains, in the brightest month",
    ),
    "outdoor_sun_slope_k": Limit(
        2.0,
        "K per 500 W/m2",
        "the air's daily course keeps its form through the year: at most 1.2 K in hourly years of six places"
        " (Amsterdam to Miami)",
        "growth of that warmth with the height of the sun",
    ),
    "outdoor_sun_plain_k": Limit(
        5.5,
        "K",
        "the largest month's mean in hourly years of six places is 4.8 K",
        "the same where the season is too short to see it grow with the sun",
    ),
    "outdoor_sun_act_k": Limit(
        6.0,
        "K",
        "an outdoor reading 6 K high lowers a usual heating curve by 4 to 9 K by day",
        "warmth at noon from which the sensor should move",
    ),
    "indoors_c": Limit(
        13.0,
        "°C",
        "common practice: plant rooms and cupboards keep 13 °C and more in the heating season",
        "outdoor temperature that may be an indoor one",
    ),
    "indoors_swing_k": Limit(
        3.0,
        "K",
        "common practice: outdoor air changes by 4 to 12 K a day, by less in fog alone",
        "change of the outdoor temperature within a day, up to which it may be an indoor one",
        "below",
    ),
    "indoors_heat_ratio": Limit(
        2.5,
        "-",
        "common practice: a house loses up to twice what its design says; gains make the heat given smaller",
        "heat given over the design's loss at the outdoor reading, above which the reading is not the air's",
    ),
    "outdoor_offset_free_k": Limit(
        1.0,
        "K",
        "common practice: internal gains of 3 to 5 W/m2 keep a house of 1 to 3 W/m2K some 1.5 to 4 K above"
        " the air by themselves",
        "rooms above the outdoor reading at which no heat is needed, below which the reading can't be the"
        " air's",
        "below",
    ),
    "outdoor_offset_usual_free_k": Limit(
        3.0,
        "K",
        "common practice: base temperatures lie 2 to 5 K below the rooms (CIBSE TM41)",
        "the same in a usual house, to say by how much the sensor is off",
    ),
    "outdoor_offset_curve_k": Limit(
        2.0,
        "K",
        "two good outdoor sensors agree within 0.5 K; by their places on the house within 1.5 K (common"
        " practice)",
        "flow above the designed curve, as kelvin outdoors, that an outdoor sensor off by so much explains",
    ),
    "outdoor_against_controls_k": Limit(
        1.5,
        "K",
        "the controls' own view of the weather, by their curve; two good sensors agree within 0.5 K",
        "excess over the controls' view between bright and dull days",
    ),
    "away_room_k": Limit(
        2.0,
        "K",
        "common practice: night set-back is 1 to 3 K and over by morning; a whole day's mean this low is an"
        " absence",
        "fall of the rooms' or the target's daily mean below its usual level",
    ),
    "away_days": Limit(
        3.0,
        "days",
        "common practice: shorter ones hide in the house's own storage",
        "days that make an absence",
    ),
    "settling_days": Limit(
        42.0,
        "days",
        "common practice: commissioning returns and householders find their settings in the first six weeks",
        "days after hand-over in which settings still move",
    ),
    "party_ratio": Limit(
        2.2,
        "-",
        "daily hot water of households scatters by about a third (EN 16147 profiles, measured days): 2.2"
        " times the usual is beyond four in five thousand days",
        "a day's hot water over the usual day's",
    ),
    "other_heat_rise_k": Limit(
        0.6,
        "K",
        "common practice: people and cooking warm a house without heating by some tenths of a kelvin in an"
        " evening at most",
        "rise of the rooms over three dark hours in which the plant gives little",
    ),
    "other_heat_given_share": Limit(
        0.35,
        "-",
        "people, appliances and cooking give 2.1 to 4 W/m2 (Passive House Institute 2015), a third of the"
        " need of a cold evening",
        "the plant's heat in these hours over its usual heat at such an outdoor temperature",
        "below",
    ),
    "other_heat_over_k": Limit(
        8.0,
        "K",
        "common practice: below that, free heat carries many houses",
        "rooms above outdoors from which an evening needs heat",
    ),
    "other_heat_evenings": Limit(
        3.0,
        "days",
        "common practice: guests or a baking day come once",
        "evenings from which another heat source is reported",
    ),
    "other_heat_cylinder_k": Limit(
        8.0,
        "K",
        "water mixing in the cylinder moves its sensor by 1 to 5 K; a boiler, solar collector or heater gives"
        " 8 K and more in an hour",
        "rise of the cylinder in an hour without the plant's heat",
    ),
    "other_heat_at_rest_kwh": Limit(
        3.0,
        "kWh",
        "pumps that run on carry less than 1 kWh a day out of a unit and its pipes (common practice)",
        "heat of a day that the meter counts while the unit rests, from which another source is reported",
    ),
    "other_heat_at_rest_share": Limit(
        0.1,
        "-",
        "a pair of sensors 0.3 K apart at full flow shows 6 to 10 % of the heat at rest (IEC 60751 class B)",
        "the same as a share of the day's heat",
    ),
    "other_source_fewest_days": Limit(
        10.0,
        "days",
        "common practice: ten days of heating show how a plant runs",
        "days without the source beside, that a finding is judged on",
        "below",
    ),
    "other_heat_share_of_days": Limit(
        0.05,
        "-",
        "common practice: one evening in twenty moves a season's heat loss less than its own interval",
        "share of the heating days with heat from elsewhere, from which what the house needs is not compared"
        " with its design",
    ),
    "snap_below_design_k": Limit(
        0.0,
        "K",
        "EN 12831-1: the design's outdoor temperature is what the plant is sized for",
        "daily mean below the design's temperature",
    ),
}
