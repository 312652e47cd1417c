"""Actions for a complaint by cause: by phone, by a setting, on site; and what to check tomorrow."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from fieldfare.analysis.answers.hours import Hours
from fieldfare.analysis.cautions import (
    HOT_WATER,
    ICE,
    LICENSED,
    MAINS,
    PAUSED,
    SCALD,
    of_setpoint,
)


class Action(NamedTuple):
    """kind : phone, setting or visit. code : what; its words are made where it is shown. bring : tools,
    for a visit
    home : the household may do it by itself"""

    kind: str
    code: str
    bring: tuple[str, ...] = ()
    home: bool = False


class Plan(NamedTuple):
    """do : in the order in which to do it. tomorrow : code of what shows that it helped"""

    do: tuple[Action, ...]
    tomorrow: str


_THERMOMETERS = ("thermometer pair", "air vent key")
PLANS: dict[str, dict[str, Plan]] = {
    "cold": {
        "target": Plan((Action("phone", "raise_target", home=True),), "room_follows_target"),
        "set_back": Plan(
            (Action("phone", "shallower_set_back", home=True), Action("setting", "earlier_start")),
            "room_at_hour",
        ),
        "stopped": Plan(
            (
                Action("phone", "read_display", home=True),
                Action("visit", "restart_unit", ("multimeter", "fault code list")),
            ),
            "unit_runs",
        ),
        "thermostat": Plan(
            (
                Action("phone", "thermostat_place", home=True),
                Action("visit", "thermostat_check", ("spare batteries", "room thermostat")),
            ),
            "calls_when_cold",
        ),
        "valve": Plan(
            (
                Action("phone", "open_valves", home=True),
                Action("visit", "free_valve", ("spare valve actuator", *_THERMOMETERS)),
            ),
            "zone_catches_up",
        ),
        "flow_temperature": Plan(
            (Action("setting", "raise_curve"), Action("phone", "leave_valves_open", home=True)),
            "flow_on_curve",
        ),
        "emitters": Plan(
            (Action("phone", "free_radiators", home=True), Action("visit", "emitters_check", _THERMOMETERS)),
            "room_after_cold_day",
        ),
        "water_flow": Plan(
            (Action("visit", "flow_check", ("strainer kit", "air vent key", "pressure gauge")),),
            "flow_rate_back",
        ),
        "output": Plan(
            (
                Action("setting", "no_quiet_mode"),
                Action("visit", "output_check", ("thermometer pair", "coil brush")),
            ),
            "flow_reached",
        ),
        "house_loss": Plan(
            (Action("phone", "draughts", home=True), Action("visit", "loss_check", ("thermometer pair",))),
            "room_after_cold_day",
        ),
        "as_set": Plan(
            (Action("phone", "where_cold", home=True), Action("phone", "raise_target", home=True)),
            "room_follows_target",
        ),
        "windows": Plan((Action("phone", "air_briefly", home=True),), "no_falls"),
    },
    "hot-water": {
        "not_cold": Plan(
            (Action("phone", "which_tap", home=True), Action("visit", "tap_check", ("thermometer",))),
            "tank_stays_warm",
        ),
        "stopped": Plan(
            (
                Action("phone", "read_display", home=True),
                Action("visit", "restart_unit", ("multimeter", "fault code list")),
            ),
            "unit_runs",
        ),
        "schedule": Plan(
            (Action("setting", "open_programme"), Action("phone", "hot_water_switched_on", home=True)),
            "charged_before_need",
        ),
        "setpoint": Plan((Action("setting", "raise_setpoint"),), "tank_reaches"),
        "setpoint_missed": Plan(
            (Action("visit", "reach_check", ("thermometer pair", "descaler and pump")),), "tank_reaches"
        ),
        "loss": Plan(
            (
                Action("phone", "circulation_timer"),
                Action("visit", "loss_of_cylinder", ("pipe insulation", "thermometer pair")),
            ),
            "cools_slower",
        ),
        "slow": Plan(
            (Action("visit", "coil_check", ("descaler and pump", "strainer kit", "air vent key")),),
            "charge_shorter",
        ),
        "drawn_more": Plan(
            (Action("phone", "spread_draws", home=True), Action("setting", "second_charge")),
            "tank_stays_warm",
        ),
        "small": Plan(
            (Action("setting", "second_charge"), Action("phone", "spread_draws", home=True)),
            "tank_stays_warm",
        ),
    },
    "noise": {
        "air": Plan(
            (
                Action("phone", "read_pressure", home=True),
                Action("visit", "vent_and_fill", ("air vent key", "pressure gauge")),
            ),
            "pressure_holds",
        ),
        "defrosts": Plan(
            (
                Action("phone", "coil_clear", home=True),
                Action("visit", "defrost_check", ("coil brush", "thermometer pair")),
            ),
            "fewer_defrosts",
        ),
        "hot_water_at_night": Plan((Action("setting", "charge_by_day"),), "no_charge_at_night"),
        "short_runs": Plan(
            (Action("setting", "longer_runs"), Action("visit", "cycling_check", ("thermometer pair",))),
            "fewer_starts",
        ),
        "high_speed": Plan(
            (Action("setting", "quiet_hours"), Action("phone", "shallower_set_back", home=True)),
            "slower_at_night",
        ),
        "water_noise": Plan((Action("setting", "pump_lower"),), "flow_near_nominal"),
        "quiet": Plan(
            (
                Action("phone", "what_noise", home=True),
                Action("visit", "mounts_check", ("rubber mounts", "screwdriver")),
            ),
            "listen_again",
        ),
    },
    "ice": {
        "no_defrosts": Plan(
            (
                Action("phone", "do_not_chip", home=True),
                Action("visit", "defrost_start_check", ("multimeter", "sensor")),
            ),
            "defrosts_again",
        ),
        "incomplete": Plan(
            (
                Action("phone", "do_not_chip", home=True),
                Action("visit", "melting_heat_check", ("strainer kit", "thermometer pair")),
            ),
            "shorter_defrosts",
        ),
        "too_often": Plan(
            (
                Action("phone", "coil_clear", home=True),
                Action("visit", "defrost_check", ("coil brush", "thermometer pair")),
            ),
            "fewer_defrosts",
        ),
        "meltwater": Plan(
            (
                Action("phone", "drain_look", home=True),
                Action("visit", "drain_check", ("drain heater", "coil brush")),
            ),
            "drain_free",
        ),
        "usual_rime": Plan((Action("phone", "rime_is_usual", home=True),), "clears_in_defrost"),
    },
}
"""Complaint -> cause -> what to do. Refrigerant work is for certified people and is never part of a plan."""

_UNTOLD = Plan(
    (Action("phone", "ask_more", home=True), Action("visit", "look_on_site", ("thermometer pair",))),
    "ask_again",
)


def actions_of(question: str, binding: str | None, hours: Hours) -> dict[str, Any]:
    """`do` and `tomorrow` of a cause, JSON-ready."""
    plan = PLANS[question].get(binding or "", _UNTOLD)
    return {
        "do": [{"kind": a.kind, "code": a.code, "bring": list(a.bring), "home": a.home} for a in plan.do],
        "tomorrow": {"code": plan.tomorrow, **_numbers(hours)},
    }


def _numbers(hours: Hours) -> Mapping[str, Any]:
    """Numbers that texts about tomorrow may name."""
    water = hours.site.hot_water
    return {
        "setpoint_c": water.setpoint_c if water else None,
        "nominal_flow": hours.site.heat_pump.flow_m3_per_h,
    }


def cautions_of(question: str, binding: str | None, hours: Hours) -> list[str]:
    """The cautions that go with the plan."""
    plan = PLANS[question].get(binding or "", _UNTOLD)
    codes = {a.code for a in plan.do}
    told = []
    if question == "hot-water":
        told.append(
            of_setpoint(hours.site.hot_water.setpoint_c)
            if codes & {"raise_setpoint"} and hours.site.hot_water
            else HOT_WATER
        )
        if binding in ("stopped", "schedule"):
            told.append(PAUSED)
    if "charge_by_day" in codes:
        told.append(HOT_WATER)
    if question == "ice" or binding == "defrosts":
        told.append(ICE)
    if "restart_unit" in codes:
        told.append(MAINS)
    if codes & {"vent_and_fill", "flow_check", "coil_check", "free_valve"}:
        told += [LICENSED, SCALD] if "coil_check" in codes else [LICENSED]
    return list(dict.fromkeys(told))
