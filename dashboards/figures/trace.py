"""The trace: temperatures, powers, water flow and operating state over time, from a year of days to single
readings."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.minutes.operating_state import HOT_WATER
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.readings import MS_PER_MINUTE
from fieldfare.dashboards.figures.chart import (
    DATES,
    Axis,
    Bars,
    Chart,
    Dash,
    Line,
    Tone,
)
from fieldfare.dashboards.figures.plot import DATE_MARKS, traces_of
from fieldfare.dashboards.figures.scale import LEAST_SPAN, day_number
from fieldfare.dashboards.figures.tones import RGB
from fieldfare.dashboards.rows.days import Row
from fieldfare.dashboards.text.words import day, number, quantity_words

PANELS: tuple[tuple[str, str, tuple[float, float], tuple[tuple[str, Tone, str], ...]], ...] = (
    (
        "temperature",
        "°C",
        (0.56, 1.0),
        (
            ("flow_temperature", "heat", "solid"),
            ("return_temperature", "heat", "dot"),
            ("target_flow_temperature", "design", "dash"),
            ("cylinder_temperature", "water", "solid"),
            ("room_temperature", "room", "solid"),
            ("outdoor_temperature", "air", "solid"),
        ),
    ),
    (
        "power",
        "kW",
        (0.29, 0.52),
        (
            ("heat_output", "heat", "solid"),
            ("space_heat", "heat", "solid"),
            ("hot_water_heat", "water", "solid"),
            ("heat_pump_electricity", "power", "solid"),
            ("backup_heater_electricity", "alert", "solid"),
            ("immersion_electricity", "alert", "dot"),
        ),
    ),
    ("flow", "m³/h", (0.13, 0.25), (("flow_rate", "water", "solid"),)),
)
"""Panels from top to bottom: name, unit, share of the height, and the quantities with tone and dash."""
_MOST_MARKS, _FEW_MARKS = 6, 3
_TALL = 0.2
"""From this share of the height on a panel has room for more marks, on a phone too."""
_PRESSURE: tuple[tuple[str, Tone, str], ...] = (("system_pressure", "design", "solid"),)
"""Of the circuit: drawn over the water flow, by an axis of its own at the right."""
_PRESSURE_AXIS = "y5"
USES: tuple[tuple[str, str, Tone, str], ...] = (
    ("heating", "minutes_heating", "heat", ""),
    ("hot water", "minutes_hot_water", "water", "/"),
    ("defrost", "minutes_defrost", "alert", "x"),
)
"""Uses of the lowest panel: name, minutes in a day's row, tone, pattern. What is left blank is rest."""
_PREFERRED = ("power", "gauge", "register", "interval")


_DAY_LINES: tuple[tuple[str, str, Axis, str, tuple[tuple[str, str, Tone, Dash], ...]], ...] = (
    (
        "trace-temperatures",
        "Temperatures by day",
        Axis("Temperature", "°C"),
        "No temperature was read.",
        (
            ("flow", "flow, heating", "heat", "solid"),
            ("tank_max", "cylinder, hottest", "water", "dot"),
            ("room", "room", "room", "solid"),
            ("outdoor", "outdoors", "air", "dash"),
        ),
    ),
    (
        "trace-power",
        "Heat and electricity, means of days",
        Axis("Power", "kW", low=0.0),
        "Neither heat nor electricity was read.",
        (("heat_kw", "heat", "heat", "solid"), ("electricity_kw", "electricity", "power", "dash")),
    ),
    (
        "trace-flow",
        "Water flow by day",
        Axis("Flow", "m³/h", low=0.0),
        "No water flow was read.",
        (("flow_rate", "water flow", "water", "solid"),),
    ),
    (
        "trace-pressure",
        "Pressure of the heating circuit by day",
        Axis("Pressure", "bar", low=0.0),
        "No pressure was read.",
        (("pressure", "pressure of the circuit", "design", "solid"),),
    ),
)
"""Charts of days: key, title, axis, what an empty one says, and its lines: column, name, tone, dash."""


def trace_charts(rows: list[Row]) -> tuple[Chart, Chart, Chart, Chart, Chart]:
    """The days of the trace as charts: temperatures, powers, water flow, what each day was used for, and the
    circuit's pressure.

    Used for both the drawings and the zoomable plot.
    """
    x = [day_number(r["day"]) + 0.5 for r in rows]
    warm, power, flow, pressure = (
        Chart(key, title, "", DATES, axis, _day_lines(rows, x, lines), empty=empty)
        for key, title, axis, empty, lines in _DAY_LINES
    )
    use = Axis("Use", low=0.0, high=1.0)
    uses = Chart("trace-uses", "Use of each day", "", DATES, use, _uses(rows, x), empty="No use is known.")
    return warm, power, flow, uses, pressure


def _day_lines(
    rows: list[Row], x: list[float], lines: tuple[tuple[str, str, Tone, Dash], ...]
) -> tuple[Line, ...]:
    """Lines of the columns with any value."""
    return tuple(
        Line(name, x, [r.get(key) for r in rows], tone, dash)
        for key, name, tone, dash in lines
        if any(r.get(key) is not None for r in rows)
    )


def numbers_by_day(rows: list[Row]) -> Chart:
    """Daily values as a chart with a table but no layers."""
    columns = ("Day", "Outdoor °C", "Room °C", "Flow °C", "Cylinder °C", "Heat kWh", "Electricity kWh")
    decimals = {"outdoor": 1, "room": 1, "flow": 1, "tank_max": 1, "heat_total_kwh": 1}
    decimals |= {"electricity_total_kwh": 1, "starts": 0, "defrosts": 0}
    return Chart(
        "trace",
        "Numbers by day",
        "",
        DATES,
        Axis(""),
        (),
        columns=(*columns, "Starts", "Defrosts"),
        rows=tuple(
            (
                day(r["day"]) + (" (so far)" if r.get("so_far") else ""),
                *(number(r.get(key), digits) for key, digits in decimals.items()),
            )
            for r in rows
        ),
    )


def _uses(rows: list[Row], x: list[float]) -> tuple[Bars, ...]:
    """Stacked shares of each day by use."""
    out, base = [], [0.0] * len(rows)
    for name, key, tone, pattern in USES:
        share = [(r.get(key) or 0.0) / r["minutes_total"] for r in rows]
        if any(share):
            out.append(Bars(name, x, share, tone, base=base, hatched=bool(pattern), width=1.0))
        base = [a + b for a, b in zip(base, share, strict=True)]
    return tuple(out)


def trace_document(site: Site, result: dict[str, Any], rows: list[Row]) -> dict[str, Any]:
    """Data for the trace's script: the days as a plotly figure, and the points to fetch on zooming in.

    data, layout : plotly's. points : id -> axis, factor and offset to the panel's unit, form, name, line.
    shifts : [from ms, minutes] the site's clock against UTC. least : axis -> how much it shows at least
    """
    period = result["period"]
    charts = trace_charts(rows)
    return {
        "data": [
            trace.to_plotly_json() | {"yaxis": _y_axis(i)}
            for i, chart in enumerate(charts)
            for layer in chart.layers
            for trace in traces_of(layer, chart)
        ],
        "layout": _layout(period, has_pressure=bool(charts[-1].layers)),
        "points": _points(site),
        "shifts": _shifts(site, period),
        "uses": [{"name": n, "color": RGB[t], "pattern": p} for n, _, t, p in USES],
        "site": site.id,
        "least": {"y5": LEAST_SPAN["bar"]}
        | {_y_axis(i): LEAST_SPAN[unit] for i, (_, unit, _, _) in enumerate(PANELS)},
    }


def _y_axis(panel: int) -> str:
    return "y" if panel == 0 else f"y{panel + 1}"


def _layout(period: dict[str, Any], *, has_pressure: bool) -> dict[str, Any]:
    last = (datetime.fromisoformat(period["to"]) + timedelta(days=1)).date().isoformat()
    layout: dict[str, Any] = {
        "margin": {"l": 52, "r": 10, "t": 6, "b": 46},
        "xaxis": {
            "type": "date",
            "range": [period["from"], last],
            "anchor": "y4",
            "title": {"text": ""},
            **DATE_MARKS,
        },
        "legend": {"orientation": "h", "traceorder": "normal", "y": 1.01, "yanchor": "bottom", "x": 0},
        "dragmode": "zoom",
        "hovermode": False,
        "barmode": "overlay",
    }
    for i, (_, unit, domain, _) in enumerate(PANELS, 1):
        layout["yaxis" if i == 1 else f"yaxis{i}"] = {
            "domain": list(domain),
            "title": {"text": unit},
            "zeroline": False,
            "fixedrange": True,
            "rangemode": "normal",
            "tickmode": "auto",
            "nticks": _MOST_MARKS if domain[1] - domain[0] >= _TALL else _FEW_MARKS,
        }
    layout["yaxis4"] = {
        "domain": [0.0, 0.1],
        "range": [0, 1],
        "title": {"text": "use"},
        "showticklabels": False,
        "fixedrange": True,
        "zeroline": False,
    }
    if has_pressure:
        layout["margin"]["r"] = 46
        layout["yaxis5"] = {
            "overlaying": "y3",
            "side": "right",
            "tickmode": "auto",
            "nticks": _FEW_MARKS,
            "title": {"text": "bar"},
            "showgrid": False,
            "zeroline": False,
            "fixedrange": True,
            "rangemode": "tozero",
        }
    return layout


def _points(site: Site) -> dict[str, Any]:
    out = {}
    drawn = [(_y_axis(i), panel, quantities) for i, (panel, _, _, quantities) in enumerate(PANELS)]
    for axis, panel, quantities in [*drawn, (_PRESSURE_AXIS, "pressure", _PRESSURE)]:
        for quantity, tone, dash in quantities:
            if (point := _best(site, quantity)) is None:
                continue
            scale, offset = point.to_canonical
            factor = scale if panel != "power" else scale / 1000.0 if point.form == "power" else scale
            out[point.id] = {
                "axis": axis,
                "factor": factor,
                "offset": offset,
                "form": point.form,
                "name": quantity_words(quantity),
                "color": RGB[tone],
                "dash": dash,
            }
    return out


def _best(site: Site, quantity: str) -> Point | None:
    """The best point to plot for a quantity: a power before a register."""
    found = sorted(site.points_of(quantity), key=lambda p: _PREFERRED.index(p.form))
    return found[0] if found else None


def _shifts(site: Site, period: dict[str, Any]) -> list[list[int]]:
    """Offsets of the site's clock from UTC, from each clock change on."""
    here = datetime.fromisoformat(period["from"]).replace(tzinfo=site.zone) - timedelta(days=2)
    end = datetime.fromisoformat(period["to"]).replace(tzinfo=site.zone) + timedelta(days=2)
    out: list[list[int]] = []
    ms = int(here.timestamp()) // 3600 * 3600
    while ms < end.timestamp():
        shift = datetime.fromtimestamp(ms, site.zone).utcoffset()
        minutes = int(shift.total_seconds() // 60) if shift else 0
        if not out or out[-1][1] != minutes:
            out.append([ms * 1000, minutes])
        ms += 3600
    return out


def uses_document(facts: Facts, start: int, end: int) -> dict[str, list[list[int]]]:
    """Operating state between two times: name -> [start, length], and starts of runs.

    facts : Facts from before `start`, for runs that began earlier. start, end : ms since 1970 UTC
    """
    runs = facts.runs.where(facts.runs["use"] != HOT_WATER) if len(facts.runs) else facts.runs
    spans = {"heating": runs, "hot water": facts.reheats, "defrost": facts.defrosts}
    out = {name: _within(table, start, end) for name, table in spans.items()}
    out["start"] = [[a, 0] for a, _ in _within(facts.runs, start, end) if a >= start]
    return out


def _within(table: Table, start: int, end: int) -> list[list[int]]:
    """Events in the window, clipped to it, as [start, length] in ms."""
    if not len(table):
        return []
    begin = table["start"].astype(np.int64)
    finish = begin + table["minutes"].astype(np.int64) * MS_PER_MINUTE
    touching = (finish > start) & (begin < end)
    cut = np.maximum(begin[touching], start)
    return np.column_stack([cut, np.minimum(finish[touching], end) - cut]).tolist()
