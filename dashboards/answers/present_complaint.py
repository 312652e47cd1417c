"""A complaint's answer in words, for the desk and for the household."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.answers import complaint_texts as texts
from fieldfare.dashboards.answers import plan_texts as plan
from fieldfare.dashboards.text import words


def present_complaint(document: dict[str, Any], name: str, *, home: bool) -> dict[str, Any]:
    """What page, paper and command show of a complaint's answer. home : in the household's words"""
    question, binding = document["question"], document["binding"]
    said = _said(document, binding) if binding else _unsolved(document)
    lead = [said] if binding and binding != "as_set" else [said, *_observed(document)]
    return {
        "title": texts.TITLES[question],
        "lead": lead,
        "say": "" if home or not binding else f"“{said}”",
        "hours": _hours(document),
        "weight": _weight(document) if not home else "",
        "steps": [] if home else [_step(s) for s in document["steps"]],
        "proof": _proof(document, binding),
        "do": _do(document, home),
        "tomorrow": plan.TOMORROW[document["tomorrow"]["code"]],
        "cautions": document["cautions"],
        "findings": [] if home else [(c, words.finding_title(c)) for c in document["findings"]],
        "method": _METHOD,
    }


_METHOD = (
    "Every number is of the hours named, but for heat loss, what is usual, the night's fall, and how often"
    " rooms are back before the next set-back."
)


def _said(document: dict[str, Any], binding: str) -> str:
    """The sentence of the step that binds, by its reason where that has its own."""
    reason = next((s["reason"] for s in document["steps"] if s["code"] == binding), None)
    return texts.SAID_BY_REASON.get((binding, reason or ""), texts.SAID[binding])


def _unsolved(document: dict[str, Any]) -> str:
    """What is said where no step binds: first whether the complaint itself was measured."""
    unknown = (s["reason"] for s in document["steps"] if s["state"] == "unknown" and s["code"] == "not_cold")
    reason = next(unknown, None)
    return texts.UNSEEN.get(reason or "", texts.UNSOLVED[document["question"]])


def _observed(document: dict[str, Any]) -> list[str]:
    """What the rooms did where no cause is found, and what nothing here measures."""
    if document["question"] != "cold":
        return []
    values = {v["code"]: v["value"] for s in document["steps"] if s["code"] == "target" for v in s["values"]}
    room, target = values.get("room"), values.get("target")
    out = []
    if room is not None and target is not None:
        below = target - room
        against = (
            f"{words.measure(abs(below), 'K', 1)} {'below' if below > 0.0 else 'above'} its set temperature"
        )
        out.append(f"On average the room was at {words.measure(room, '°C', 1)}, {against}.")
    elif room is not None:
        out.append(
            f"On average the room was at {words.measure(room, '°C', 1)}; no set temperature is read, so"
            " nothing tells whether that is too cold."
        )
    if document["binding"]:
        return out
    unknown = [texts.STEPS[s["code"]] for s in document["steps"] if s["state"] == "unknown"]
    if unknown:
        out.append(f"Not known from these readings: {words.listed([words.small_first(u) for u in unknown])}.")
    return out


def _hours(document: dict[str, Any]) -> str:
    """Which hours of which days this is about, and how cold it was outdoors."""
    question, period = document["asked"], document["period"]
    days = f"{words.day(period['from'])} to {words.day(period['to'])}"
    if question["from_hour"] % 24 == question["to_hour"] % 24:
        text = f"{days}, all hours"
    else:
        text = f"{days}, {question['from_hour']:02d}:00 to {question['to_hour']:02d}:00"
    if question["zone"]:
        text += f", zone {question['zone']}"
    if question["outdoor_c"] is not None:
        text += f"; outdoors {words.measure(question['outdoor_c'], '°C', 1)}"
    return text


def _weight(document: dict[str, Any]) -> str:
    weight = document["weight"]
    return words.confidence_text(weight) if weight else ""


def _step(step: dict[str, Any]) -> dict[str, Any]:
    values = [value_words(v) for v in step["values"] if v["code"] not in texts.HIDDEN]
    reason = texts.REASONS.get(step["reason"] or "", "")
    # answers that were kept earlier name no finding
    finding = step.get("finding")
    state = texts.NOT_THE_CAUSE if finding else texts.STATES[step["state"]]
    open_ = f"finding: {words.small_first(words.finding_title(finding))}" if finding else ""
    return {
        "code": step["code"],
        "name": texts.STEPS[step["code"]],
        "state": step["state"],
        "state_words": state,
        "proof": "; ".join(v for v in (*values, reason, open_) if v),
    }


def value_words(value: dict[str, Any]) -> str:
    """A number with its name: `room 17.3 °C`, with its interval and its limit where it has them."""
    name, decimals = texts.VALUES[value["code"]]
    if value["code"] == "below_curve" and value["value"] < 0.0:
        return f"above the designed curve {words.measure(-value['value'], value['unit'], decimals)}"
    if value["code"] in texts.PER_CENT:
        return f"{name} {words.share(value['value'])}"
    unit = texts.UNITS.get(value["unit"], "" if value["unit"] == "-" else value["unit"])
    if value.get("low") is not None:
        return f"{name} {words.interval(value, unit, decimals)}"
    return f"{name} {words.quantity(value['value'], unit, decimals)}"


def _proof(document: dict[str, Any], binding: str | None) -> list[str]:
    """The numbers behind the step that binds."""
    step = next((s for s in document["steps"] if s["code"] == binding), None)
    if step is None:
        return []
    texts_shown = [value_words(v) for v in step["values"] if v["code"] not in texts.HIDDEN]
    return [words.capital(t) for t in texts_shown]


def _do(document: dict[str, Any], home: bool) -> list[dict[str, Any]]:
    out = []
    for act in document["do"]:
        if home and not act["home"]:
            continue
        text = (plan.HOME_DO if home else plan.DO)[act["code"]]
        out.append(
            {"kind": "You can" if home else texts.KINDS[act["kind"]], "text": text, "bring": act["bring"]}
        )
    if home and any(not act["home"] for act in document["do"]):
        out.append(
            {
                "kind": "Your installer",
                "text": "The rest is for your installer: please call, and name this page.",
                "bring": [],
            }
        )
    return out
