"""Each advised setting as a title, what it does, how to go there and when to stop."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.text import words

TITLES = {
    "heating_curve": "Lower the heating curve",
    "set_back": "Change the night set-back",
    "hot_water_setpoint": "New hot-water setpoint",
    "hot_water_reheat": "Reheat the cylinder later",
    "pump_speed": "Change the circulation pump's speed",
}
STOP = {
    "heating_curve": (
        "Change one step a week. Stop and go one step back when a room with its valves fully open is below"
        " its target for two days. Mild weeks prove nothing: judge a step in cold weather."
    ),
    "set_back": "Watch two mornings: rooms should be back at their target before the household is up.",
    "hot_water_setpoint": (
        "Watch a week: go back when a shower ran cold, and check that disinfection still runs."
    ),
    "hot_water_reheat": "Watch a week: go back when a shower ran cold.",
    "pump_speed": (
        "Read flow and return after an hour of steady running; go back when a room stays cold or the unit"
        " reports low flow. Never go below the maker's least flow."
    ),
}


def advice_told(document: dict[str, Any]) -> dict[str, Any]:
    """advice : rows of title, saves, lines, steps, stop and caution. left_out : rows of title and reason"""
    return {
        "of": document["of"],
        "advice": [_told(a, document["of"]) for a in document["advice"]],
        "left_out": [
            {"title": TITLES[x["code"]], "reason": words.reason(x["reason"])} for x in document["left_out"]
        ],
    }


def _told(a: dict[str, Any], of: str) -> dict[str, Any]:
    lines = []
    if a["code"] == "pump_speed":
        lines.append(f"Flow and return at the design load: {a['now']:g} K apart now, {a['to']:g} K wanted.")
    elif a["curve"] is None:
        lines.append(f"Now {a['now']:g} {a['unit']}, set {a['to']:g} {a['unit']}.")
    if a["room"] is not None:
        lines.append(room_words(a["room"]))
    lines += [
        f"{z['zone']}: {z['now_c']:.1f} °C now, {z['after_c']:.1f} °C then; target {z['target_c']:.1f} °C."
        for z in a["zones"]
    ]
    if a["recovery_h"] is not None:
        lines.append(f"Rooms are back at their target {a['recovery_h']:g} h after the set-back ends.")
    lines += a["holds"]
    return {
        "code": a["code"],
        "title": TITLES[a["code"]],
        "saves": saves_words(a["saves"], of),
        "lines": [words.named(line) for line in lines],
        "steps": [words.named(step) for step in _steps(a["curve"])] if a["curve"] else [],
        "stop": STOP[a["code"]],
        "caution": a["caution"],
    }


def saves_words(saves: dict[str, float], of: str) -> str:
    if saves["value"] >= 0.0:
        return f"Saves {words.interval(saves, 'kWh', 0)}, {of}."
    costs = {"value": -saves["value"], "low": -saves["high"], "high": -saves["low"]}
    return f"Uses {words.interval(costs, 'kWh', 0)} more, {of}, and the rooms are warm in time."


def room_words(room: dict[str, float]) -> str:
    if room["value"] < 0.0:
        return f"Rooms get {-room['value']:.1f} K warmer on average."
    return f"Rooms fall by {room['value']:.1f} K on average ({room['low']:.1f} to {room['high']:.1f} K)."


def _steps(curve: dict[str, Any]) -> list[str]:
    (cold, cold_now), (mild, mild_now) = curve["points_now"]
    ends = f"at {cold:g} °C outdoors and {{mild_flow:.1f}} °C at {mild:g} °C"
    now = f"Now: {cold_now:.1f} °C flow {ends.format(mild_flow=mild_now)}"
    return [now] + [
        f"Week {week}: {flow:.1f} °C flow {ends.format(mild_flow=mild_flow)}"
        for week, (flow, mild_flow) in enumerate(curve["steps"], 1)
    ]
