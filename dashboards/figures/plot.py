"""Plotly figures, for zooming and reading values, from the same charts as the drawings."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import plotly.graph_objects as go

from fieldfare.dashboards.figures.chart import (
    Axis,
    Band,
    Bars,
    Cells,
    Chart,
    Layer,
    Level,
    Line,
    Points,
    Spans,
)
from fieldfare.dashboards.figures.scale import EPOCH, extent, ticks
from fieldfare.dashboards.figures.tones import RGB, faded

_SYMBOLS = {"dot": "circle", "ring": "circle-open", "cross": "x-thin-open", "square": "square"}
_MS_PER_DAY = 86_400_000.0
DATE_MARKS: dict[str, Any] = {
    "tickformatstops": [
        {"dtickrange": [None, 60_000], "value": "%H:%M:%S\n%-d %b %Y"},
        {"dtickrange": [60_000, _MS_PER_DAY], "value": "%H:%M\n%-d %b %Y"},
        {"dtickrange": [_MS_PER_DAY, "M1"], "value": "%-d %b\n%Y"},
        {"dtickrange": ["M1", "M12"], "value": "%b\n%Y"},
        {"dtickrange": ["M12", None], "value": "%Y"},
    ],
    "hoverformat": "%-d %b %Y %H:%M",
}
"""Dates beside an axis in the form that texts have, from years down to seconds."""
_SLOT = 0.78
"""Share of a bar's width that is filled, as in the drawing."""


def plotly_figure(chart: Chart) -> dict[str, Any]:
    """A chart as a plotly figure in plain form. The page sets the colours of axes and background, by the
    reader's theme."""
    figure = go.Figure()
    if not chart.is_empty:
        for layer in chart.layers:
            for trace in traces_of(layer, chart):
                figure.add_trace(trace)
    xs, ys = extent(chart)
    figure.update_layout(
        template="none",
        margin={"l": 62, "r": 12, "t": 8, "b": 52},
        legend={"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0},
        barmode="overlay",
        xaxis=axis_of(chart.x, xs),
        yaxis=axis_of(chart.y, ys),
        hovermode="closest",
    )
    plain: dict[str, Any] = figure.to_plotly_json()
    plain["layout"].pop("template", None)
    return plain


def axis_of(axis: Axis, ends: tuple[float, float]) -> dict[str, Any]:
    """An axis with title and range, as in the drawing."""
    out: dict[str, Any] = {"title": {"text": axis.title}, "zeroline": False, "range": places(axis, ends)}
    if axis.dates:
        out |= {"type": "date", "title": {"text": ""}, **DATE_MARKS}
    elif axis.names or axis.clock:
        marks = ticks(axis, *ends)
        out |= {"tickmode": "array", "tickvals": [v for v, _ in marks], "ticktext": [w for _, w in marks]}
    return out


def places(axis: Axis, values: Any) -> list[Any]:
    """Axis values for plotly: days since 1970 become local date and time."""
    if not axis.dates:
        return list(values)
    start = datetime.combine(EPOCH, datetime.min.time())
    return [(start + timedelta(v)).isoformat(timespec="minutes") for v in values]


def traces_of(layer: Layer, chart: Chart) -> list[Any]:
    """A layer as one trace."""
    if isinstance(layer, Points):
        return [
            go.Scatter(
                x=places(chart.x, layer.x),
                y=list(layer.y),
                mode="markers",
                name=layer.name,
                text=list(layer.hints) or None,
                marker={"color": RGB[layer.tone], "size": 6, "symbol": _SYMBOLS[layer.shape]},
                showlegend=bool(layer.name),
            )
        ]
    if isinstance(layer, Line):
        return [
            go.Scatter(
                x=places(chart.x, layer.x),
                y=list(layer.y),
                mode="lines",
                name=layer.name,
                connectgaps=False,
                line={"color": RGB[layer.tone], "dash": layer.dash, "width": 2},
                showlegend=bool(layer.name),
            )
        ]
    if isinstance(layer, Level):
        return [_level(layer, chart)]
    if isinstance(layer, Band):
        x = places(chart.x, layer.x)
        return [
            go.Scatter(
                x=[*x, *x[::-1]],
                y=[*layer.high, *list(layer.low)[::-1]],
                fill="toself",
                mode="lines",
                name=layer.name,
                line={"width": 0},
                fillcolor=faded(layer.tone),
                hoverinfo="skip",
            )
        ]
    return [_cells(layer) if isinstance(layer, Cells) else _bars(layer, chart)]


def _bars(layer: Bars | Spans, chart: Chart) -> Any:
    day = _MS_PER_DAY if chart.x.dates else 1.0
    marker: dict[str, Any] = {"color": RGB[layer.tone], "line": {"width": 0}}
    if isinstance(layer, Spans):
        height: list[Any] = [b - a for a, b in zip(layer.low, layer.high, strict=True)]
        base, wide, offset = list(layer.low), 0.8 * day, -0.4 * day
    else:
        height, base = list(layer.y), list(layer.base) if layer.base else [0.0] * len(layer.x)
        slot = layer.width * _SLOT * day
        wide, offset = slot / layer.of, slot * (layer.place / layer.of - 0.5)
        if layer.hatched:
            marker["pattern"] = {"shape": "/", "fgcolor": RGB[layer.tone], "bgcolor": "rgba(0,0,0,0)"}
    return go.Bar(
        x=places(chart.x, layer.x),
        y=height,
        base=base,
        width=wide,
        offset=offset,
        name=layer.name,
        marker=marker,
        showlegend=bool(layer.name),
    )


def _level(layer: Level, chart: Chart) -> Any:
    xs, ys = extent(chart)
    x, y = ((layer.at, layer.at), ys) if layer.upright else (xs, (layer.at, layer.at))
    return go.Scatter(
        x=places(chart.x, x),
        y=list(y),
        mode="lines",
        name=layer.name,
        showlegend=bool(layer.name),
        line={"color": RGB[layer.tone], "dash": "dot", "width": 1.5},
    )


def _cells(layer: Cells) -> Any:
    """A map as plotly's heat map with texts: markers of a cell's size would overlap when zoomed out."""
    columns, rows = (_steps(layer.x, layer.wide), _steps(layer.y, layer.high))
    values: list[list[float | None]] = [[None] * len(columns) for _ in rows]
    texts = [[""] * len(columns) for _ in rows]
    marked = layer.marked or (False,) * len(layer.x)
    for x, y, value, text, is_marked in zip(layer.x, layer.y, layer.values, layer.texts, marked, strict=True):
        row, column = _nearest(rows, y), _nearest(columns, x)
        values[row][column] = value
        texts[row][column] = f"[{text}]" if is_marked else text
    return go.Heatmap(
        x=columns,
        y=rows,
        z=values,
        text=texts,
        texttemplate="%{text}",
        name=layer.name,
        showscale=False,
        xgap=1,
        ygap=1,
        colorscale=[[0.0, faded(layer.tone)], [1.0, RGB[layer.tone]]],
        hoverongaps=False,
    )


def _steps(values: Any, size: float) -> list[float]:
    low, high = min(values), max(values)
    return [low + size * i for i in range(round((high - low) / size) + 1)]


def _nearest(grid: list[float], value: float) -> int:
    return min(range(len(grid)), key=lambda i: abs(grid[i] - value))
