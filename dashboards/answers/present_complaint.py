"""Present a complaint's answer as text, for the office and the household."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.answers import complaint_texts as texts
from fieldfare.dashboards.answers import plan_texts as plan
from fieldfare.dashboards.answers.number_texts import NOT_AT_HOME, NUMBERS, NUMBERS_BY_REASON, filled
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.caution_words import caution_words
from fieldfare.dashboards.text.home_standing import inside, zone_words
from fieldfare.dashboards.text.language import gettext as _
from fieldfare.dashboards.text.language import is_english, listed, marked

_ALL_TAKEN = 0.95  # of the radiators' output: from here on they count as fully used (common practice)
_LONG_TIMES = frozenset({"cold_minutes", "due_minutes"})


def present_complaint(document: dict[str, Any], name: str, *, home: bool) -> dict[str, Any]:
    """Contents of a complaint's answer for page, paper and command. home : worded for the household"""
    question, binding = document["question"], document["binding"]
    known = _known(document)
    said = _said(document, binding) if binding else _unsolved(document)
    measured = "" if home and binding in NOT_AT_HOME else _measured(document, binding, known)
    lead = [said, *([measured] if measured else [])]
    if not binding or binding == "as_set":
        lead += _observed(document)
    return {
        "title": _(texts.TITLES[question]),
        "lead": lead,
        "say": "" if home or not binding else _say(document, binding, said),
        "hours": _hours(document),
        "weight": _weight(document) if not home else "",
        "steps": [] if home else [_step(s) for s in document["steps"]],
        "do": _do(document, known, home),
        "tomorrow": filled(_tomorrow(document["tomorrow"]["code"], home), known),
        "cautions": [caution_words(caution) for caution in document["cautions"]],
        "findings": [] if home else [(c, words.finding_title(c)) for c in document["findings"]],
        "method": _(METHOD),
    }


def _say(document: dict[str, Any], binding: str, said: str) -> str:
    """The same for the phone: numbers without their ranges, units as words, and none that only a
    professional reads."""
    spoken = "" if binding in NOT_AT_HOME else _measured(document, binding, _known(document, spoken=True))
    observed = _observed(document) if binding == "as_set" else []
    return f"“{' '.join(text for text in (said, spoken, *observed) if text)}”"


def _tomorrow(code: str, home: bool) -> tuple[str, ...]:
    own = plan.HOME_TOMORROW.get(code) if home else None
    return own or plan.TOMORROW[code]


METHOD = marked(
    "Every number is of the hours named, but for heat loss, what is usual, the night's fall, and how often"
    " rooms are back before the next set-back."
)


def _said(document: dict[str, Any], binding: str) -> str:
    """Sentence of the limiting step, by its reason if that has its own sentence."""
    reason = next((s["reason"] for s in document["steps"] if s["code"] == binding), None)
    return _(texts.SAID_BY_REASON.get((binding, reason or ""), texts.SAID[binding]))


def _known(document: dict[str, Any], *, spoken: bool = False) -> dict[str, str]:
    """All numbers of an answer by code, formatted; the limiting step's take precedence. spoken : for the
    phone"""
    steps = sorted(document["steps"], key=lambda s: s["code"] == document["binding"])
    values = [v for s in steps for v in s["values"] if v["code"] not in texts.HIDDEN]
    known = {v["code"]: _spoken(v) if spoken else _number(v) for v in values}
    if (outdoor := document["asked"]["outdoor_c"]) is not None:
        known["outdoor"] = words.measure(outdoor, "°C", 0)
    if (raise_k := document["tomorrow"].get("raise_k")) is not None:
        known["raise_k"] = words.measure(raise_k, "K", 0)
    nights = [v["value"] for v in values if v["code"] == "defrosts_a_night"]
    if nights:
        known["defrosts_each_night"] = words.measure(nights[0], "", 0)
    return known


def _measured(document: dict[str, Any], binding: str | None, known: dict[str, str]) -> str:
    """The numbers of the limiting step, as a sentence."""
    reason = next((s["reason"] for s in document["steps"] if s["code"] == binding), None) or ""
    own = NUMBERS_BY_REASON.get((binding or "", reason))
    return filled(own or NUMBERS.get(binding or "", ()), known)


def _unsolved(document: dict[str, Any]) -> str:
    """Text if no step is limiting: first whether the complaint itself was measured."""
    unknown = (s["reason"] for s in document["steps"] if s["code"] == "not_cold")
    reason = next(unknown, None)
    return _(texts.UNSEEN.get(reason or "", texts.UNSOLVED[document["question"]]))


def _observed(document: dict[str, Any]) -> list[str]:
    """Room temperatures if no cause is found, and what is not measured."""
    if document["question"] != "cold":
        return []
    values = {v["code"]: v["value"] for s in document["steps"] if s["code"] == "target" for v in s["values"]}
    room, target = values.get("room"), values.get("target")
    out = []
    if room is not None and target is not None:
        below = target - room
        sentence = (
            _("On average the room was at {room}, {by} below its set temperature.")
            if below > 0.0
            else _("On average the room was at {room}, {by} above its set temperature.")
        )
        out.append(sentence.format(room=words.measure(room, "°C", 1), by=words.measure(abs(below), "K", 1)))
    elif room is not None:
        out.append(
            _(
                "On average the room was at {room}; no set temperature is read, so nothing tells whether that"
                " is too cold.",
                room=words.measure(room, "°C", 1),
            )
        )
    if document["binding"]:
        return out
    unknown = [texts.STEPS[s["code"]] for s in document["steps"] if s["state"] == "unknown"]
    if unknown:
        named = [words.small_first(_(u)) if is_english() else _(u) for u in unknown]
        out.append(_("Not known from these readings: {things}.", things=listed(named)))
    return out


def _hours(document: dict[str, Any]) -> str:
    """Hours and days in question, and the outdoor temperature."""
    question, period = document["asked"], document["period"]
    named = {"first": words.day(period["from"]), "last": words.day(period["to"])}
    begins, ends = question["from_hour"], question["to_hour"]
    if begins % 24 == ends % 24:
        text = _("{first} to {last}, all hours", **named)
    else:
        hours = {"begins": f"{begins:02d}:00", "ends": f"{ends:02d}:00"}
        text = _("{first} to {last}, {begins} to {ends}", **named, **hours)
    if question["zone"]:
        text += f", {inside(zone_words(question['zone']))}"
    if question["outdoor_c"] is not None:
        outdoors = _("outdoors {temperature}", temperature=words.measure(question["outdoor_c"], "°C", 1))
        text += f"; {outdoors}"
    if unread := document.get("unread_after"):
        text += "; " + _("nothing was read after {day}", day=words.day(unread))
    return text


def _weight(document: dict[str, Any]) -> str:
    weight = document["weight"]
    return words.confidence_text(weight) if weight else ""


def _step(step: dict[str, Any]) -> dict[str, Any]:
    values = [value_words(v) for v in _shown_values(step)]
    reason = texts.REASONS.get(step["reason"] or "", "")
    # stored answers of earlier releases name no finding
    finding = step.get("finding")
    state = texts.STATES_OF.get((step["code"], step["state"]), texts.STATES[step["state"]])
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
    if value["code"] in texts.NONE_OF and abs(value["value"]) < 0.5 * 10.0**-decimals:
        return texts.NONE_OF[value["code"]]
    if value["code"] == "emission" and value["value"] >= _ALL_TAKEN:
        return texts.ALL_TAKEN
    if value["code"] in texts.TIMES:
        return texts.TIMES[value["code"]].format(_number(value))
    return f"{name} {_number(value)}"


def _shown_values(step: dict[str, Any]) -> list[dict[str, Any]]:
    """Relevant values of a step: without a set-back, its other numbers are not."""
    values = [v for v in step["values"] if v["code"] not in texts.HIDDEN]
    none = [v for v in values if v["code"] == "set_back_depth" and value_words(v) == texts.NONE_OF[v["code"]]]
    return none or values


def _number(value: dict[str, Any]) -> str:
    """A value with its unit and interval, without its name; long times in hours or days."""
    decimals = texts.VALUES[value["code"]][1]
    if value["code"] in texts.PER_CENT:
        return words.share(value["value"])
    spoken = texts.UNITS.get(value["unit"])
    unit = _(spoken) if spoken else "" if value["unit"] == "-" else value["unit"]
    if value.get("low") is not None:
        return words.interval(value, unit, decimals)
    if value["code"] in _LONG_TIMES:
        return words.duration(value["value"])
    return words.quantity(value["value"], unit, decimals)


def _spoken(value: dict[str, Any]) -> str:
    """A number as it is said: without its range, its unit as a word."""
    plain = {name: v for name, v in value.items() if name not in ("low", "high")}
    if value["unit"] in texts.SPOKEN_UNITS and value["code"] not in texts.PER_CENT:
        decimals = texts.VALUES[value["code"]][1]
        return words.quantity(value["value"], texts.SPOKEN_UNITS[value["unit"]], decimals)
    return _number(plain)


def _do(document: dict[str, Any], known: dict[str, str], home: bool) -> list[dict[str, Any]]:
    out = []
    for act in document["do"]:
        if home and not act["home"]:
            continue
        plain = _(plan.HOME_DO[act["code"]]) if home else plan.DO[act["code"]]
        text = plain
        if not home and act["code"] in plan.DO_WITH:
            text = filled((plan.DO_WITH[act["code"]], plain), known)
        out.append(
            {"kind": _("You can") if home else texts.KINDS[act["kind"]], "text": text, "bring": act["bring"]}
        )
    if home and any(not act["home"] for act in document["do"]):
        out.append(
            {
                "kind": _("Your installer"),
                "text": _("The rest is for your installer: please call, and name this page."),
                "bring": [],
            }
        )
    return out
