"""Page of what-if questions about a home, each answered with saving and limits."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from fieldfare.analysis.cautions import LEGIONELLA_GROWS_AT, parts_of_setpoint
from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.language import gettext as _
from fieldfare.dashboards.text.language import is_english, marked, with_numbers

_QUESTIONS = {
    "rooms_warmer_k": marked("Rooms {value} °C warmer"),
    "lower_curve_k": marked("Heating curve lowered by {value} K"),
    "hot_water_c": marked("Hot water at {value} °C"),
    "hot_water_hour": marked("Hot water reheated from {value}:00 on"),
    "band": marked("A cheaper tariff band"),
    "mend": marked("With “{value}” fixed"),
}
_COOLER = marked("Rooms {value} °C cooler")


def what_if_page(
    row: dict[str, Any],
    query: dict[str, str],
    answers: list[dict[str, Any]] | None,
    problem: str,
    visitor: dict[str, Any],
    out_of_range: Mapping[str, tuple[float, float]] = MappingProxyType({}),
) -> str:
    """Page with the form of questions, and each answer with interval and limits. out_of_range : field ->
    (lowest, highest), for values outside"""
    codes = sorted({f["code"] for f in (row["result"] or {}).get("findings", []) if f["cost_per_year"]})
    return render(
        "what_if.html",
        title=_("What if, {name}", name=row["name"]),
        here="site",
        visitor=visitor,
        row=row,
        asked=query,
        codes=codes,
        problem=words.reason(problem) or _nothing_asked(query, answers, out_of_range),
        wrong={
            name: _("A number from {low} to {high}.", low=words.number(low), high=words.number(high))
            for name, (low, high) in out_of_range.items()
        },
        answers=[_answer(row, a) for a in answers or []],
    )


def _nothing_asked(query: Mapping[str, str], answers: list[dict[str, Any]] | None, wrong: Any) -> str:
    """Message for a form sent without any question filled in."""
    if (
        answers
        or wrong
        or not any(name in query for name in ("rooms_warmer_k", "lower_curve_k", "hot_water_c", "mend"))
    ):
        return ""
    return _("Fill in at least one question, such as how much cooler the heating water or the hot water is.")


def _answer(row: dict[str, Any], a: dict[str, Any]) -> dict[str, Any]:
    kwh, money = a["saves_kwh"], a["saves_money"]
    costs_more = bool(kwh) and kwh["value"] is not None and kwh["value"] < 0.0
    if costs_more:
        kwh, money = _turned(kwh), _turned(money)
    value = (
        words.finding_title(a["value"])
        if a["question"] == "mend"
        else words.number(abs(a["value"]))
        if isinstance(a["value"], int | float)
        else a["value"]
    )
    is_cooler = a["question"] == "rooms_warmer_k" and a["value"] < 0.0
    saves = words.reason(a.get("saves_kwh_reason")) if not kwh else f"{words.interval(kwh, 'kWh', 0)}"
    paid = ""
    if money and money.get("value") is not None:
        value_, low, high = (words.money(money[k], a["currency"], 0) for k in ("value", "low", "high"))
        paid = _("{value} ({low} to {high})", value=value_, low=low, high=high)
    if paid and kwh and not any(kwh[k] for k in ("value", "low", "high")):
        saves, paid = paid, ""  # a tariff saves only money
    return {
        **a,
        "title": _(_COOLER if is_cooler else _QUESTIONS[a["question"]], value=value),
        "costs_more": costs_more,
        "saves": saves,
        "paid": paid,
        "of": with_numbers(a["of"])[0],
        "limits": [_limit(limit) for limit in a["limits"]],
        "caution": _caution(row["site"], a),
    }


def _turned(saving: Mapping[str, Any]) -> dict[str, Any]:
    """A saving as a cost."""
    found = {key: None if saving.get(key) is None else -saving[key] for key in ("value", "low", "high")}
    return found | {"low": found["high"], "high": found["low"]}


def _limit(limit: dict[str, Any]) -> dict[str, Any]:
    """A limit as text in the reader's language; untranslated ones stay English."""
    says, is_translated = with_numbers(limit["says"])
    text = words.sentence(words.named(says)) if says else ""
    return {**limit, "limit": _(limit["limit"]), "says": text, "is_translated": is_translated}


def _caution(site: Site | None, a: dict[str, Any]) -> str:
    """Caution for a change to rooms or hot water, in the reader's language; cautions of findings are
    English."""
    if a["question"] == "rooms_warmer_k" and a["caution"]:
        return _(str(a["caution"]))
    if (
        is_english()
        or a["question"] not in ("hot_water_c", "hot_water_hour")
        or site is None
        or site.hot_water is None
    ):
        return str(a["caution"] or "")
    stored = float(a["value"]) if a["question"] == "hot_water_c" else site.hot_water.setpoint_c
    return " ".join(
        _(part, temperature=stored) if part == LEGIONELLA_GROWS_AT else _(part)
        for part in parts_of_setpoint(stored)
    )
