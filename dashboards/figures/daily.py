"""Daily figures: one or two quantities by date."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.plant.zone_names import zone_name
from fieldfare.dashboards.figures.chart import (
    DATES,
    Axis,
    Bars,
    Chart,
    Layer,
    Level,
    Line,
    Points,
    Tone,
    nothing,
)
from fieldfare.dashboards.figures.scale import day_number
from fieldfare.dashboards.rows.days import Row, known
from fieldfare.dashboards.text.words import (
    capital,
    day,
    measure,
    month,
    number,
    share,
)

Series = tuple[str, str, Tone]
LONG_TABLE = 100
"""Rows of days from which a table shows weeks; every day stands in the table under the trace."""


def months_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    """Performance by day and by month."""
    boundary = best_boundary(result)
    title = "Efficiency over time"
    days = [d for d in result["performance"]["by_day"] if d.get(boundary)]
    if not days:
        return nothing("months", title, "Needs heat and electricity.")
    layers: list[Layer] = [
        Points(
            "a day",
            [day_number(d["day"]) for d in days],
            [d[boundary] for d in days],
            "faint",
            hints=tuple(day(d["day"]) for d in days),
        )
    ]
    months = [m for m in result["performance"]["by_month"] if m.get(boundary)]
    x: list[float] = []
    y: list[float | None] = []
    for m in months:
        first = day_number(f"{m['month']}-01")
        x += [first, first + 27.0, first + 27.5]
        y += [m[boundary], m[boundary], None]
    layers.append(Line("a month", x, y, "heat"))
    worst = min(months, key=lambda m: m[boundary], default=None)
    says = (
        f"The month with the lowest efficiency was {month(worst['month'])}: {number(worst[boundary], 2)}."
        if worst
        else ""
    )
    table = tuple(
        (
            month(m["month"]),
            number(m[boundary], 2),
            number(m["heat_kwh"], 0),
            number(m["electricity_kwh"], 0),
            number(m["outdoor_c"], 1),
        )
        for m in result["performance"]["by_month"]
    )
    return Chart(
        "months",
        title,
        says.strip(),
        DATES,
        Axis(f"Heat over electricity ({boundary})", low=0.0),
        tuple(layers),
        ("Month", f"SPF {boundary}", "Heat [kWh]", "Electricity [kWh]", "Outdoor [°C]"),
        table,
    )


def best_boundary(result: dict[str, Any]) -> str:
    """Widest boundary that the meters can separate."""
    performance = result["performance"]
    return next(
        (b for b in ("H4", "H3", "H2", "H1") if (performance.get(b) or {}).get("value") is not None), "H4"
    )


def _lines(
    key: str,
    title: str,
    label: str,
    unit: str,
    rows: list[Row],
    series: Sequence[Series],
    needs: str,
    levels: Sequence[Level] = (),
    says: Callable[[list[Row]], str] | None = None,
    low: float | None = None,
) -> Chart:
    """Daily values of one or two quantities as lines with gaps."""
    names = [s[0] for s in series]
    there = [r for r in rows if any(r.get(n) is not None for n in names)]
    if not there:
        return nothing(key, title, needs)
    x = [float(day_number(r["day"])) for r in there]
    dashes = ("solid", "dot")
    layers: list[Layer] = [
        Line(words, x, [r.get(name) for r in there], tone, dashes[i % 2])  # type: ignore[arg-type]
        for i, (name, words, tone) in enumerate(series)
        if any(r.get(name) is not None for r in there)
    ]
    first, table = by_day_or_week(there, names)
    caption = says(there) if says else f"{title}, {len(there)} days."
    columns = (first, *(f"{words} [{unit}]" for _, words, _ in series))
    return Chart(key, title, caption, DATES, Axis(label, unit, low=low), (*layers, *levels), columns, table)


def by_day_or_week(rows: list[Row], names: Sequence[str]) -> tuple[str, tuple[tuple[str, ...], ...]]:
    """Table of columns by day, or weekly means if that would be long; and its first heading."""
    if len(rows) <= LONG_TABLE:
        return "Day", tuple((day(r["day"]), *(number(r.get(n)) for n in names)) for r in rows)
    weeks: dict[int, list[Row]] = {}
    for r in rows:
        weeks.setdefault((day_number(r["day"]) + 3) // 7, []).append(
            r
        )  # weeks from Monday: 1 January 1970 was a Thursday
    return "Week from, means", tuple(
        (day(part[0]["day"]), *(number(_mean([r.get(n) for r in part])) for n in names))
        for part in weeks.values()
    )


def _mean(values: list[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return sum(known) / len(known) if known else None


def water_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    """Water flow while heating, with the nominal flow."""
    nominal = site.heat_pump.flow_m3_per_h
    levels = [Level("nominal", nominal, "design")] if nominal else []
    return _lines(
        "water",
        "Water through the heat pump",
        "Flow",
        "m³/h",
        rows,
        [("flow_rate", "while heating", "water")],
        "Needs flow_rate.",
        levels,
        low=0.0,
        says=lambda r: (
            f"From {_edge(r, 'flow_rate', 14)} to {_edge(r, 'flow_rate', -14)} m³/h between the first and the"
            " last fortnight."
        ),
    )


def _edge(rows: list[Row], name: str, n: int) -> str:
    values = [r[name] for r in known(rows, name)]
    part = values[:n] if n > 0 else values[n:]
    return number(sum(part) / len(part), 2) if part else "–"


def pressure_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    return _lines(
        "pressure",
        "Pressure of the heating circuit",
        "Pressure",
        "bar",
        rows,
        [("pressure", "middle of the day", "water")],
        "Needs system_pressure.",
        low=0.0,
        says=lambda r: (
            f"From {_edge(r, 'pressure', 14)} to {_edge(r, 'pressure', -14)} bar between the first and the"
            " last fortnight."
        ),
    )


def rooms_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    zones = result["comfort"]["zones"]
    below = [
        (f"{capital(zone_name(name))}: " if len(zones) > 1 else "")
        + f"{share(z['share_below_target'])} of the time below the set temperature"
        for name, z in zones.items()
        if z["share_below_target"] is not None
    ]
    return _lines(
        "rooms",
        "Room temperature",
        "Temperature",
        "°C",
        rows,
        [("room", "room", "room"), ("target", "set", "design")],
        "Needs room_temperature.",
        says=lambda r: "; ".join(below) + "." if below else f"{len(r)} days.",
    )


def cylinder_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    plant = site.hot_water
    levels = []
    if plant is not None:
        levels = [Level("setpoint", plant.setpoint_c, "design")]
        if plant.pasteurise_c:
            levels.append(Level("disinfection", plant.pasteurise_c, "alert"))
    return _lines(
        "cylinder",
        "Cylinder temperature",
        "Temperature",
        "°C",
        rows,
        [("tank_max", "hottest of the day", "heat"), ("tank_min", "coolest of the day", "water")],
        "Needs cylinder_temperature." if plant else "The system makes no hot water.",
        levels,
    )


def idle_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    return _lines(
        "idle",
        "Power while idle",
        "Power",
        "W",
        rows,
        [("idle_power", "the unit at rest", "power")],
        "Needs heat_pump_electricity as power, every few minutes.",
        low=0.0,
    )


def frost_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    return _lines(
        "frost",
        "Coldest water in frost",
        "Temperature",
        "°C",
        rows,
        [("water_min", "coldest water", "water"), ("outdoor_min", "coldest outdoors", "air")],
        "No frost, or no water temperature.",
        [Level("freezing", 0.0, "alert")],
    )


def coverage_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    there = known(rows, "known")
    if not there:
        return nothing("coverage", "Share of each day with readings", "No readings.")
    x = [float(day_number(r["day"])) for r in there]
    y = [100.0 * r["known"] for r in there]
    poor = sum(v < 90.0 for v, r in zip(y, there, strict=True) if not r.get("so_far"))
    first, table = by_day_or_week(
        [{"day": r["day"], "read": v} for r, v in zip(there, y, strict=True)], ["read"]
    )
    return Chart(
        "coverage",
        "Share of each day with readings",
        f"{poor} of {len(y)} days have less than 90 % of their minutes.",
        DATES,
        Axis("Minutes read", "%", 0.0, 100.0),
        (Bars("", x, y, "water"),),
        (first, "Read [%]"),
        table,
    )


def direct_chart(site: Site, result: dict[str, Any], rows: list[Row]) -> Chart:
    """Direct electric heat by day, back-up and immersion heater stacked."""
    title = "Direct electric heat"
    there = [
        r
        for r in rows
        if r.get("electricity_backup_kwh") is not None or r.get("electricity_immersion_kwh") is not None
    ]
    if not there:
        return nothing("direct", title, "Neither a back-up heater nor an immersion heater is metered.")
    x = [float(day_number(r["day"])) for r in there]
    backup = [r.get("electricity_backup_kwh") or 0.0 for r in there]
    immersion = [r.get("electricity_immersion_kwh") or 0.0 for r in there]
    says = (
        f"Back-up heater {measure(sum(backup), 'kWh', 0)}, immersion heater"
        f" {measure(sum(immersion), 'kWh', 0)}."
    )
    return Chart(
        "direct",
        title,
        says,
        DATES,
        Axis(
            "Electricity",
            "kWh a day",
            low=0.0,
            high=max(1.0, *map(sum, zip(backup, immersion, strict=True))) * 1.06,
        ),
        (
            Bars("back-up heater", x, backup, "power"),
            Bars("immersion heater", x, immersion, "alert", base=backup, hatched=True),
        ),
        ("Day", "Back-up [kWh]", "Immersion [kWh]"),
        tuple(
            (day(r["day"]), number(a, 1), number(b, 1))
            for r, a, b in zip(there, backup, immersion, strict=True)
            if a + b > 0.05
        ),
    )
