"""Map of measured efficiency over outdoor and flow temperature, with the rating at the same temperatures."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.figures.chart import (
    Axis,
    Cells,
    Chart,
    nothing,
)
from fieldfare.dashboards.figures.house_and_unit import OUTDOOR
from fieldfare.dashboards.rows.days import Row, known
from fieldfare.dashboards.text.words import measure, number, share

TITLE = "Efficiency by outdoor and flow temperature"
CELL_K = 5.0
"""Wide enough for a number on a phone, narrow enough that the rating changes little within a cell."""


def efficiency_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    """Efficiency of the days in each cell; cells well below the rating have a frame."""
    data = [r for r in known(rows, "spf_space", "flow_by_heat", "outdoor_steady") if r["spf_space"] > 0]
    if not data:
        return nothing("efficiency", TITLE, "Needs heat, electricity, flow and outdoor temperature.")
    cells = _cells(data)
    least = limit_of(site, "efficiency_watch")
    poor = tuple(c["rated"] is not None and c["measured"] < least * c["rated"] for c in cells)
    layer = Cells(
        f"below {share(least)} of its rating" if any(poor) else "",
        [c["outdoor"] for c in cells],
        [c["flow"] for c in cells],
        [c["measured"] for c in cells],
        tuple(number(c["measured"], 1) for c in cells),
        CELL_K,
        CELL_K,
        poor,
    )
    table = tuple(
        (
            _range(c["outdoor"]),
            _range(c["flow"]),
            str(c["days"]),
            number(c["measured"], 2),
            number(c["rated"], 2),
            share(c["measured"] / c["rated"]) if c["rated"] else "–",
        )
        for c in cells
    )
    return Chart(
        "efficiency",
        TITLE,
        _says(result),
        OUTDOOR,
        Axis("Flow temperature", "°C"),
        (layer,),
        ("Outdoor", "Flow", "Days", "Measured", "Rated", "Of its rating"),
        table,
    )


def _cells(data: list[Row]) -> list[dict[str, Any]]:
    """Cells with at least one day, coldest first; days are weighted by heat."""
    groups: dict[tuple[float, float], list[Row]] = {}
    for r in data:
        key = tuple((v // CELL_K + 0.5) * CELL_K for v in (r["outdoor_steady"], r["flow_by_heat"]))
        groups.setdefault(key, []).append(r)
    out = []
    for (outdoor, flow), days in sorted(groups.items()):
        both = [r for r in days if r.get("rated_space")]
        rated = _efficiency(both, "rated_space") if len(both) == len(days) else None
        measured = _efficiency(days, "spf_space")
        out.append(
            {"outdoor": outdoor, "flow": flow, "days": len(days), "measured": measured, "rated": rated}
        )
    return out


def _efficiency(days: list[Row], name: str) -> float:
    """Efficiency of several days together, from each day's heat and efficiency."""
    heat = [(r.get("space") or 0.0) if (r.get("space") or 0.0) > 0 else 1.0 for r in days]
    return sum(heat) / sum(q / r[name] for q, r in zip(heat, days, strict=True))


def _range(middle: float) -> str:
    return f"{number(middle - CELL_K / 2, 0)} to {measure(middle + CELL_K / 2, '°C', 0)}"


def _says(result: dict[str, Any]) -> str:
    expected = result["performance"]["expected"]
    if expected and expected["space_heating"] and expected["measured_space_heating"]:
        return (
            f"Heating gave {number(expected['measured_space_heating'], 2)} units of heat for one of"
            f" electricity; the rating at the same temperatures says {number(expected['space_heating'], 2)}."
        )
    return "Each cell: heat to the rooms over the electricity used for it."
