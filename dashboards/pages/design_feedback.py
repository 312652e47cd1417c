"""Page of design feedback: results of the firm's systems for the next design."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from fieldfare.dashboards.figures.chart import (
    Axis,
    Chart,
    Level,
    Line,
    Points,
)
from fieldfare.dashboards.pages.drawn import draw
from fieldfare.dashboards.rows.design_ratios import present_design_ratios
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words

_LESSONS = {
    "heat_loss_against_design": ("Measured heat loss against the designed", "Measured over designed", "Home"),
    "performance_against_flow_temperature": (
        "Efficiency against flow temperature",
        "Efficiency, rooms",
        "Flow temperature at 5 °C outdoors [°C]",
    ),
    "cycling_against_oversizing": (
        "Starts against oversizing",
        "Starts for each running hour",
        "Rated output over measured heat loss",
    ),
}


def design_feedback_page(
    feedback: dict[str, Any], visitor: dict[str, Any], names: Mapping[str, str] = MappingProxyType({})
) -> str:
    """Page of design feedback: each lesson as a sentence with its figure and homes. names : site -> name of
    the home"""
    lessons = []
    for key, (title, y, x) in _LESSONS.items():
        lesson = feedback.get(key)
        if lesson is None:
            continue
        named = {**lesson, "sites": [{**s, "name": names.get(s["site"], s["site"])} for s in lesson["sites"]]}
        figure = draw(_figure(key, title, x, y, named)) if lesson["sites"] else None
        text = lesson.get("lesson") or words.reason(lesson.get("reason"))
        lessons.append({"title": title, "text": words.capital(text), "figure": figure})
    if (beside := feedback.get("outdoor_beside_others")) is not None:
        lessons.append({"title": "Outdoor sensors", "text": _outdoor(beside, names), "figure": None})
    return render(
        "design_feedback.html",
        title="Design feedback",
        here="design_feedback",
        visitor=visitor,
        lessons=lessons,
        ratios=present_design_ratios(feedback.get("by_building")),
        left_out=feedback.get("left_out", 0),
    )


def _outdoor(beside: Mapping[str, Any], names: Mapping[str, str]) -> str:
    """Sentence about homes whose outdoor sensor deviates from those nearby."""
    if "reason" in beside:
        return words.capital(words.reason(beside["reason"]))
    if not beside["sites"]:
        homes = words.count(beside["compared"], "home")
        return f"None of {homes} has an outdoor sensor that deviates from those nearby"
    return "; ".join(
        f"{names.get(s['site'], s['site'])} reads {words.number(abs(s['apart_k']), 1)} K"
        f" {'warmer' if s['apart_k'] > 0 else 'colder'} than {s['neighbours']} homes near it, on most of"
        f" {s['days']} days (probability that the sensor is wrong: {words.number(s['probability'], 2)});"
        " compare it with a thermometer in the shade"
        for s in beside["sites"]
    )


def _figure(key: str, title: str, x_name: str, y_name: str, lesson: dict[str, Any]) -> Chart:
    sites = lesson["sites"]
    if key == "heat_loss_against_design":
        x: list[float] = [float(i) for i in range(len(sites))]
        y = [s["value"] for s in sites]
        spread: list[float | None] = []
        for s in sites:
            spread += [s.get("low"), s.get("high"), None]
        layers: list[Any] = [
            Line("its 95 % interval", [float(i // 3) for i in range(3 * len(sites))], spread, "heat"),
            Points(
                "a home", x, y, "heat", hints=tuple(f"{s['name']}: {words.interval(s, '', 2)}" for s in sites)
            ),
            Level("as designed", 1.0, "design"),
        ]
        rows: tuple[tuple[str, ...], ...] = tuple(
            (s["name"], str(i), words.interval(s, "", 2)) for i, s in enumerate(sites, 1)
        )
        return Chart(
            key,
            title,
            "Homes are numbered from the lowest ratio up; the table below gives their names.",
            Axis(
                "Home", low=-0.5, high=len(sites) - 0.5, names=tuple(str(i) for i in range(1, len(sites) + 1))
            ),
            Axis(y_name, low=0.0),
            tuple(layers),
            ("Home", "Number", y_name),
            rows,
        )
    x, y = [s["x"] for s in sites], [s["y"] for s in sites]
    layers = [Points("a home", x, y, "heat", hints=tuple(s["name"] for s in sites))]
    if slope := (lesson.get("slope") or {}).get("value"):
        at = lesson["at"]
        ends = [min(x), max(x)]
        layers.append(Line("trend", ends, [at["y"] + slope * (v - at["x"]) for v in ends], "water"))
    rows = tuple((s["name"], words.number(s["x"], 2), words.number(s["y"], 2)) for s in sites)
    return Chart(key, title, "", Axis(x_name), Axis(y_name), tuple(layers), ("Home", x_name, y_name), rows)
