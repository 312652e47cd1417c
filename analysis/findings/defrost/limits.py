"""Limits of the findings on defrosting."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

LIMITS_DEFROST: dict[str, Limit] = {
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
    "defrost_change_days": Limit(
        14.0,
        "days",
        "common practice: dirt takes two weeks to three to show, first in the one and then in the other",
        "days between a change of the efficiency and one of the defrosts that may have one cause",
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
        "the same, from which their number is reported",
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
    "timed_penalty": Limit(
        0.1,
        "-",
        "seasonal penalties of sound units are 5 to 10 % (reference 9.2, from memory): the upper end",
        "heat and electricity of a timer's defrosts over all heat, from which they are more than a note",
    ),
    "timed_needless": Limit(
        0.5,
        "-",
        "common practice: a timer wastes a third in a damp winter; more than half is a wrong setting",
        "share of a timer's defrosts that frost does not explain, from which it is more than a note",
    ),
    "timer_least_minutes": Limit(
        44.0,
        "min",
        "common practice: short timers stand at 45 minutes, the lock after a defrost at 30 to 45",
        "shortest usual running time between defrosts, from which an even spacing may be a short timer's",
    ),
    "timer_locked": Limit(
        0.85,
        "-",
        "common practice: the end of a run or a charge moves some",
        "share of the defrosts at that spacing, from which a timer sets them",
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
}
