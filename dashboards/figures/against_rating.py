"""Daily efficiency relative to the unit's rating at the same temperatures, which shows changes that weather
can't explain."""

from __future__ import annotations

from statistics import median
from typing import Any

from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.figures.chart import (
    DATES,
    Axis,
    Chart,
    Layer,
    Level,
    Line,
    Points,
    nothing,
)
from fieldfare.dashboards.figures.scale import day_number
from fieldfare.dashboards.rows.days import Row, known
from fieldfare.dashboards.text.words import day, month, share

TITLE = "Efficiency against its rating, day by day"
_LEAST_KWH = 4.0  # below this, starts and meter resolution dominate a day's efficiency


def against_rating_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    """Daily share of the rating, its median before and after each detected fall, and the day of the fall."""
    data = [
        r
        for r in known(rows, "spf_space", "rated_space")
        if r["rated_space"] > 0 and (r.get("space") or _LEAST_KWH) >= _LEAST_KWH
    ]
    if not data:
        return nothing("against_rating", TITLE, "Needs heat, electricity, flow and outdoor temperature.")
    x = [day_number(r["day"]) for r in data]
    y = [100.0 * r["spf_space"] / r["rated_space"] for r in data]
    layers: list[Layer] = [Points("a day's heating", x, y, "heat", hints=tuple(day(r["day"]) for r in data))]
    says = (
        f"In the middle of all days heating reaches {share(median(y) / 100.0)} of the rating at the same"
        " temperatures."
    )
    since = next((f["since"] for f in result["findings"] if f["code"] == "efficiency_fell"), None)
    if since is not None:
        at = day_number(since)
        parts = [[(a, b) for a, b in zip(x, y, strict=True) if (a >= at) is after] for after in (False, True)]
        if all(parts):
            before, after = (median(b for _, b in part) for part in parts)
            layers.append(Level(f"the change, {day(since)}", at, "alert", upright=True))
            for name, part, level in (("before", parts[0], before), ("since then", parts[1], after)):
                layers.append(
                    Line(f"the middle {name}", [part[0][0], part[-1][0]], [level, level], "design", "dash")
                )
            says = (
                f"Before {day(since)} a day's heating reached {share(before / 100.0)} of its rating in the"
                f" middle, since then {share(after / 100.0)}."
            )
    months: dict[str, list[float]] = {}
    for r, value in zip(data, y, strict=True):
        months.setdefault(r["day"][:7], []).append(value)
    table = tuple((month(m), str(len(v)), share(median(v) / 100.0)) for m, v in months.items())
    return Chart(
        "against_rating",
        TITLE,
        says,
        DATES,
        Axis("Share of the rating", "%", low=0.0),
        tuple(layers),
        ("Month", "Days", "Middle of the days"),
        table,
    )
