"""Texts of the tuning diary: next step, past steps and their effect, state of each setting."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fieldfare.analysis.advice.curve import MILD_C
from fieldfare.analysis.plant.zone_names import the_zone, zone_name
from fieldfare.dashboards.advice.present_advice import STOP, present_advice, room_words, saves_words
from fieldfare.dashboards.figures.before_after import effect_sentence
from fieldfare.dashboards.text import words

NAMES = {
    "heating_curve": "Heating curve",
    "set_back": "Night set-back",
    "pump_speed": "Circulation pump",
    "hot_water_setpoint": "Hot-water setpoint",
    "hot_water_reheat": "Cylinder reheat",
}
STATES = {
    "open": "to change",
    "waiting": "waits for days",
    "done": "done",
    "limit": "at its limit",
    "not_assessed": "can't be told",
}
HEADLINES = {
    "change": "Change this next",
    "watch": "Leave everything as it is this week",
    "collecting": "Nothing to change yet",
    "done": "Tuning is done",
    "unknown": "No further step can be told",
    "then": "Then change this",
    "": "Nothing to change for you this week",
}
NEEDS = {
    "rooms_late": (
        "Why: rooms were below their target on two or more of the last seven days, and come up too late after"
        " the set-back. This is for warm rooms, not for the bill."
    ),
    "zones_apart": (
        "Why: at the same flow temperature one zone is too warm and another too cold. This is for the rooms;"
        " the curve can follow later."
    ),
    "water_slow": (
        "Why: flow and return lie too far apart at the design load: too little water goes round. This is for"
        " the unit and warm rooms, not for the bill."
    ),
}
"""Why a step is to be made whatever it saves."""
_FIELDS = {
    "set_back": ("Set-back [K]",),
    "pump_speed": ("Flow less return at the design load [K]",),
    "hot_water_setpoint": ("Setpoint [°C]",),
    "hot_water_reheat": ("Reheat below [°C]",),
}


def present_diary(document: dict[str, Any], currency: str | None) -> dict[str, Any]:
    """headline, says; once : rows as of `present_advice`, first : whether they save more than the next step;
    next : title, change, lines, watch, caution and fields of the form, or None; entries;
    settings; whole : the season's effect in words"""
    step = document["next"]
    whole = document.get("whole")
    unknown = sum(s["state"] == "not_assessed" for s in document["settings"])
    is_over = document["state"] == "done"
    says = words.reason(document["reason"])
    if is_over and unknown:
        says += f"; {unknown} of {words.count(len(document['settings']), 'setting')} can't be told"
    once = document.get("once") or []
    first = bool(once) and step is not None and not step["back"] and _saved(once[0]) > _saved(step)
    return {
        "headline": HEADLINES["then" if first else "unknown" if is_over and unknown else document["state"]],
        "says": says,
        "once": present_advice(
            {
                "of": document.get("once_of", ""),
                "currency": currency,
                "advice": once,
                "left_out": [],
            }
        )["advice"],
        "first": first,
        "next": _next(step) if step is not None else None,
        "entries": [_entry(e, document, currency) for e in reversed(document["entries"])],
        "settings": [
            {
                "code": s["code"],
                "name": NAMES[s["code"]],
                "state": STATES[s["state"]],
                "reason": words.reason(s["reason"]),
            }
            for s in document["settings"]
        ],
        "whole": effect_sentence(whole, currency) if whole and whole.get("electricity_kwh") else "",
        "whole_reason": words.reason((whole or {}).get("reason")),
        "span": words.days_between(document["from"], document["to"]),
    }


def _saved(step: dict[str, Any]) -> float:
    return float((step["saves"] or {}).get("value") or 0.0)


def change_words(
    code: str, before: Sequence[float], after: Sequence[float], outdoor: Sequence[float] | None
) -> str:
    """A change of one setting, as shown in log and pages."""
    if code == "heating_curve":
        ends = [*(outdoor or (None, MILD_C))]
        parts = [
            (
                f"{_value(a)} to {_value(b)} °C flow"
                f" {'at the cold end' if end is None else f'at {_value(end)} °C outdoors'}"
            )
            for a, b, end in zip(before, after, ends, strict=True)
        ]
        return f"{NAMES[code]}: {', '.join(parts)}"
    a, b = before[0], after[0]
    if code == "set_back":
        return f"{NAMES[code]}: {_value(a)} to {_value(b)} K below the day's temperature"
    if code == "pump_speed":
        return (
            f"{NAMES[code]}: flow and return {_value(a)} to {_value(b)} K apart at the design load, about"
            f" {words.number(100.0 * a / b, 0)} % of the present flow"
        )
    return f"{NAMES[code]}: {_value(a)} to {_value(b)} °C"


def household_line(step: dict[str, Any] | None) -> str:
    """A step that the household may take this week, in one sentence; empty without one."""
    if step is None or not step["household"]:
        return ""
    to = _value(step["to"][0])
    lower = f"{to} °C lower at night than by day" if step["to"][0] else "the same at night as by day"
    why = "The rooms were not warm in time." if step["back"] or step["to"][0] < step["now"][0] else ""
    return (
        f"This week: set your rooms {lower}. {why} Look at two mornings: the rooms should be warm before you"
        " get up."
    ).replace("  ", " ")


def _next(step: dict[str, Any]) -> dict[str, Any]:
    lines = []
    if step["zone"] == "hot_water":
        lines.append(
            "Why: the cylinder was below 40 °C for more than an hour in the week after the last step."
        )
    elif step["zone"]:
        lines.append(
            f"Why: {the_zone(step['zone'])} was below its target on two or more of the last seven days;"
            " before tuning it was not. Give the warmth back."
        )
    elif step["need"]:
        lines += [NEEDS[step["need"]], _whole_way(step)]
    elif step["saves"]:
        lines.append(f"Why: {words.small_first(_whole_way(step))}")
    if step["room"] is not None:
        lines.append(f"{room_words(step['room'])}{_all_of_it(step)}")
    if step["goal"] != step["to"]:
        goal = " and ".join(f"{_value(v)} {step['unit']}" for v in step["goal"])
        lines.append(f"Where it leads: {goal}, one step a week.")
    if step["binding"]:
        lines.append(f"The first zone to get cold: {zone_name(step['binding'])}.")
    fields = _FIELDS.get(step["code"]) or tuple(
        f"Flow at {_value(o)} °C outdoors [°C]" for o in step["outdoor"] or ()
    )
    return {
        **step,
        "name": NAMES[step["code"]],
        "change": change_words(step["code"], step["now"], step["to"], step["outdoor"]),
        "lines": lines,
        "watch": STOP[step["code"]],
        "fields": [
            {"label": label, "now": _plain(now), "to": _plain(to)}
            for label, now, to in zip(fields, step["now"], step["to"], strict=True)
        ],
    }


def _whole_way(step: dict[str, Any]) -> str:
    of = step["saves_of"] or "in days like those before the first step"
    return f"{saves_words(step['saves'], of)}{_all_of_it(step)}"


def _all_of_it(step: dict[str, Any]) -> str:
    return " That is for the whole way." if step["goal"] != step["to"] else ""


def _entry(e: dict[str, Any], document: dict[str, Any], currency: str | None) -> dict[str, Any]:
    week = e["week"]
    rooms = [
        f"{words.capital(zone_name(z['zone']))}: below its target on {z['short']} of {words.span(z['days'])}"
        for z in week["zones"]
        if z["days"]
    ]
    effect = e["effect"]
    return {
        "day": e["day"],
        "change": change_words(e["code"], e["before"], e["after"], document.get("outdoor")),
        "back": e["back"],
        "said": effect_sentence(effect, currency),
        "measured": bool(effect.get("electricity_kwh")),
        "rooms": rooms,
        "coldest": words.degrees(round(week["coldest_c"], 1)) if week["coldest_c"] is not None else "",
        "cold_water": (
            words.measure(week["cold_water_min"], "min", 0)
            if e["code"].startswith("hot_water") and week["cold_water_min"] is not None
            else ""
        ),
        "too_much": e["too_much"],
    }


def _value(value: float) -> str:
    return words.number(value, 0 if float(value).is_integer() else 1)


def _plain(value: float) -> str:
    return f"{value:g}"
