"""Actions for a complaint by cause: by phone, by a setting, on site; and what to check tomorrow."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from fieldfare.analysis.answers.hours import Hours, Step
from fieldfare.analysis.cautions import (
    FUEL,
    HOT_WATER,
    ICE,
    LICENSED,
    MAINS,
    PAUSED,
    SCALD,
    of_setpoint,
)


class Action(NamedTuple):
    """kind : phone, setting or visit. code : of the action; the display adds its text. bring : tools, for a
    visit. home : whether the household may do it"""

    kind: str
    code: str
    bring: tuple[str, ...] = ()
    home: bool = False


class Plan(NamedTuple):
    """do : actions in order. tomorrow : code of the check that shows success"""

    do: tuple[Action, ...]
    tomorrow: str


_HOUSEHOLD = (
    "air_briefly",
    "ask_more",
    "coil_clear",
    "do_not_chip",
    "drain_look",
    "draughts",
    "free_radiators",
    "hot_water_switched_on",
    "later_set_back",
    "leave_valves_open",
    "look_at_other_source",
    "open_valves",
    "raise_target",
    "read_display",
    "read_pressure",
    "rime_is_usual",
    "rime_or_ice",
    "shallower_set_back",
    "spread_draws",
    "thermostat_place",
    "what_heats_water",
    "what_noise",
    "where_cold",
    "which_room",
    "which_tap",
)
"""By phone; the household may do it by itself."""
_PHONE = ("circulation_timer",)
"""By phone, with the installer's help."""
_SETTINGS = (
    "charge_by_day",
    "earlier_start",
    "longer_runs",
    "no_quiet_mode",
    "open_programme",
    "pump_lower",
    "quiet_hours",
    "raise_curve",
    "raise_setpoint",
    "second_charge",
)
_VISITS = {
    "coil_check": ("descaler and pump", "strainer kit", "air vent key"),
    "cycling_check": ("thermometer pair",),
    "defrost_check": ("coil brush", "thermometer pair"),
    "defrost_start_check": ("multimeter", "sensor"),
    "drain_check": ("drain heater", "coil brush"),
    "emitters_check": ("thermometer pair", "air vent key"),
    "flow_check": ("strainer kit", "air vent key", "pressure gauge"),
    "free_valve": ("spare valve actuator", "thermometer pair", "air vent key"),
    "look_on_site": ("thermometer pair",),
    "loss_check": ("thermometer pair",),
    "loss_of_cylinder": ("pipe insulation", "thermometer pair"),
    "melting_heat_check": ("strainer kit", "thermometer pair"),
    "mounts_check": ("rubber mounts", "screwdriver"),
    "other_source_check": ("thermometer pair",),
    "output_check": ("thermometer pair", "coil brush"),
    "reach_check": ("thermometer pair", "descaler and pump"),
    "restart_unit": ("multimeter", "fault code list"),
    "tap_check": ("thermometer",),
    "thermostat_check": ("spare batteries", "room thermostat"),
    "vent_and_fill": ("air vent key", "pressure gauge"),
}
"""On site, with what to bring."""
_ACTIONS = {
    **{code: Action("phone", code, home=True) for code in _HOUSEHOLD},
    **{code: Action("phone", code) for code in _PHONE},
    **{code: Action("setting", code) for code in _SETTINGS},
    **{code: Action("visit", code, bring) for code, bring in _VISITS.items()},
}


def _plan(*codes: str, tomorrow: str) -> Plan:
    return Plan(tuple(_ACTIONS[code] for code in codes), tomorrow)


PLANS: dict[str, dict[str, Plan]] = {
    "cold": {
        "target": _plan("raise_target", tomorrow="room_follows_target"),
        "set_back": _plan("shallower_set_back", "earlier_start", tomorrow="room_at_hour"),
        "other_source": _plan("look_at_other_source", "other_source_check", tomorrow="other_source_gives"),
        "stopped": _plan("read_display", "restart_unit", tomorrow="unit_runs"),
        "thermostat": _plan("thermostat_place", "thermostat_check", tomorrow="calls_when_cold"),
        "valve": _plan("open_valves", "free_valve", tomorrow="zone_catches_up"),
        "flow_temperature": _plan("raise_curve", "leave_valves_open", tomorrow="flow_on_curve"),
        "emitters": _plan("free_radiators", "emitters_check", tomorrow="room_after_cold_day"),
        "water_flow": _plan("flow_check", tomorrow="flow_rate_back"),
        "output": _plan("no_quiet_mode", "output_check", tomorrow="flow_reached"),
        "house_loss": _plan("draughts", "loss_check", tomorrow="room_after_cold_day"),
        "as_set": _plan("which_room", "where_cold", "draughts", tomorrow="both_thermometers"),
        "windows": _plan("air_briefly", tomorrow="no_falls"),
    },
    "hot-water": {
        "not_cold": _plan("which_tap", "tap_check", tomorrow="tank_stays_warm"),
        "other_source": _plan("look_at_other_source", "other_source_check", tomorrow="tank_stays_warm"),
        "stopped": _plan("read_display", "restart_unit", tomorrow="unit_runs"),
        "schedule": _plan("open_programme", "hot_water_switched_on", tomorrow="charged_before_need"),
        "setpoint": _plan("raise_setpoint", tomorrow="tank_reaches"),
        "setpoint_missed": _plan("reach_check", tomorrow="tank_reaches"),
        "loss": _plan("circulation_timer", "loss_of_cylinder", tomorrow="cools_slower"),
        "slow": _plan("coil_check", tomorrow="charge_shorter"),
        "drawn_more": _plan("spread_draws", "second_charge", tomorrow="tank_stays_warm"),
        "small": _plan("second_charge", "spread_draws", tomorrow="tank_stays_warm"),
    },
    "noise": {
        "air": _plan("read_pressure", "vent_and_fill", tomorrow="pressure_holds"),
        "defrosts": _plan("coil_clear", "defrost_check", tomorrow="fewer_defrosts"),
        "hot_water_at_night": _plan("charge_by_day", tomorrow="no_charge_at_night"),
        "short_runs": _plan("longer_runs", "cycling_check", tomorrow="fewer_starts"),
        "high_speed": _plan("quiet_hours", "shallower_set_back", tomorrow="slower_at_night"),
        "water_noise": _plan("pump_lower", tomorrow="flow_near_nominal"),
        "quiet": _plan("what_noise", "mounts_check", tomorrow="listen_again"),
    },
    "ice": {
        "no_frost": _plan("rime_or_ice", "do_not_chip", tomorrow="ask_again"),
        "no_defrosts": _plan("do_not_chip", "defrost_start_check", tomorrow="defrosts_again"),
        "incomplete": _plan("do_not_chip", "melting_heat_check", tomorrow="shorter_defrosts"),
        "too_often": _plan("coil_clear", "defrost_check", tomorrow="fewer_defrosts"),
        "meltwater": _plan("drain_look", "drain_check", tomorrow="drain_free"),
        "usual_rime": _plan("rime_is_usual", tomorrow="clears_in_defrost"),
    },
}
"""Complaint -> cause -> what to do. Refrigerant work is for certified people and is never part of a plan."""

BY_REASON: dict[tuple[str, str], Plan] = {
    ("defrosts", "by_frost"): _plan("rime_is_usual", "mounts_check", tomorrow="listen_again"),
    ("set_back", "lowered"): _plan("later_set_back", "shallower_set_back", tomorrow="room_at_hour"),
}
"""(cause, reason) -> the plan in its stead."""
ALL_HOURS = {"room_at_hour": "room_after_set_back"}
"""What to look at tomorrow where the caller named no hours."""

_UNTOLD: dict[str, Plan] = {
    "cold": _plan("ask_more", "look_on_site", tomorrow="ask_again"),
    "hot-water": _plan("which_tap", "look_on_site", tomorrow="tank_stays_warm"),
    "noise": _plan("what_noise", "mounts_check", tomorrow="listen_again"),
    "ice": _plan("rime_or_ice", "do_not_chip", "look_on_site", tomorrow="clears_in_defrost"),
}
"""Where the readings show no cause."""


_MADE_ELSEWHERE = _plan("what_heats_water", tomorrow="hot_water_entered")
"""Where the system makes no hot water."""


def plan_of(question: str, binding: Step | None, steps: Sequence[Step] = ()) -> Plan:
    """The plan for the limiting step; None if the readings show no cause."""
    if binding is None:
        if any(s.reason == "no_hot_water" for s in steps) and question == "hot-water":
            return _MADE_ELSEWHERE
        return _UNTOLD[question]
    return BY_REASON.get((binding.code, binding.reason), PLANS[question][binding.code])


def actions_of(plan: Plan, hours: Hours, binding: Step | None) -> dict[str, Any]:
    """`do` and `tomorrow` of a plan, JSON-ready; `tomorrow` has the numbers used in texts."""
    tomorrow = plan.tomorrow if hours.question.named else ALL_HOURS.get(plan.tomorrow, plan.tomorrow)
    return {
        "do": [{"kind": a.kind, "code": a.code, "bring": list(a.bring), "home": a.home} for a in plan.do],
        "tomorrow": {"code": tomorrow, **_numbers(hours, binding)},
    }


def _numbers(hours: Hours, binding: Step | None) -> Mapping[str, Any]:
    """setpoint_c; nominal_flow [m3/h]; raise_k : increase of the curve, if it is the cause"""
    water = hours.site.hot_water
    by_code = {v.code: v.value for v in binding.values} if binding else {}
    below = by_code.get("below_curve")
    return {
        "raise_k": float(round(below)) if isinstance(below, float) and below >= 1.0 else None,
        "setpoint_c": water.setpoint_c if water else None,
        "nominal_flow": hours.site.heat_pump.flow_m3_per_h,
    }


def cautions_of(question: str, binding: str | None, plan: Plan, hours: Hours) -> list[str]:
    """Cautions of the plan."""
    codes = {a.code for a in plan.do}
    cautions = []
    if question == "hot-water" and hours.site.hot_water is not None:
        cautions.append(
            of_setpoint(hours.site.hot_water.setpoint_c)
            if codes & {"raise_setpoint"} and hours.site.hot_water
            else HOT_WATER
        )
        if binding in ("stopped", "schedule"):
            cautions.append(PAUSED)
    if "charge_by_day" in codes:
        cautions.append(HOT_WATER)
    if question == "ice" or binding == "defrosts":
        cautions.append(ICE)
    if "restart_unit" in codes:
        cautions.append(MAINS)
    if binding == "other_source":
        cautions.append(FUEL)
    if codes & {"vent_and_fill", "flow_check", "coil_check", "free_valve"}:
        cautions += [LICENSED, SCALD] if "coil_check" in codes else [LICENSED]
    return [c for c in dict.fromkeys(cautions) if not any(c in other and c != other for other in cautions)]
