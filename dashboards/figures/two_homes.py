"""Two homes on one axis: heat and flow temperature over outdoor temperature, efficiency by month."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.figures.chart import (
    DATES,
    Axis,
    Chart,
    Layer,
    Line,
    Points,
    Shape,
    Tone,
    nothing,
)
from fieldfare.dashboards.figures.daily import best_boundary
from fieldfare.dashboards.figures.house_and_unit import OUTDOOR
from fieldfare.dashboards.figures.scale import day_number
from fieldfare.dashboards.rows.days import Row, known
from fieldfare.dashboards.text.words import day, month, number

_LOOKS: tuple[tuple[Tone, Shape], tuple[Tone, Shape]] = (("heat", "dot"), ("water", "ring"))
"""The first and the second home, distinguished by shape as well as by colour."""


@dataclass(frozen=True)
class Home:
    """A home for these figures."""

    name: str
    site: Site
    result: dict[str, Any]
    rows: list[Row]


def two_homes(homes: tuple[Home, Home]) -> list[Chart]:
    """All figures of a pair."""
    return [heat_of_two(homes), flow_of_two(homes), efficiency_of_two(homes)]


def heat_of_two(homes: tuple[Home, Home]) -> Chart:
    """Daily heat to the rooms, with each house's measured line."""
    layers, table = [], []
    for home, (tone, shape) in zip(homes, _LOOKS, strict=True):
        data = [r for r in known(home.rows, "space", "outdoor") if (r.get("known") or 0) > 0.9]
        kw = [r["space"] / (r["minutes_total"] / 60.0) for r in data]
        layers += _points(home.name, [r["outdoor"] for r in data], kw, data, tone, shape)
        loss = home.result["heat_loss"]
        fit, base = (loss["coefficient_w_per_k"] or {}).get("value"), loss["base_temperature_c"]
        if fit and base is not None and data:
            low = min(r["outdoor"] for r in data)
            layers.append(Line("", [low, base], [fit / 1000.0 * (base - low), 0.0], tone, "solid"))
        table += [
            (home.name, day(r["day"]), number(r["outdoor"], 1), number(v, 2))
            for r, v in zip(data, kw, strict=True)
        ]
    return _chart(
        "two-heat",
        "Heat to the rooms",
        OUTDOOR,
        Axis("Heat to rooms", "kW", low=0.0),
        layers,
        ("Home", "Day", "Outdoor [°C]", "Heat [kW]"),
        table,
        "Neither home has heat and outdoor temperature.",
    )


def flow_of_two(homes: tuple[Home, Home]) -> Chart:
    """Daily flow temperature, with each designed curve."""
    layers, table = [], []
    for home, (tone, shape) in zip(homes, _LOOKS, strict=True):
        data = [r for r in known(home.rows, "flow", "outdoor_steady") if (r.get("minutes_steady") or 0) >= 60]
        layers += _points(
            home.name, [r["outdoor_steady"] for r in data], [r["flow"] for r in data], data, tone, shape
        )
        if home.site.heating_curve is not None:
            points = home.site.heating_curve.points
            layers.append(
                Line(f"{home.name}, designed", [p[0] for p in points], [p[1] for p in points], tone, "dash")
            )
        table += [
            (home.name, day(r["day"]), number(r["outdoor_steady"], 1), number(r["flow"], 1)) for r in data
        ]
    return _chart(
        "two-flow",
        "Flow temperature and heating curve",
        OUTDOOR,
        Axis("Flow temperature", "°C"),
        layers,
        ("Home", "Day", "Outdoor [°C]", "Flow [°C]"),
        table,
        "Neither home has an hour of steady heating with both temperatures.",
    )


def efficiency_of_two(homes: tuple[Home, Home]) -> Chart:
    """Monthly efficiency, at the widest boundary known for both homes."""
    boundary = next(
        (
            b
            for b in ("H4", "H3", "H2", "H1")
            if all((h.result["performance"].get(b) or {}).get("value") for h in homes)
        ),
        best_boundary(homes[0].result),
    )
    layers: list[Layer] = []
    table = []
    for home, (tone, _), dash in zip(homes, _LOOKS, ("solid", "dash"), strict=True):
        months = [m for m in home.result["performance"]["by_month"] if m.get(boundary)]
        if months:
            x = [day_number(f"{m['month']}-15") * 1.0 for m in months]
            y = [m[boundary] for m in months]
            layers.append(Line(home.name, x, y, tone, dash))  # type: ignore[arg-type]
        table += [(home.name, month(m["month"]), number(m[boundary], 2)) for m in months]
    return _chart(
        "two-efficiency",
        f"Efficiency by month ({boundary})",
        DATES,
        Axis("Heat over electricity", low=0.0),
        layers,
        ("Home", "Month", boundary),
        table,
        "No boundary is known of both homes.",
    )


def _points(
    name: str, x: list[float], y: list[float], data: list[Row], tone: Tone, shape: Shape
) -> list[Layer]:
    return [Points(name, x, y, tone, shape, tuple(day(r["day"]) for r in data))] if data else []


def _chart(
    key: str,
    title: str,
    x: Axis,
    y: Axis,
    layers: list[Layer],
    columns: tuple[str, ...],
    table: Sequence[tuple[str, ...]],
    empty: str,
) -> Chart:
    if not layers:
        return nothing(key, title, empty)
    return Chart(key, title, "", x, y, tuple(layers), columns, tuple(table))
