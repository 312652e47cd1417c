"""Heat need of the house and output of the unit over outdoor temperature, and where they cross.

The form of a sizing diagram: the load line of EN 12831, the unit's output at the flow temperature that goes
with each outdoor temperature, and the bivalent temperature of EN 14825 where they cross.
"""

from __future__ import annotations

import itertools
from statistics import mean
from typing import Any

import numpy as np

from fieldfare.analysis.facts.minutes import rated
from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.plant.site import Design, Site
from fieldfare.dashboards.figures.chart import (
    Axis,
    Band,
    Chart,
    Layer,
    Line,
    Points,
    nothing,
)
from fieldfare.dashboards.rows.days import Row, known
from fieldfare.dashboards.text.words import (
    day,
    degrees,
    interval,
    measure,
    number,
)

OUTDOOR = Axis("Outdoor temperature", "°C")
TITLE = "What the house needs, what the unit can give"
_STEP_K = 1.0
_HEATED_TO_C = 20.0
"""Up to here the output is of interest; above it nobody heats."""
_SOURCE_C = {"brine": 0.0, "water": 10.0}
"""Temperatures at which ground and water sources are rated (EN 14511)."""
_FLOW_C = 45.0
"""Flow temperature where no heating curve is known: a rated one of EN 14511 for radiators that were
resized."""


def heat_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    """Daily heat to the rooms over outdoor temperature, with the house's line by design and as measured, and
    the unit's output.

    The y axis ends slightly above the lines' cold ends: the output in mild weather is irrelevant.
    """
    loss = result["heat_loss"]
    name = "space" if known(rows, "space", "outdoor") else "heat_total_kwh"
    data = [r for r in known(rows, name, "outdoor") if (r.get("known") or 0) > 0.9]
    if not data:
        return nothing("heat", TITLE, loss["reason"] or "No day has both heat and outdoor temperature.")
    kw = [r[name] / (r["minutes_total"] / 60.0) for r in data]
    out = [r["outdoor"] for r in data]
    design = site.design
    low = min([*out, design.outdoor_c] if design.outdoor_c is not None else out)
    layers: list[Layer] = []
    house = measured_line(loss, low, out)
    layers += house
    layers.append(Points("a day", out, kw, "heat", hints=tuple(day(r["day"]) for r in data)))
    designed = _designed_line(design)
    if designed is not None:
        layers.append(designed)
    output = output_line(site, result, low)
    crossing = None
    if output is not None:
        layers.append(output)
        line = next((x for x in house if isinstance(x, Line)), designed)
        crossing = crossing_of(line, output) if line is not None else None
    if crossing is not None:
        layers.append(
            Points(
                f"crossing at {degrees(round(crossing[0], 1))}", [crossing[0]], [crossing[1]], "alert", "ring"
            )
        )
    label = "Heat to rooms" if name == "space" else "All heat"
    high = 1.15 * max([*kw, *(y for x in layers if isinstance(x, Line) for y in (x.y[0],) if y)])
    return Chart(
        "heat",
        TITLE,
        f"{_loss_words(loss)}{_cover_words(site, house, designed, output, crossing)}",
        OUTDOOR,
        Axis(label, "kW", low=0.0, high=high),
        tuple(layers),
        ("Day", "Outdoor [°C]", f"{label} [kW]"),
        tuple((day(r["day"]), number(r["outdoor"], 1), number(v, 2)) for r, v in zip(data, kw, strict=True)),
    )


def _designed_line(design: Design) -> Line | None:
    if not design.heat_loss_kw or design.outdoor_c is None:
        return None
    ends = [design.outdoor_c, design.indoor_c]
    return Line("house by design", ends, [design.heat_loss_kw, 0.0], "design", "dash")


def measured_line(loss: dict[str, Any], low: float, outdoor: list[float]) -> list[Layer]:
    """The fitted line of a house from `low` [°C] to zero heat, with its band: slope limits about the mean of
    the days."""
    fit, base = loss["coefficient_w_per_k"] or {}, loss["base_temperature_c"]
    if not fit.get("value") or base is None:
        return []
    slope = fit["value"] / 1000.0
    cold = [t for t in outdoor if t < base]
    middle = mean(cold) if cold else (low + base) / 2
    height = slope * (base - middle)
    layers: list[Layer] = []
    if fit.get("low") is not None:
        grid = [low + (base - low) * i / 12 for i in range(13)]
        a = [max(height + fit["low"] / 1000.0 * (middle - t), 0.0) for t in grid]
        b = [max(height + fit["high"] / 1000.0 * (middle - t), 0.0) for t in grid]
        pairs = [(min(p), max(p)) for p in zip(a, b, strict=True)]
        layers.append(Band("95 % band", grid, [p[0] for p in pairs], [p[1] for p in pairs], "water"))
    layers.append(Line("house as measured", [low, base], [slope * (base - low), 0.0], "water"))
    return layers


def output_line(site: Site, result: dict[str, Any], low: float) -> Line | None:
    """The unit's full output over outdoor temperature, by its rating, corrected by measurements at full
    output.

    The flow temperature follows the designed curve, else the fitted one, else 45 °C. None without a rated
    output
    """
    grid = np.arange(low, _HEATED_TO_C + _STEP_K / 2, _STEP_K)
    curve = site.heating_curve.points if site.heating_curve is not None else result["heating_curve"]["fitted"]
    flow = curve_at(tuple(map(tuple, curve)), grid) if curve else np.full(len(grid), _FLOW_C)
    source = (
        np.full(len(grid), _SOURCE_C[site.heat_pump.source]) if site.heat_pump.source in _SOURCE_C else grid
    )
    kw = np.asarray(rated(site).capacity_kw(source, flow), dtype=np.float64)
    if not np.isfinite(kw).any():
        return None
    share = result["capacity"]["measured_share_of_rating"]
    name = "unit's output, rated" if share is None else "unit's output, measured"
    kw = kw * (1.0 if share is None else share)
    return Line(name, grid.tolist(), [float(v) if np.isfinite(v) else None for v in kw], "power")


def crossing_of(house: Line, unit: Line) -> tuple[float, float] | None:
    """Where the unit's output falls below the house's need: outdoor temperature [°C] and power [kW].

    house : a straight line of two points. None where they don't cross within the drawing
    """
    (x0, x1), (y0, y1) = house.x, house.y
    if y0 is None or y1 is None or x1 <= x0:
        return None
    gaps = [
        (x, (y - (y0 + (y1 - y0) * (x - x0) / (x1 - x0))), y)
        for x, y in zip(unit.x, unit.y, strict=True)
        if y is not None and x0 <= x <= x1
    ]
    for (xa, a, ya), (xb, b, yb) in itertools.pairwise(gaps):
        if a <= 0.0 < b:
            part = -a / (b - a)
            return xa + part * (xb - xa), ya + part * (yb - ya)
    return None


def _loss_words(loss: dict[str, Any]) -> str:
    if not (loss["heat_loss_kw"] or {}).get("value"):
        text: str = loss["reason"] or "No heat loss could be fitted."
        return text if text.endswith(".") else f"{text}."
    text = f"Measured heat loss at the design temperatures is {interval(loss['heat_loss_kw'], 'kW', 1)}"
    if loss["design_kw"]:
        text += f"; the design said {measure(loss['design_kw'], 'kW', 1)}"
    text += f". From {loss['days_used']} days."
    gains = loss["free_gains_w"]
    if gains and gains > 50:
        text += f" Sun and occupants supply about {measure(gains / 1000.0, 'kW', 1)}."
    return text


def _cover_words(
    site: Site,
    house: list[Layer],
    designed: Line | None,
    output: Line | None,
    crossing: tuple[float, float] | None,
) -> str:
    """Whether the unit covers the heat of the rooms, stated only if both lines are drawn."""
    line = next((x for x in house if isinstance(x, Line)), designed)
    if output is None or line is None:
        return ""
    by = "By its rating" if output.name.endswith("rated") else "As measured"
    if crossing is not None:
        return (
            f" {by}, below {degrees(round(crossing[0], 1))} outdoors the unit alone does not cover the heat"
            " to the rooms."
        )
    first, needed = output.y[0], line.y[0]
    if site.design.outdoor_c is None or first is None or needed is None or first < needed:
        return ""
    return f" {by}, the unit covers the heat to the rooms down to {degrees(site.design.outdoor_c)} outdoors."
