"""Figures as inline SVG, with colours from the page's style sheet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

from fieldfare.dashboards.figures.chart import (
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
from fieldfare.dashboards.figures.path import Path
from fieldfare.dashboards.figures.scale import Scale, extent, ticks
from fieldfare.dashboards.text.words import reason

WIDTH, HEIGHT = 340.0, 250.0
"""A phone's width: there a unit is a pixel and text is read as it is; wider figures have smaller units of
text."""
_RIGHT = 12.0
_TICKS_ROOM, _NAME_ROOM = 24.0, 18.0
"""Below the x axis: its ticks, and its name where it has one."""
_LEGEND_LINE, _TITLE_LINE = 19.0, 18.0
_LETTER = 7.4
"""Width of a letter of 13 units in a wide typeface; labels that fit by it don't overlap."""
_TICK_LETTER = 8.4
"""Where a drawing is narrower than a phone, letters are larger against it."""
_FEW = 60
"""So many points are drawn one by one with their names; more make one path, which keeps a page small."""


@dataclass(frozen=True)
class Frame:
    """Layout of a drawing, in its units: axis scales and margins."""

    xs: Scale
    ys: Scale
    width: float
    height: float

    @property
    def left(self) -> float:
        return self.xs.a

    @property
    def floor(self) -> float:
        return self.ys.a


def frame_of(chart: Chart, width: float = WIDTH, height: float = HEIGHT) -> Frame:
    """Axes and grid of a chart with data."""
    (x0, x1), (y0, y1) = extent(chart)
    longest = max((len(word) for _, word in ticks(chart.y, y0, y1, 5)), default=1)
    left = 12.0 + _LETTER * longest
    top = 6.0 + _LEGEND_LINE * len(_legend_rows(chart, width)) + _TITLE_LINE
    floor = height - _TICKS_ROOM - (_NAME_ROOM if _has_name(chart) else 0.0)
    return Frame(Scale(x0, x1, left, width - _RIGHT), Scale(y0, y1, floor, top), width, height)


def _has_name(chart: Chart) -> bool:
    """The x axis has no title below dates and words."""
    return not chart.x.dates and not chart.x.names


def svg(chart: Chart, *, width: float = WIDTH, height: float = HEIGHT) -> Markup:
    """A chart as an SVG element, with its sentence as text alternative."""
    if chart.is_empty:
        return Markup(f'<p class="no-figure">{escape(reason(chart.empty or chart.says))}</p>')  # noqa: S704
    at = frame_of(chart, width, height)
    room = (at.left, at.ys.b - 4, width - at.left - _RIGHT, at.floor - at.ys.b + 4)
    # An inner svg clips at the axes without an id, which could repeat on a page.
    inner = '<svg x="{0:g}" y="{1:g}" width="{2:g}" height="{3:g}" viewBox="{0:g} {1:g} {2:g} {3:g}">'.format(
        *room
    )
    drawn = "".join(f"<g>{_draw(layer, at.xs, at.ys)}</g>" for layer in chart.layers)
    name = escape(f"{chart.title}. {chart.says}", quote=True)
    return Markup(  # noqa: S704
        f'<svg class="fig" viewBox="0 0 {width:g} {height:g}" role="img" aria-label="{name}">'
        f"{_axes(chart, at)}{inner}{drawn}</svg>{_legend(chart, width)}</svg>"
    )


def _axes(chart: Chart, at: Frame) -> str:
    end = at.width - _RIGHT
    out = [f'<text class="label" x="2" y="{at.ys.b - 10:g}">{escape(chart.y.title)}</text>']
    for value, word in ticks(chart.y, at.ys.low, at.ys.high, 5):
        y = at.ys.at(value)
        out.append(f'<path class="grid" d="M{at.left:g} {y:.1f}H{end:g}"/>')
        out.append(
            f'<text class="tick" x="{at.left - 6:g}" y="{y + 4:.1f}" text-anchor="end">{escape(word)}</text>'
        )
    before = -99.0
    for value, word in ticks(chart.x, at.xs.low, at.xs.high, 6):
        x, half = at.xs.at(value), _TICK_LETTER * len(word) / 2
        if not at.left - 1 <= x <= end + 1:
            continue
        out.append(f'<path class="axis" d="M{x:.1f} {at.floor:g}v4"/>')
        anchor = "end" if x + half > at.width else "start" if x - half < 0 else "middle"
        start = {"end": x - 2 * half, "start": x, "middle": x - half}[anchor]
        stop = start + 2 * half
        if start > before + 6.0:
            before = stop
            out.append(
                f'<text class="tick" x="{x:.1f}" y="{at.floor + 17:g}"'
                f' text-anchor="{anchor}">{escape(word)}</text>'
            )
    out.append(f'<path class="axis" d="M{at.left:g} {at.floor:g}H{end:g}"/>')
    if _has_name(chart):
        out.append(
            f'<text class="label" x="{(at.left + end) / 2:g}" y="{at.height - 6:g}" text-anchor="middle">'
            f"{escape(chart.x.title)}</text>"
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
    if isinstance(layer, Cells):
        return _cells(layer, xs, ys)
    return _level(layer, xs, ys)


def _path(layer: Line, xs: Scale, ys: Scale) -> str:
    path, lifted = Path(), True
    for x, y in zip(layer.x, layer.y, strict=True):
        if y is None or not math.isfinite(y):
            lifted = True
            continue
        (path.move if lifted else path.line)(xs.at(x), ys.at(y))
        lifted = False
    return str(path)


_SHAPES = {
    "dot": ((0.0, 0.0), "h0", (0.0, 0.0)),
    "ring": ((-3.0, 0.0), "a3 3 0 1 0 6 0a3 3 0 1 0-6 0", (0.0, 0.0)),
    "cross": ((-3.0, -3.0), "l6 6m0-6l-6 6", (0.0, 6.0)),
    "square": ((-3.0, -3.0), "h6v6h-6z", (0.0, 0.0)),
}
"""Where each begins, seen from its point, how it is drawn, and where it ends, seen from its beginning."""


def _points(layer: Points, xs: Scale, ys: Scale) -> str:
    if len(layer.x) == len(layer.hints) <= _FEW:
        return _named_points(layer, xs, ys)
    drawn = _shapes(layer.shape, [(xs.at(x), ys.at(y)) for x, y in zip(layer.x, layer.y, strict=True)])
    return f'<path class="pts {layer.shape} {layer.tone}" d="{drawn}"/>'


def _shapes(shape: str, at: list[tuple[float, float]]) -> str:
    (left, up), form, ends = _SHAPES[shape]
    path = Path()
    for x, y in at:
        path.move(x + left, y + up, form, ends)
    return str(path)


def _named_points(layer: Points, xs: Scale, ys: Scale) -> str:
    """Points as separate elements, so that hovering shows their names."""
    out = []
    for x, y, name in zip(layer.x, layer.y, layer.hints, strict=True):
        px, py = xs.at(x), ys.at(y)
        drawn = _shapes(layer.shape, [(px, py)])
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
    edges = [
        (xs.at(x) - slot / 2 + layer.place * wide, ys.at(b), ys.at(b + y))
        for x, y, b in zip(layer.x, layer.y, base, strict=True)
        if y is not None and math.isfinite(y)
    ]
    if layer.hatched:  # drawn as outlines
        parts = (f"M{a:.1f} {low:.1f}V{high:.1f}h{wide * 0.92:.1f}V{low:.1f}z" for a, low, high in edges)
        return f'<path class="bar {layer.tone} hatched" d="{"".join(parts)}"/>'
    return _rods(layer.tone, wide * 0.92, [(a + wide * 0.46, low, high) for a, low, high in edges])


def _rods(tone: str, wide: float, rods: list[tuple[float, float, float]]) -> str:
    """Vertical bars as broad strokes. rods : middle, and both ends"""
    path = Path()
    for x, low, high in rods:
        path.move(x, low)
        path.upright(high)
    return f'<path class="rod {tone}" stroke-width="{wide:.2f}" d="{path}"/>'


def _spans(layer: Spans, xs: Scale, ys: Scale) -> str:
    wide = max(abs(xs.at(1.0) - xs.at(0.0)) * 0.8, 0.7)
    rods = []
    for x, low, high in zip(layer.x, layer.low, layer.high, strict=True):
        bottom, top = ys.at(low), ys.at(high)
        rods.append((xs.at(x), bottom, min(top, bottom - 0.8)))
    return _rods(layer.tone, wide, rods)


def _cells(layer: Cells, xs: Scale, ys: Scale) -> str:
    """Cells in five shades, with their texts."""
    out = []
    marked = layer.marked or (False,) * len(layer.x)
    rows = zip(layer.x, layer.y, layer.shares(), layer.texts, marked, strict=True)
    for x, y, share, text, is_marked in rows:
        left, right = xs.at(x - layer.wide / 2), xs.at(x + layer.wide / 2)
        top, bottom = ys.at(y + layer.high / 2), ys.at(y - layer.high / 2)
        kind = f"cell {layer.tone} s{min(int(share * 5), 4)}"
        out.append(f'<path class="{kind}" d="M{left:.1f} {top:.1f}H{right:.1f}V{bottom:.1f}H{left:.1f}z"/>')
        if is_marked:
            inset = f"M{left + 2:.1f} {top + 2:.1f}H{right - 2:.1f}V{bottom - 2:.1f}H{left + 2:.1f}z"
            out.append(f'<path class="framed" d="{inset}"/>')
        middle = (left + right) / 2, (top + bottom) / 2 + 4
        out.append(
            f'<text class="in" x="{middle[0]:.1f}" y="{middle[1]:.1f}"'
            f' text-anchor="middle">{escape(text)}</text>'
        )
    return "".join(out)


def _level(layer: Level, xs: Scale, ys: Scale) -> str:
    if layer.upright:
        x = xs.at(layer.at)
        return f'<path class="line {layer.tone} dot" d="M{x:.1f} {ys.a:.1f}V{ys.b:.1f}"/>'
    y = ys.at(layer.at)
    return f'<path class="line {layer.tone} dot" d="M{xs.a:.1f} {y:.1f}H{xs.b:.1f}"/>'


def _legend_rows(chart: Chart, width: float) -> list[list[tuple[Layer, float]]]:
    """Rows of the legend, each with the x of its sample."""
    rows: list[list[tuple[Layer, float]]] = []
    x = width
    for layer in chart.layers:
        if not layer.name:
            continue
        length = 26 + _LETTER * len(layer.name) + 12
        if x + length > width + 8 or not rows:
            rows.append([])
            x = 2.0
        rows[-1].append((layer, x))
        x += length
    return rows


def _legend(chart: Chart, width: float) -> str:
    """Legend above the drawing."""
    out = []
    for n, row in enumerate(_legend_rows(chart, width)):
        y = 11 + n * _LEGEND_LINE
        for layer, x in row:
            out.append(
                f'{_sample(layer, x, y)}<text class="key" x="{x + 26:g}"'
                f' y="{y + 4:g}">{escape(layer.name)}</text>'
            )
    return "".join(out)


def _sample(layer: Layer, x: float, y: float) -> str:
    if isinstance(layer, Points):
        form = _shapes(layer.shape, [(x + 11, y)])
        return f'<path class="pts {layer.shape} {layer.tone}" d="{form}"/>'
    if isinstance(layer, Line | Level):
        dash = layer.dash if isinstance(layer, Line) else "dot"
        return f'<path class="line {layer.tone} {dash}" d="M{x:g} {y:g}h22"/>'
    if isinstance(layer, Cells):
        return f'<path class="framed" d="M{x + 3:g} {y - 6:g}h16v12h-16z"/>'
    kind = "band" if isinstance(layer, Band) else "bar"
    hatched = " hatched" if isinstance(layer, Bars) and layer.hatched else ""
    return f'<path class="{kind} {layer.tone}{hatched}" d="M{x + 3:g} {y - 6:g}h16v12h-16z"/>'
