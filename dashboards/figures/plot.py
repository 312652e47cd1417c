"""Figures as plotly figures, for zooming and reading values."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import plotly.graph_objects as go

from fieldfare.dashboards.figures.chart import (
    Axis,
    Band,
    Bars,
    Chart,
    Layer,
    Level,
    Line,
    Points,
    Spans,
)
from fieldfare.dashboards.figures.scale import EPOCH
from fieldfare.dashboards.figures.tones import RGB, faded

_SYMBOLS = {"dot": "circle", "ring": "circle-open", "cross": "x-thin-open", "square": "square"}
_DASHES = {"solid": "solid", "dash": "dash", "dot": "dot"}


def plotly_figure(chart: Chart) -> dict[str, Any]:
    """A chart as a plotly figure's plain form. Colours of axes and paper are set where it is shown, by the
    reader's theme."""
    figure = go.Figure()
    for layer in chart.layers:
        for trace in _traces(layer, chart.x):
            figure.add_trace(trace)
        if isinstance(layer, Level):
            _level(figure, layer, chart.x)
    figure.update_layout(
        template="none",
        margin={"l": 62, "r": 12, "t": 8, "b": 52},
        legend={"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0},
        barmode="overlay",
        xaxis=_axis(chart.x),
        yaxis=_axis(chart.y),
        hovermode="closest",
    )
    plain: dict[str, Any] = figure.to_plotly_json()
    plain["layout"].pop("template", None)
    return plain


def _axis(axis: Axis) -> dict[str, Any]:
    out: dict[str, Any] = {"title": {"text": axis.title}, "zeroline": False}
    if axis.dates:
        out |= {"type": "date", "title": {"text": ""}}
    elif axis.names:
        out |= {"tickmode": "array", "tickvals": list(range(len(axis.names))), "ticktext": list(axis.names)}
    if axis.low is not None and axis.high is not None and not axis.dates:
        out["range"] = [axis.low, axis.high]
    return out


def _x(axis: Axis, values: Any) -> list[Any]:
    return [(EPOCH + timedelta(v)).isoformat() for v in values] if axis.dates else list(values)


def _traces(layer: Layer, axis: Axis) -> list[Any]:
    if isinstance(layer, Points):
        return [
            go.Scatter(
                x=_x(axis, layer.x),
                y=list(layer.y),
                mode="markers",
                name=layer.name,
                text=list(layer.hints) or None,
                marker={"color": RGB[layer.tone], "size": 6, "symbol": _SYMBOLS[layer.shape]},
            )
        ]
    if isinstance(layer, Line):
        return [
            go.Scatter(
                x=_x(axis, layer.x),
                y=list(layer.y),
                mode="lines",
                name=layer.name,
                connectgaps=False,
                line={"color": RGB[layer.tone], "dash": _DASHES[layer.dash], "width": 2},
            )
        ]
    if isinstance(layer, Band):
        x = _x(axis, layer.x)
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
    if isinstance(layer, Bars):
        pattern = (
            {"shape": "/", "fgcolor": RGB[layer.tone], "bgcolor": "rgba(0,0,0,0)"} if layer.hatched else {}
        )
        return [
            go.Bar(
                x=_x(axis, layer.x),
                y=list(layer.y),
                base=list(layer.base) if layer.base else None,
                name=layer.name,
                offsetgroup=str(layer.place) if layer.of > 1 else None,
                marker={"color": RGB[layer.tone], "pattern": pattern},
            )
        ]
    if isinstance(layer, Spans):
        height = [b - a for a, b in zip(layer.low, layer.high, strict=True)]
        return [
            go.Bar(
                x=_x(axis, layer.x),
                y=height,
                base=list(layer.low),
                name=layer.name,
                marker={"color": RGB[layer.tone], "line": {"width": 0}},
            )
        ]
    return []


def _level(figure: go.Figure, layer: Level, axis: Axis) -> None:
    line = {"color": RGB[layer.tone], "dash": "dot", "width": 1.5}
    if layer.upright:
        at = _x(axis, [layer.at])[0]
        figure.add_shape(type="line", x0=at, x1=at, y0=0, y1=1, yref="paper", line=line)
    else:
        figure.add_shape(type="line", y0=layer.at, y1=layer.at, x0=0, x1=1, xref="paper", line=line)
        figure.add_annotation(
            x=1, xref="paper", y=layer.at, text=layer.name, showarrow=False, xanchor="right", yanchor="bottom"
        )
