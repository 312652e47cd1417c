"""Flow temperature over outdoor temperature."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.figures.chart import (
    Axis,
    Chart,
    Layer,
    Line,
    Points,
    nothing,
)
from fieldfare.dashboards.figures.house_and_unit import OUTDOOR
from fieldfare.dashboards.rows.days import Row, known
from fieldfare.dashboards.text.words import day, measure, number


def curve_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    """Daily flow temperature over outdoor temperature, with the fitted line and the designed curve."""
    title = "Flow temperature against outdoor temperature"
    data = [r for r in known(rows, "flow", "outdoor_steady") if (r.get("minutes_steady") or 0) >= 60]
    curve = result["heating_curve"]
    if not data:
        return nothing(
            "curve", title, curve["reason"] or "No day has an hour of steady heating with both temperatures."
        )
    layers: list[Layer] = [
        Points(
            "a day",
            [r["outdoor_steady"] for r in data],
            [r["flow"] for r in data],
            "heat",
            hints=tuple(day(r["day"]) for r in data),
        )
    ]
    if curve["fitted"]:
        layers.append(
            Line("as it ran", [p[0] for p in curve["fitted"]], [p[1] for p in curve["fitted"]], "water")
        )
    if site.heating_curve is not None:
        points = site.heating_curve.points
        layers.append(
            Line("designed curve", [p[0] for p in points], [p[1] for p in points], "design", "dash")
        )
    above = curve["above_design_k"]
    if above is not None:
        says = (
            f"On average the water was {measure(abs(above), 'K', 1)} {'above' if above >= 0 else 'below'} the"
            " designed curve."
        )
    else:
        says = curve["reason"] or "No designed curve is known."
    if curve["compensating"] is False:
        says += " It did not follow the weather."
    table = tuple((day(r["day"]), number(r["outdoor_steady"], 1), number(r["flow"], 1)) for r in data)
    return Chart(
        "curve",
        title,
        says,
        OUTDOOR,
        Axis("Flow temperature", "°C"),
        tuple(layers),
        ("Day", "Outdoor while heating [°C]", "Flow [°C]"),
        table,
    )
