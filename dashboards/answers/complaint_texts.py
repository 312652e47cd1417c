"""Texts about cold rooms, hot water, noise and ice: causes, numbers, reasons and next steps."""

from __future__ import annotations

TITLES: dict[str, str] = {
    "cold": "Why it is cold",
    "hot-water": "Why the hot water ran out",
    "noise": "What makes the noise",
    "ice": "Why the unit is full of ice",
}
STEPS: dict[str, str] = {
    "target": "Set temperature",
    "set_back": "Night set-back",
    "thermostat": "Thermostat",
    "valve": "Valves of the zone",
    "flow_temperature": "Flow temperature",
    "emitters": "Radiators or floor (EN 442)",
    "water_flow": "Water flow",
    "output": "Heat pump's output",
    "house_loss": "Heat loss of the house",
    "windows": "Windows and doors",
    "as_set": "As warm as set",
    "other_source": "The other heat source",
    "stopped": "Heat pump stopped",
    "not_cold": "Water in the cylinder",
    "schedule": "Time programme",
    "setpoint": "Hot-water setpoint",
    "setpoint_missed": "Setpoint reached",
    "loss": "Standing loss",
    "slow": "Length of a reheat",
    "drawn_more": "Water drawn",
    "small": "Size of the cylinder",
    "air": "Pressure and air",
    "defrosts": "Defrosts",
    "hot_water_at_night": "Hot water in these hours",
    "short_runs": "Starts",
    "high_speed": "Speed",
    "water_noise": "Water in the pipes",
    "quiet": "Nothing unusual measured",
    "no_frost": "Frost in these hours",
    "no_defrosts": "Defrosts that do not come",
    "incomplete": "Defrosts that do not clear",
    "too_often": "Too many defrosts",
    "meltwater": "Meltwater",
    "usual_rime": "Usual rime",
}
STATES: dict[str, str] = {
    "binds": "this is it",
    "adds": "makes it worse",
    "fine": "not the cause",
    "unknown": "not known",
    "not_here": "does not apply",
}
STATES_OF: dict[tuple[str, str], str] = {
    ("not_cold", "fine"): "it was cold",
    ("no_frost", "fine"): "cold enough for it",
    ("quiet", "fine"): "not so",
}
"""(step, state) -> its words where the step asks whether the complaint itself is measured."""

SAID: dict[str, str] = {
    "target": "The rooms follow their set temperature, and that is low.",
    "set_back": "The rooms are still coming back from the night set-back in these hours.",
    "other_source": "The heat source beside the heat pump had to give heat in these hours, and did not.",
    "stopped": "The heat pump stood still while it was needed.",
    "thermostat": (
        "The room thermostat does not call for heat although the room is below its set temperature."
    ),
    "valve": (
        "Warm water is there, but this zone takes little of it: its valve or radiators are "
        "closed, stuck or full of air."
    ),
    "flow_temperature": (
        "The water is cooler than designed for this weather: the heating curve is set too low."
    ),
    "emitters": "The water is as warm as designed, but the radiators give less than the house needs.",
    "water_flow": "Too little water flows to carry the heat.",
    "output": "The heat pump gives all it can and that is not enough.",
    "house_loss": "The house loses clearly more heat than it was designed for.",
    "windows": "Heat leaves faster than through a closed house: windows or doors are open in these hours.",
    "as_set": (
        "The rooms that are measured were as warm as they are set, or warmer. What feels cold is a room "
        "without a sensor, or the place: a draught, a cold wall, or a sensor in a warm spot."
    ),
    "not_cold": (
        "The water in the cylinder stayed warm enough in these hours. The trouble is behind the "
        "cylinder, at the tap."
    ),
    "schedule": (
        "The cylinder was cold and waited: the time programme, or a switch, kept it from being reheated."
    ),
    "setpoint": "The hot-water setpoint is too low to give much water for washing.",
    "setpoint_missed": "Reheats end before their setpoint is reached.",
    "loss": "The cylinder loses its heat too fast, by its insulation or by a circulation pipe.",
    "slow": "Reheats take much longer than they should.",
    "drawn_more": "More hot water was drawn than in the weeks before.",
    "small": "More water is drawn in one go than the cylinder gives.",
    "air": "The pressure of the heating water is low, so air gathers and gurgles.",
    "defrosts": "The unit defrosts often in these hours: it hisses, clunks and steams.",
    "hot_water_at_night": "The cylinder is reheated in these hours, and the unit runs hard for it.",
    "short_runs": "The unit starts and stops all the time.",
    "high_speed": "Compressor and fan run near their greatest speed in these hours.",
    "water_noise": "More water than needed is pumped, and it is heard in pipes and valves.",
    "quiet": (
        "Nothing in the readings of these hours is unusual. The noise then comes from mounts, "
        "pipes or the place itself."
    ),
    "no_frost": (
        "It was too warm for frost to settle in these hours: ice that is there now is left from colder days,"
        " or it lies elsewhere."
    ),
    "no_defrosts": "Frost for several defrosts has settled and the unit did not defrost.",
    "incomplete": "Defrosts drag on without enough heat, so ice stays behind.",
    "too_often": "The unit defrosts more often than the frost asks for.",
    "meltwater": "Defrosts work, but in lasting frost their meltwater freezes again under the unit.",
    "usual_rime": (
        "Frost and defrosts are as expected in this weather: white rime between two defrosts is usual."
    ),
}
"""The sentence of the step that binds."""
SAID_BY_REASON: dict[tuple[str, str], str] = {
    (
        "defrosts",
        "by_frost",
    ): "What is heard are defrosts, and there are as many as the frost asks for: they hiss, clunk and steam.",
    (
        "set_back",
        "lowered",
    ): "Most of these hours lie in the night set-back, with its lower set temperature.",
    ("set_back", "not_back"): "The rooms are not back from the night set-back before the next one begins.",
    ("not_cold", "above_sensor"): (
        "The cylinder's sensor was cold at times, but the water above it was probably still warm enough. Look"
        " at the tap first."
    ),
    ("loss", "by_day"): (
        "By day the cylinder loses its heat too fast, at night it does not: hot water circulates by day."
    ),
}
"""(step, reason) -> the sentence in its stead."""

UNSEEN: dict[str, str] = {
    "no_hot_water": "The site file says that the system makes no hot water.",
    "no_cylinder_sensor": (
        "Whether the water in the cylinder was cold is not known: no cylinder temperature is read. What else"
        " is measured shows no cause."
    ),
}
"""The sentence where nothing binds because the complaint itself is not measured."""

UNSOLVED: dict[str, str] = {
    "cold": "The readings of these hours show no cause.",
    "hot-water": "The cylinder was cold, and none of the causes that can be measured explains it.",
    "noise": "The readings of these hours can't tell.",
    "ice": "The readings can't tell.",
}

VALUES: dict[str, tuple[str, int]] = {
    "room": ("room", 1),
    "target": ("set temperature", 1),
    "design_room": ("designed room temperature", 1),
    "set_back_depth": ("depth of the set-back", 1),
    "share_in_set_back": ("cold time in the set-back or after it", 0),
    "share_reached_later": ("time at set temperature before the next set-back", 0),
    "night_fall": ("fall by night", 1),
    "rising_share": ("heat while rooms come back, of what the house needs", 0),
    "rise": ("rooms rise by", 1),
    "needed_rise": ("needed to be back in time", 1),
    "running_share": ("time that it ran", 0),
    "longest_stop": ("longest stop meanwhile", 1),
    "faults": ("faults reported", 0),
    "call_share": ("cold time with a call for heat", 0),
    "gap": ("lacks more than the best other zone", 1),
    "emission": ("heat taken, of what the radiators can give", 0),
    "weight": ("weight of this cause", 0),
    "flow": ("flow temperature", 1),
    "designed_flow": ("designed for this weather", 1),
    "asked_flow": ("asked for by the controls", 1),
    "below_curve": ("below the designed curve", 1),
    "able_kw": ("radiators can give at this water", 1),
    "need_kw": ("house needs in this weather", 1),
    "need_design_kw": ("needed by the design", 1),
    "loss_ratio": ("measured over designed heat loss", 2),
    "flow_rate": ("water flow", 2),
    "nominal_flow": ("nominal", 2),
    "lift": ("flow less return", 1),
    "output_share": ("output over the rating", 0),
    "lacking_share": ("heating time with too cool water", 0),
    "steepest_fall": ("steepest fall of the room", 1),
    "closed_fall": ("usual fall without heat", 1),
    "falls_a_day": ("steep falls", 1),
    "extra_loss": ("heat given over what the closed house loses", 2),
    "tank_lowest": ("lowest at the cylinder", 0),
    "cold_minutes": ("time below 40 °C", 0),
    "powerless": ("without power", 1),
    "waiting_share": ("cold time in which nothing reheats", 0),
    "due_minutes": ("time cold enough to be reheated", 0),
    "charges_a_day": ("reheats", 1),
    "charge_minutes": ("usual reheat", 0),
    "full_charge_minutes": ("a full reheat", 0),
    "setpoint": ("setpoint", 0),
    "full_c": ("reached when full", 0),
    "loss_w_per_k": ("standing loss", 1),
    "loss_by_day_w_per_k": ("the same by day", 1),
    "usual_loss_w_per_k": ("expected of its size", 1),
    "slowness": ("length over the expected", 2),
    "charge_flow_rate": ("flow during reheats", 2),
    "over_cylinder": ("water over cylinder at the end", 0),
    "drawn_a_day": ("drawn a day, at 40 °C", 0),
    "usual_a_day": ("a day in the weeks before", 0),
    "drawn_ratio": ("now over before", 2),
    "largest_draw": ("most between two reheats", 0),
    "v40_drawn": ("what the cylinder gave when it was emptied (V40)", 0),
    "v40_at_least": ("the most it gave so far", 0),
    "v40_whole_volume": ("were its whole volume hot", 0),
    "turns": ("largest draw over that", 2),
    "lowest_bar": ("lowest pressure", 1),
    "defrosts_a_night": ("defrosts", 1),
    "usual_defrosts": ("usual here", 1),
    "defrost_minutes": ("length of a defrost", 0),
    "charging_share": ("running time for hot water", 0),
    "charges_a_night": ("reheats", 1),
    "starts_an_hour": ("starts", 1),
    "run_minutes": ("usual run", 0),
    "fast_share": ("running time near full speed", 0),
    "mean_speed": ("mean speed", 0),
    "target_raised": ("set temperature raised", 1),
    "flow_share": ("water flow over nominal", 2),
    "defrosts": ("defrosts", 0),
    "defrosts_due": ("expected by the frost", 0),
    "coats_each": ("coats of frost to each defrost", 1),
    "drawn_share": ("melting heat over rated output", 0),
    "score": ("beyond the expected, in times its usual spread", 1),
    "frost_share": ("time below freezing", 0),
    "outdoor": ("outdoor mean", 1),
    "outdoor_lowest": ("lowest outdoors", 1),
    "works_below": ("works below", 1),
    "other_kw": ("heat that it gave", 1),
}
"""Value code -> its name, decimals. Shares are shown as percentages."""
PER_CENT = frozenset(
    {
        "share_in_set_back",
        "share_reached_later",
        "rising_share",
        "running_share",
        "call_share",
        "emission",
        "weight",
        "output_share",
        "lacking_share",
        "waiting_share",
        "charging_share",
        "fast_share",
        "mean_speed",
        "frost_share",
        "drawn_share",
    }
)
HIDDEN = frozenset({"largest_at", "score", "weight"})
TIMES: dict[str, str] = {
    "slowness": "{} times the expected length",
    "drawn_ratio": "{} times the weeks before",
    "turns": "largest draw {} times that",
    "extra_loss": "heat given {} times what the closed house loses",
    "flow_share": "water flow {} times its nominal",
    "loss_ratio": "heat loss {} times the designed",
}
"""Ratios, in words around the number."""
NONE_OF: dict[str, str] = {
    "faults": "no faults reported",
    "falls_a_day": "no steep falls",
    "longest_stop": "no stop meanwhile",
    "set_back_depth": "no set-back",
    "due_minutes": "never cold enough to be reheated",
    "powerless": "",
    "target_raised": "",
}
"""What a value of nothing is called; empty: it is not shown."""
ALL_TAKEN = "while heating, the radiators give all they can"
"""Said where the heat taken is about what radiators can give, or more while they warm up."""
UNITS = {"K/h": "°C an hour", "1/d": "times a day", "1/h": "times an hour", "1/night": "times a night"}
SPOKEN_UNITS: dict[str, str] = {"K": "degrees", "l": "litres", "kW": "kilowatts"}
"""Unit -> as it is said on the phone."""

REASONS: dict[str, str] = {
    "no_room_sensor": "no room sensor",
    "no_target": "no set temperature is read",
    "as_asked": "the rooms are as warm as is set, or warmer",
    "lowered": "most of the cold time lies in the set-back itself",
    "not_back": "the rooms are not back before the next set-back",
    "no_running": "nothing tells when it runs",
    "no_output": "needs the heat output, or the set flow temperature beside the flow's own",
    "no_output_rating": "needs the flow temperature or the designed curve, and the unit's rating",
    "rooms_warm": "the rooms were not cold",
    "no_starts": "the readings are too far apart to count starts",
    "no_call": "no call of the thermostat is read",
    "one_zone": "one zone, and no emitters in the site file",
    "no_flow_or_curve": "needs flow temperature and the designed curve",
    "no_emitters": "needs the emitters in the site file, water temperatures and a heat loss",
    "emission_impossible": (
        "more heat than the emitters can give: their output in the site file, or a reading, can't be right"
    ),
    "no_heat_loss": "no heat loss measured yet",
    "no_flow_rate": "no water flow is read",
    "no_hot_water": "the system makes no hot water",
    "no_cylinder_sensor": "needs readings of the cylinder temperature",
    "no_charges": "no whole reheat in these days",
    "no_standing_time": "no calm hours to measure it",
    "setpoint_by_file": "by the site file; what is set now needs readings of the cylinder temperature",
    "no_charge_heat": "needs readings of the heat",
    "no_weeks_before": "no weeks before to compare",
    "no_pressure": "no pressure is read",
    "no_speed": "no compressor speed is read",
    "no_air": "the source is not air",
    "by_frost": "as many as the frost asks for",
    "above_sensor": "the water above the sensor was probably still warm",
    "by_day": "much faster by day than at night",
    "no_frost_or_output": "needs outdoor readings and the rated output",
    "no_defrost_signal": "needs a defrost signal, the operating mode or the heat every 2 minutes or closer",
    "few_defrosts": "too few defrosts in these days",
    "several_units": "several heat pumps share the load, and which one charged is not known",
    "no_outdoor": "no outdoor sensor",
    "not_its_turn": "too warm outdoors for it to work",
    "other_not_metered": "its heat is not metered",
    "not_the_pumps_turn": "the other heat source had to work in these hours",
    "other_makes_water": "another heat source makes part of the hot water",
    "turn_not_told": "the site file does not say when the boiler heats the cylinder",
    "works_now": "it works in this weather",
}

KINDS: dict[str, str] = {"phone": "On the phone", "setting": "Change this setting", "visit": "Go there"}
