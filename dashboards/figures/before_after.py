"""Effect of a job: daily electricity over degree-days before and after, with a line for each."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.figures.chart import (
    Axis,
    Chart,
    Layer,
    Line,
    Points,
    nothing,
)
from fieldfare.dashboards.text import words

TITLE = "Before and after, at comparable weather"


def before_after_chart(effect: dict[str, Any] | None, reason: str, day: str, currency: str | None) -> Chart:
    """effect : of the maintenance log. reason : why there is no effect. day : of the job, ISO text"""
    if not effect or not effect.get("compared"):
        return nothing(
            "before_after", TITLE, reason or (effect or {}).get("reason") or "It can't be told yet."
        )
    layers: list[Layer] = []
    sides = (("before", False, "ring", "design", "dash"), ("after", True, "dot", "heat", "solid"))
    for (name, is_after, shape, tone, dash), (level, slope) in zip(sides, effect["lines"], strict=True):
        days = [d for d in effect["compared"] if d[3] is is_after]
        x, y = [d[1] for d in days], [d[2] for d in days]
        hints = tuple(words.day(d[0]) for d in days)
        layers.append(Points(name, x, y, tone, shape, hints))  # type: ignore[arg-type]
        ends = [min(x), max(x)]
        layers.append(Line("", ends, [level + slope * e for e in ends], tone, dash))  # type: ignore[arg-type]
    base = words.measure(effect["base_c"], "°C", 1)
    table = tuple(
        (words.day(d), words.number(degrees, 1), words.number(kwh, 1), "after" if is_after else "before")
        for d, degrees, kwh, is_after in effect["compared"]
    )
    return Chart(
        "before_after",
        TITLE,
        effect_sentence(effect, currency),
        Axis(f"Degree-days below {base}", "K d"),
        Axis("Electricity", "kWh a day", low=0.0),
        tuple(layers),
        ("Day", "Degree-days [K d]", "Electricity [kWh]", "Side"),
        table,
    )


def effect_sentence(effect: dict[str, Any], currency: str | None) -> str:
    """The effect in a sentence: change of electricity and money with ranges, and other changes."""
    kwh, percent, money = (effect.get(k) for k in ("electricity_kwh", "electricity_percent", "money"))
    if not kwh:
        return words.reason(effect.get("reason"))
    less = kwh["value"] <= 0
    side = "less" if less else "more"
    days = words.span(effect["days_after"])
    text = f"{_amount(kwh, 'kWh')} {side} electricity in {days} than before in the same weather"
    if percent:
        text += f" ({words.measure(abs(percent['value']), '%', 0)})"
    if money and currency:
        text += f", worth {words.money(abs(money['value']), currency, 0)}"
    if kwh["low"] < 0 < kwh["high"]:
        text += "; this can still be chance"
    flow = effect.get("flow_k")
    if flow and abs(flow["value"]) >= 0.5:
        text += (
            f". Flow temperature {words.measure(abs(flow['value']), 'K', 0)}"
            f" {'lower' if flow['value'] < 0 else 'higher'}"
        )
    return f"{text}."


def _amount(estimate: dict[str, float], unit: str) -> str:
    """A difference without its sign, and its range."""
    low, high = sorted((abs(estimate["low"]), abs(estimate["high"])))
    if estimate["low"] < 0 < estimate["high"]:
        half = (estimate["high"] - estimate["low"]) / 2
        return f"{words.measure(abs(estimate['value']), unit, 0)} (±{words.number(half, 0)})"
    return (
        f"{words.measure(abs(estimate['value']), unit, 0)} ({words.number(low, 0)} to"
        f" {words.number(high, 0)})"
    )
