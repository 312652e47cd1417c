"""Sentences with the numbers behind an answer: measured values, and what tomorrow should show.

Each code has sentences, the fullest first; the first whose numbers are all known is used.
"""

from __future__ import annotations

from collections.abc import Mapping
from string import Formatter

from fieldfare.dashboards.text.language import gettext as _

NUMBERS: dict[str, tuple[str, ...]] = {
    "target": ("The room averaged {room}; it is set to {target}, and the design says {design_room}.",),
    "set_back": (
        "The rooms rise by {rise}; to be warm in time they would have to rise by {needed_rise}.",
        "By night the rooms are set {set_back_depth} lower.",
    ),
    "other_source": ("It gave {other_kw} in these hours.",),
    "stopped": ("Its longest stop was {longest_stop}.",),
    "thermostat": ("It called for heat in {call_share} of the cold time.",),
    "valve": (
        "It is {gap} further below its set temperature than the best other zone.",
        "It takes {emission} of the heat that its radiators or floor can give.",
    ),
    "flow_temperature": ("The flow was at {flow}; the design says {designed_flow} for this weather.",),
    "emitters": ("They can give {able_kw} at this water; the house needs {need_kw}.",),
    "water_flow": (
        "The flow was {flow_rate}; nominal is {nominal_flow}.",
        "Flow and return differ by {lift}.",
    ),
    "output": (
        "It ran for {running_share} of the cold time, at {output_share} of its rating.",
        "It ran for {running_share} of the cold time, and the water stayed too cool.",
    ),
    "house_loss": ("It loses {loss_ratio} times the designed heat.",),
    "windows": (
        "The house took {extra_loss} times the heat that it loses closed.",
        "A room fell by up to {steepest_fall}; without heat it usually falls by {closed_fall}.",
    ),
    "not_cold": ("The coolest at the sensor was {tank_lowest}.",),
    "schedule": ("For {waiting_share} of the cold time nothing reheated it.",),
    "setpoint": ("It is set to {setpoint}.",),
    "setpoint_missed": ("Reheats end at {full_c}; the setpoint is {setpoint}.",),
    "loss": ("It loses {loss_w_per_k}; a cylinder of its size loses {usual_loss_w_per_k}.",),
    "slow": ("A full reheat takes {full_charge_minutes}, {slowness} times the expected.",),
    "drawn_more": ("It was {drawn_a_day} a day at 40 °C, after {usual_a_day} in the weeks before.",),
    "small": (
        "The cylinder gives {v40_drawn} at 40 °C; the largest draw took {largest_draw}.",
        "The most that the cylinder gave so far is {v40_at_least} at 40 °C.",
    ),
    "air": ("The lowest pressure was {lowest_bar}.",),
    "defrosts": ("It defrosts {defrosts_a_night}; usual here is {usual_defrosts}.",),
    "hot_water_at_night": ("The cylinder is reheated {charges_a_night}.",),
    "short_runs": ("It starts {starts_an_hour}; a usual run lasts {run_minutes}.",),
    "high_speed": ("That is {fast_share} of the running time.",),
    "water_noise": ("The flow is {flow_share} times its nominal.",),
    "no_frost": ("The coldest outdoors was {outdoor_lowest}.",),
    "no_defrosts": ("Defrosts so far: {defrosts}; the frost asks for {defrosts_due}.",),
    "incomplete": ("A defrost takes {defrost_minutes}.",),
    "too_often": ("Defrosts so far: {defrosts}; the frost asks for {defrosts_due}.",),
    "meltwater": ("It was below freezing for {frost_share} of the time.",),
    "usual_rime": ("Defrosts so far: {defrosts}; the frost asks for {defrosts_due}.",),
}
"""The sentence after the one that names the cause."""
NUMBERS_BY_REASON: dict[tuple[str, str], tuple[str, ...]] = {
    ("set_back", "lowered"): ("By night the rooms are set {set_back_depth} lower.",),
    ("not_cold", "above_sensor"): (
        "The coolest at the sensor was {tank_lowest}. The largest draw took {largest_draw} at 40 °C; a full"
        " cylinder holds {v40_whole_volume}.",
    ),
    ("loss", "by_day"): (
        "It loses {loss_by_day_w_per_k} by day and {loss_w_per_k} at night; a cylinder of its size loses"
        " {usual_loss_w_per_k}.",
    ),
}
"""(step, reason) -> the sentences in their stead."""
NOT_AT_HOME = frozenset({"loss", "output"})
"""Steps whose numbers say nothing to a household."""


def filled(sentences: tuple[str, ...], known: Mapping[str, str]) -> str:
    """The first sentence whose numbers are all known, in the reader's language; empty if there is none."""
    for sentence in sentences:
        fields = {part[1] for part in Formatter().parse(sentence) if part[1] is not None}
        if fields <= set(known):
            return _(sentence).format_map(known)
    return ""
