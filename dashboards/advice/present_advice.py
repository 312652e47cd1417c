"""Texts of advised settings: title, effect, steps and when to stop."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis.plant.zone_names import the_zone, zone_name
from fieldfare.dashboards.text import words

TITLES = {
    "heating_curve": "Lower the heating curve",
    "set_back": "Change the night set-back",
    "hot_water_setpoint": "New hot-water setpoint",
    "hot_water_reheat": "Reheat the cylinder later",
    "pump_speed": "Change the circulation pump's speed",
    "bivalent_point": "Release the back-up heater later",
    "buffer_flow": "Stop the mixing in the buffer",
    "zone_balance": "Balance the zones",
    "hot_water_hour": "Heat the cylinder at another hour",
    "dear_hours": "Let the heating rest in the dear hours",
}
LINES = {
    "pump_speed": "Flow and return at the design load: {now:g} K apart now, {to:g} K wanted.",
    "bivalent_point": (
        "The back-up heater helps up to {now:g} °C outdoors. Set the bivalent point to {to:g} °C."
    ),
    "buffer_flow": (
        "The water loses {now:g} K in the buffer. Set the flow beyond it to the heat pump's own, then lower"
        " the heating curve by what is no longer lost, 2 K a week."
    ),
    "hot_water_hour": "Most charges begin at {now:g} h now. Let the day's charge begin at {to:g} h.",
    "dear_hours": (
        "Electricity is dearest for {to:g} h from {now:g} h on. Set the rooms 1 °C lower for just those"
        " hours."
    ),
}
"""What to change, where it is more than one number for another."""
_TURNED = 0.95  # of the designed water: a zone turned down by less is not worth a visit (common practice)
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
    "bivalent_point": (
        "Watch the first cold days: go back when rooms or the water's temperature fall short, or the heater"
        " is needed for defrosts."
    ),
    "buffer_flow": (
        "Watch flow and return on both sides of the buffer for a cold day; every zone must still get warm."
    ),
    "zone_balance": (
        "Change one zone at a time, with all thermostats and valves fully open, and wait three heated days:"
        " each room should come nearer to its target. Go back when a zone gets too cold or the unit reports"
        " low flow. Lower the curve only when the zones are level."
    ),
    "hot_water_hour": "Watch a week: go back when a shower ran cold, and keep the disinfection run.",
    "dear_hours": (
        "Watch two cold evenings: rooms should stay within a degree, and no direct heater should start after."
    ),
    "pump_speed": (
        "Read flow and return after an hour of steady running; go back when a room stays cold or the unit"
        " reports low flow. Never go below the maker's least flow."
    ),
}


def present_advice(document: dict[str, Any]) -> dict[str, Any]:
    """advice : rows of title, saves, lines, steps, stop and caution. left_out : rows of title and reason"""
    return {
        "of": document["of"],
        "advice": [_present(a, document["of"], document.get("currency")) for a in document["advice"]],
        "left_out": [
            {"title": TITLES[x["code"]], "reason": words.reason(x["reason"])} for x in document["left_out"]
        ],
    }


def _target(zone: dict[str, Any]) -> str:
    """The temperature that a zone is compared with: its set temperature if it is measured."""
    if zone.get("target_read", True):
        return f"target {zone['target_c']:.1f} °C"
    return f"kept at {zone['target_c']:.1f} °C, as no set temperature is read"


def _present(a: dict[str, Any], of: str, currency: str | None) -> dict[str, Any]:
    lines = []
    if a["code"] in LINES:
        lines.append(LINES[a["code"]].format(**a))
    elif a.get("balance"):
        lines += _balance_lines(a["balance"])
    elif a["curve"] is None:
        lines.append(f"Now {a['now']:g} {a['unit']}, set {a['to']:g} {a['unit']}.")
    if a["room"] is not None:
        lines.append(room_words(a["room"]))
    lines += [
        f"{words.capital(zone_name(z['zone']))}: {z['now_c']:.1f} °C now, {z['after_c']:.1f} °C then;"
        f" {_target(z)}."
        for z in a["zones"]
    ]
    if a["recovery_h"] is not None:
        lines.append(f"Rooms are back at their target {a['recovery_h']:g} h after the set-back ends.")
    lines += a["holds"]
    return {
        "code": a["code"],
        "title": TITLES[a["code"]],
        "saves": "" if a.get("balance") and a["saves"]["low"] <= 0.0 else _saves(a, of),
        "money": money_words(a, of, currency),
        "lines": [words.named(line) for line in lines],
        "steps": [words.named(step) for step in _steps_of(a)],
        "stop": STOP[a["code"]],
        "caution": a["caution"],
    }


def _saves(a: dict[str, Any], of: str) -> str:
    return saves_words(a["saves"], of) if a["saves"]["value"] or not a["money"] else ""


def saves_words(saves: dict[str, float], of: str) -> str:
    if saves["value"] >= 0.0:
        return f"Saves {words.interval(saves, 'kWh', 0)}, {of}."
    costs = {"value": -saves["value"], "low": -saves["high"], "high": -saves["low"]}
    return f"Uses {words.interval(costs, 'kWh', 0)} more, {of}, and the rooms are warm in time."


def money_words(a: dict[str, Any], of: str, currency: str | None) -> str:
    """Saving from cheaper hours; empty if prices play no part."""
    if a.get("money") is None:
        return ""
    low, value, high = (words.money(a["money"][k], currency) for k in ("low", "value", "high"))
    return f"Saves {value} ({low} to {high}) by cheaper hours, {of}."


def room_words(room: dict[str, float]) -> str:
    if room["value"] < 0.0:
        return f"Rooms get {-room['value']:.1f} K warmer on average."
    return f"Rooms fall by {room['value']:.1f} K on average ({room['low']:.1f} to {room['high']:.1f} K)."


def _steps_of(a: dict[str, Any]) -> list[str]:
    if a.get("balance"):
        return _balance_steps(a["balance"])
    return _steps(a["curve"]) if a["curve"] else []


def _balance_lines(balance: dict[str, Any]) -> list[str]:
    """Which zone has too much and which too little, and what the curve gains."""
    water = balance["by_water"]
    rooms = "; ".join(
        f"{zone_name(z['zone'])} {z['now_c']:.1f} °C, target {z['target_c']:.1f} °C" for z in water["zones"]
    )
    lower = water["lower_k"]
    gains = (
        f"With the zones level the curve can be {words.interval(lower, 'K', 1)} lower."
        if lower["value"] >= 0.5
        else "The curve stays as it is: the cold zone takes what is gained."
    )
    apart = words.interval(balance["apart_k"], "K", 1)
    return [
        f"At the same flow temperature {balance['warm']} gets more than its part and {balance['cold']} less:"
        f" they lie {apart} apart, each against its target ({rooms}).",
        gains,
    ]


def _balance_steps(balance: dict[str, Any]) -> list[str]:
    """What to look at on site, and what to turn by what is found."""
    water, cold = balance["by_water"], balance["cold"]
    at_fault = 100.0 * balance["at_fault"][cold]
    return [
        "Open all thermostats and valves of the zones. Read the flow meters of the manifold, or measure flow"
        " less return of each zone.",
        f"By its emitters each zone needs: {_flows(water['zones'])}. Flow less return is then alike in all.",
        f"If {cold} has much less (about {at_fault:.0f} % of the water would explain its rooms), open its"
        f" lockshield valves or its flow meter to that. {_then(water)}",
        f"If it has that already, the emitters of {cold} are too small for its rooms, or it loses more heat"
        f" than designed: {_turn(balance)}",
    ]


def _turn(balance: dict[str, Any]) -> str:
    """What to turn down, where that warms the cold zone and leaves the warm one at its target."""
    turning = {z["zone"]: z["share"] for z in balance["by_turning"]["zones"]}
    designed = {z["zone"]: z["share"] for z in balance["by_water"]["zones"]}
    warm, cold = balance["warm"], balance["cold"]
    if turning[warm] > _TURNED * designed[warm]:
        larger = f"Fit larger emitters in {the_zone(cold)}, or look for what it loses."
        return f"{the_zone(warm)} has nothing to spare. {larger}"
    zones = balance["by_turning"]["zones"]
    return f"turn {the_zone(warm)} down in two steps to {_flows(zones)}. {_then(balance['by_turning'])}"


def _flows(zones: list[dict[str, Any]]) -> str:
    return ", ".join(
        f"{zone_name(z['zone'])} {100.0 * z['share']:.0f} % of the water"
        + (f" ({words.measure(z['m3_per_h'], 'm3/h', 2)})" if z["m3_per_h"] is not None else "")
        for z in zones
    )


def _then(way: dict[str, Any]) -> str:
    """Rooms after one way, and how far apart they still are."""
    rooms = ", ".join(f"{zone_name(z['zone'])} {_room_then(z)}" for z in way["zones"])
    least = " Less water is not advised: larger emitters have to do the rest." if way["least"] else ""
    return f"Then: {rooms}; {words.interval(way['apart_k'], 'K', 1)} apart.{least}"


def _room_then(zone: dict[str, Any]) -> str:
    if zone["after_c"] is None:
        return f"{zone['after_low_c']:.1f} to {zone['after_high_c']:.1f} °C, by what its valves do"
    return f"{zone['after_c']:.1f} °C"


def _steps(curve: dict[str, Any]) -> list[str]:
    (cold, cold_now), (mild, mild_now) = curve["points_now"]
    ends = f"at {cold:g} °C outdoors and {{mild_flow:.1f}} °C at {mild:g} °C"
    now = f"Now: {cold_now:.1f} °C flow {ends.format(mild_flow=mild_now)}"
    return [now] + [
        f"Week {week}: {flow:.1f} °C flow {ends.format(mild_flow=mild_flow)}"
        for week, (flow, mild_flow) in enumerate(curve["steps"], 1)
    ]
