"""Figures as small clean vectors: inline SVG whose colours come from the page's style sheet."""

from __future__ import annotations

import math
from html import escape

from markupsafe import Markup

from fieldfare.dashboards.figures.chart import (
    Band,
    Bars,
    Chart,
    Layer,
    Level,
    Line,
    Points,
    Spans,
)
from fieldfare.dashboards.figures.scale import (
    Scale,
    ends,
    ticks,
    values_of,
)
from fieldfare.dashboards.text.words import reason

WIDTH, HEIGHT = 560.0, 330.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 58.0, 14.0, 30.0, 46.0
_LEGEND_LINE = 18.0
_FEW = 60
"""So many points are drawn one by one with their names; more make one path, which keeps a page small."""


def svg(chart: Chart, *, width: float = WIDTH, height: float = HEIGHT) -> Markup:
    """A chart as an SVG element with its sentence as text alternative."""
    if chart.is_empty:
        return Markup(f'<p class="no-figure">{escape(reason(chart.empty or chart.says))}</p>')  # noqa: S704
    legend, rows = _legend(chart, width)
    top = _TOP + (rows - 1) * _LEGEND_LINE if rows else 12.0
    xs = Scale(*ends(chart.x, values_of(chart.layers, "x"), pad=0.02), _LEFT, width - _RIGHT)
    ys = Scale(*ends(chart.y, values_of(chart.layers, "y"), pad=0.06), height - _BOTTOM, top)
    room = (_LEFT, top - 4, width - _LEFT - _RIGHT, height - _BOTTOM - top + 4)
    # An inner svg clips what lies beyond the axes, without an id that would stand twice on a page.
    inner = '<svg x="{0:g}" y="{1:g}" width="{2:g}" height="{3:g}" viewBox="{0:g} {1:g} {2:g} {3:g}">'.format(
        *room
    )
    drawn = "".join(_draw(layer, xs, ys) for layer in chart.layers)
    name = escape(f"{chart.title}. {chart.says}", quote=True)
    return Markup(  # noqa: S704
        f'<svg class="fig" viewBox="0 0 {width:g} {height:g}" role="img" aria-label="{name}">'
        f"{_frame(chart, xs, ys, width, height)}{inner}{drawn}</svg>{legend}</svg>"
    )


def _frame(chart: Chart, xs: Scale, ys: Scale, width: float, height: float) -> str:
    floor = height - _BOTTOM
    out = []
    for at, word in ticks(chart.y, ys.low, ys.high, 5):
        y = ys.at(at)
        out.append(f'<path class="grid" d="M{_LEFT:g} {y:.1f}H{width - _RIGHT:g}"/>')
        out.append(
            f'<text class="tick" x="{_LEFT - 7:g}" y="{y + 4:.1f}" text-anchor="end">{escape(word)}</text>'
        )
    before = -99.0
    for at, word in ticks(chart.x, xs.low, xs.high, 7):
        x = xs.at(at)
        if _LEFT - 1 <= x <= width - _RIGHT + 1 and x - before > 8.0 + 6.2 * len(word):
            before = x
            out.append(f'<path class="axis" d="M{x:.1f} {floor:g}v4"/>')
            anchor = "end" if x > width - _RIGHT - 12 else "middle"
            out.append(
                f'<text class="tick" x="{x:.1f}" y="{floor + 17:g}"'
                f' text-anchor="{anchor}">{escape(word)}</text>'
            )
    out.append(f'<path class="axis" d="M{_LEFT:g} {floor:g}H{width - _RIGHT:g}"/>')
    if not chart.x.dates and not chart.x.names:
        out.append(
            f'<text class="label" x="{(_LEFT + width - _RIGHT) / 2:g}" y="{height - 8:g}"'
            f' text-anchor="middle">{escape(chart.x.title)}</text>'
        )
    middle = (floor + ys.b) / 2
    out.append(
        f'<text class="label" transform="translate(13 {middle:g}) rotate(-90)"'
        f' text-anchor="middle">{escape(chart.y.title)}</text>'
    )
    return "".join(out)


def _draw(layer: Layer, xs: Scale, ys: Scale) -> str:
    if isinstance(layer, Points):
        return _points(layer, xs, ys)
    if isinstance(layer, Line):
        return f'<path class="line {layer.tone} {layer.dash}" d="{_path(layer, xs, ys)}"/>'
    if isinstance(layer, Band):
        return _band(layer, xs, ys)
    if isinstance(layer, Bars):
        return _bars(layer, xs, ys)
    if isinstance(layer, Spans):
        return _spans(layer, xs, ys)
    return _level(layer, xs, ys)


def _path(layer: Line, xs: Scale, ys: Scale) -> str:
    out, pen = [], "M"
    for x, y in zip(layer.x, layer.y, strict=True):
        if y is None or not math.isfinite(y):
            pen = "M"
            continue
        out.append(f"{pen}{xs.at(x):.1f} {ys.at(y):.1f}")
        pen = "L"
    return "".join(out)


_SHAPES = {
    "dot": "M{x:.1f} {y:.1f}h0",
    "ring": "M{l:.1f} {y:.1f}a3 3 0 1 0 6 0a3 3 0 1 0-6 0",
    "cross": "M{l:.1f} {t:.1f}l6 6m0-6l-6 6",
    "square": "M{l:.1f} {t:.1f}h6v6h-6z",
}


def _points(layer: Points, xs: Scale, ys: Scale) -> str:
    form = _SHAPES[layer.shape]
    if len(layer.x) == len(layer.hints) <= _FEW:
        return _named_points(layer, xs, ys)
    parts = []
    for x, y in zip(layer.x, layer.y, strict=True):
        px, py = xs.at(x), ys.at(y)
        parts.append(form.format(x=px, y=py, l=px - 3, t=py - 3))
    return f'<path class="pts {layer.shape} {layer.tone}" d="{"".join(parts)}"/>'


def _named_points(layer: Points, xs: Scale, ys: Scale) -> str:
    """Each point by itself, so that a pointer that rests on it reads its name."""
    out = []
    for x, y, name in zip(layer.x, layer.y, layer.hints, strict=True):
        px, py = xs.at(x), ys.at(y)
        drawn = _SHAPES[layer.shape].format(x=px, y=py, l=px - 3, t=py - 3)
        near = f'<path class="near" d="M{px:.1f} {py:.1f}h0"/>'
        out.append(
            f'<g><title>{escape(name)}</title>{near}<path class="pts {layer.shape} {layer.tone}"'
            f' d="{drawn}"/></g>'
        )
    return "".join(out)


def _band(layer: Band, xs: Scale, ys: Scale) -> str:
    there = [f"{xs.at(x):.1f} {ys.at(y):.1f}" for x, y in zip(layer.x, layer.high, strict=True)]
    back = [f"{xs.at(x):.1f} {ys.at(y):.1f}" for x, y in zip(layer.x, layer.low, strict=True)][::-1]
    return f'<path class="band {layer.tone}" d="M{"L".join([*there, *back])}Z"/>'


def _bars(layer: Bars, xs: Scale, ys: Scale) -> str:
    slot = abs(xs.at(layer.width) - xs.at(0.0)) * 0.78
    wide = max(slot / layer.of, 0.8)
    base = layer.base or [0.0] * len(layer.x)
    parts = []
    for x, y, b in zip(layer.x, layer.y, base, strict=True):
        if y is None or not math.isfinite(y):
            continue
        left = xs.at(x) - slot / 2 + layer.place * wide
        low, high = ys.at(b), ys.at(b + y)
        parts.append(f"M{left:.1f} {low:.1f}V{high:.1f}h{wide * 0.92:.1f}V{low:.1f}z")
    return f'<path class="bar {layer.tone}{" hatched" if layer.hatched else ""}" d="{"".join(parts)}"/>'


def _spans(layer: Spans, xs: Scale, ys: Scale) -> str:
    wide = max(abs(xs.at(1.0) - xs.at(0.0)) * 0.8, 0.7)
    parts = []
    for x, low, high in zip(layer.x, layer.low, layer.high, strict=True):
        bottom, top = ys.at(low), ys.at(high)
        if bottom - top < 0.8:
            top = bottom - 0.8
        parts.append(f"M{xs.at(x) - wide / 2:.1f} {bottom:.1f}V{top:.1f}h{wide:.1f}V{bottom:.1f}z")
    return f'<path class="bar {layer.tone}" d="{"".join(parts)}"/>'


def _level(layer: Level, xs: Scale, ys: Scale) -> str:
    if layer.upright:
        x = xs.at(layer.at)
        return f'<path class="line {layer.tone} dot" d="M{x:.1f} {ys.a:.1f}V{ys.b:.1f}"/>'
    y = ys.at(layer.at)
    return f'<path class="line {layer.tone} dot" d="M{xs.a:.1f} {y:.1f}H{xs.b:.1f}"/>'


def _legend(chart: Chart, width: float) -> tuple[str, int]:
    """Samples with their names above the drawing, and how many rows they take."""
    out, x, row = [], _LEFT, 0
    named = [layer for layer in chart.layers if layer.name]
    for layer in named:
        length = 26 + 6.3 * len(layer.name) + 14
        if x > _LEFT and x + length > width - _RIGHT:
            x, row = _LEFT, row + 1
        y = 12 + row * _LEGEND_LINE
        out.append(
            f'{_sample(layer, x, y)}<text class="key" x="{x + 26:g}"'
            f' y="{y + 4:g}">{escape(layer.name)}</text>'
        )
        x += length
    return "".join(out), row + 1 if named else 0


def _sample(layer: Layer, x: float, y: float) -> str:
    if isinstance(layer, Points):
        form = _SHAPES[layer.shape].format(x=x + 11, y=y, l=x + 8, t=y - 3)
        return f'<path class="pts {layer.shape} {layer.tone}" d="{form}"/>'
    if isinstance(layer, Line | Level):
        dash = layer.dash if isinstance(layer, Line) else "dot"
        return f'<path class="line {layer.tone} {dash}" d="M{x:g} {y:g}h22"/>'
    kind = "band" if isinstance(layer, Band) else "bar"
    hatched = " hatched" if isinstance(layer, Bars) and layer.hatched else ""
    return f'<path class="{kind} {layer.tone}{hatched}" d="M{x + 3:g} {y - 6:g}h16v12h-16z"/>'
