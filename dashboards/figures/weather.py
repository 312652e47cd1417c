"""Figures over outdoor temperature: heat, flow temperature, efficiency."""

from __future__ import annotations

from statistics import mean, median
from typing import Any

from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.day_rows import Row, known
from fieldfare.dashboards.figures.chart import (
    Axis,
    Band,
    Chart,
    Layer,
    Line,
    Points,
    nothing,
)
from fieldfare.dashboards.text.words import (
    day,
    interval,
    measure,
    number,
)

_OUTDOOR = Axis("Outdoor temperature", "°C")


def heat_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    """Daily heat to the rooms over outdoor temperature, with the designed line, the fitted one and its
    band."""
    title = "Heat given against outdoor temperature"
    loss = result["heat_loss"]
    name = "space" if known(rows, "space", "outdoor") else "q_total"
    data = [r for r in known(rows, name, "outdoor") if (r.get("known") or 0) > 0.9]
    if not data:
        return nothing("heat", title, loss["reason"] or "No day has both heat and outdoor temperature.")
    kw = [r[name] / (r["n_minutes"] / 60.0) for r in data]
    out = [r["outdoor"] for r in data]
    layers: list[Layer] = []
    low = min([*out, site.design.outdoor_c] if site.design.outdoor_c is not None else out)
    fit = loss["coefficient_w_per_k"] or {}
    base = loss["base_temperature_c"]
    if fit.get("value") and base is not None:
        layers += _fitted(fit, base, low, [t for t in out if t < base])
    layers.append(Points("a day", out, kw, "heat", hints=tuple(day(r["day"]) for r in data)))
    if site.design.heat_loss_kw and site.design.outdoor_c is not None:
        ends = [site.design.outdoor_c, site.design.indoor_c]
        layers.append(Line("designed loss", ends, [site.design.heat_loss_kw, 0.0], "design", "dash"))
    says = _heat_words(loss)
    rows_out = tuple(
        (day(r["day"]), number(r["outdoor"], 1), number(v, 2)) for r, v in zip(data, kw, strict=True)
    )
    label = "Heat to rooms" if name == "space" else "All heat"
    return Chart(
        "heat",
        title,
        says,
        _OUTDOOR,
        Axis(label, "kW", low=0.0),
        tuple(layers),
        ("Day", "Outdoor [°C]", f"{label} [kW]"),
        rows_out,
    )


def _fitted(fit: dict[str, Any], base: float, low: float, cold: list[float]) -> list[Layer]:
    """The fitted line down to no heat, and its band: steeper or flatter about the days' own middle."""
    x = [low, base]
    slope = fit["value"] / 1000.0
    middle = mean(cold) if cold else (low + base) / 2
    height = slope * (base - middle)
    layers: list[Layer] = []
    if fit.get("low") is not None:
        grid = [low + (base - low) * i / 12 for i in range(13)]
        a = [max(height + fit["low"] / 1000.0 * (middle - t), 0.0) for t in grid]
        b = [max(height + fit["high"] / 1000.0 * (middle - t), 0.0) for t in grid]
        pairs = [(min(p), max(p)) for p in zip(a, b, strict=True)]
        layers.append(Band("its 95 % band", grid, [p[0] for p in pairs], [p[1] for p in pairs], "water"))
    layers.append(Line("fitted", x, [slope * (base - low), 0.0], "water"))
    return layers


def _heat_words(loss: dict[str, Any]) -> str:
    if not (loss["heat_loss_kw"] or {}).get("value"):
        return loss["reason"] or "No heat loss could be fitted."
    text = f"Measured heat loss at the design temperatures is {interval(loss['heat_loss_kw'], 'kW', 1)}"
    if loss["design_kw"]:
        text += f"; the design said {measure(loss['design_kw'], 'kW', 1)}"
    text += f". From {loss['days_used']} days."
    gains = loss["free_gains_w"]
    if gains and gains > 50:
        text += f" Sun and occupants supply about {measure(gains / 1000.0, 'kW', 1)}."
    return text


def curve_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    """Flow temperature over outdoor temperature: each day, the fitted line and the designed curve."""
    title = "Flow temperature against outdoor temperature"
    data = [r for r in known(rows, "flow", "outdoor_steady") if (r.get("n_steady") or 0) >= 60]
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
        _OUTDOOR,
        Axis("Flow temperature", "°C"),
        tuple(layers),
        ("Day", "Outdoor while heating [°C]", "Flow [°C]"),
        table,
    )


def efficiency_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    """Daily efficiency of heating over temperature lift, with the unit's rating at the same temperatures."""
    title = "Efficiency against temperature lift"
    data = known(rows, "spf_space", "flow_by_heat", "outdoor_steady")
    if not data:
        return nothing("efficiency", title, "Needs heat, electricity, flow and outdoor temperature.")
    lift = [r["flow_by_heat"] - r["outdoor_steady"] for r in data]
    layers: list[Layer] = [
        Points(
            "a day's heating",
            lift,
            [r["spf_space"] for r in data],
            "heat",
            hints=tuple(day(r["day"]) for r in data),
        )
    ]
    binned = _middle(lift, [r.get("rated_space") for r in data])
    if binned:
        layers.append(
            Line(
                "its rating at the same temperatures",
                [b[0] for b in binned],
                [b[1] for b in binned],
                "design",
                "dash",
            )
        )
    points = [(p.flow_c - p.outdoor_c, p.cop) for p in site.heat_pump.rating]
    if points:
        layers.append(
            Points(
                "rating point (EN 14511)", [p[0] for p in points], [p[1] for p in points], "design", "square"
            )
        )
    expected = result["performance"]["expected"]
    says = "Each point is a day: heat to the rooms over the electricity used for it."
    if expected and expected["space_heating"] and expected["measured_space_heating"]:
        says = (
            f"Heating gave {number(expected['measured_space_heating'], 2)} units of heat for one of"
            f" electricity; the rating at the same temperatures says {number(expected['space_heating'], 2)}."
        )
    table = tuple(
        (day(r["day"]), number(x, 1), number(r["spf_space"], 2), number(r.get("rated_space"), 2))
        for r, x in zip(data, lift, strict=True)
    )
    return Chart(
        "efficiency",
        title,
        says,
        Axis("Lift: flow above outdoors", "K"),
        Axis("Heat over electricity", low=0.0),
        tuple(layers),
        ("Day", "Lift [K]", "Measured", "Rated"),
        table,
    )


def _middle(x: list[float], y: list[float | None], step: float = 4.0) -> list[tuple[float, float]]:
    """Medians by steps of x that hold at least three values."""
    bins: dict[int, list[float]] = {}
    for a, b in zip(x, y, strict=True):
        if b is not None:
            bins.setdefault(round(a / step), []).append(b)
    return [(k * step, median(v)) for k, v in sorted(bins.items()) if len(v) >= 3]
