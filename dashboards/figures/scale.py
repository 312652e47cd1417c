"""Scales and ticks of drawn figures."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from fieldfare.dashboards.figures.chart import (
    Axis,
    Band,
    Bars,
    Cells,
    Chart,
    Layer,
    Level,
    Spans,
)
from fieldfare.dashboards.text.words import day, month_short, number

EPOCH = date(1970, 1, 1)


LEAST_SPAN = {
    "°C": 2.0,
    "K": 1.0,
    "kW": 0.5,
    "kWh": 1.0,
    "m³/h": 0.1,
    "bar": 0.2,
    "W": 20.0,
    "%": 5.0,
    "min": 5.0,
}
"""Unit of an axis -> how much it shows at least: less is the noise of the meter, which a full height of paper
would make look like a change (common practice, no source)."""
_DATE_ROOM = 0.45
"""Days left free beside dates: less than half a day, so that no day without data gets a mark."""


@dataclass(frozen=True)
class Scale:
    """Maps low..high of an axis onto a..b of the drawing."""

    low: float
    high: float
    a: float
    b: float

    def at(self, value: float) -> float:
        return self.a + (value - self.low) / (self.high - self.low) * (self.b - self.a)


def extent(chart: Chart) -> tuple[tuple[float, float], tuple[float, float]]:
    """Ranges of both axes, the same for every renderer."""
    return (
        ends(chart.x, values_of(chart.layers, "x"), pad=0.02),
        ends(chart.y, values_of(chart.layers, "y"), pad=0.06),
    )


def day_number(day: date | str) -> int:
    """Days since 1970 of a date."""
    return ((date.fromisoformat(day[:10]) if isinstance(day, str) else day) - EPOCH).days


def ends(axis: Axis, values: Iterable[float | None], *, pad: float = 0.04) -> tuple[float, float]:
    """Range of an axis: as given, else of the data with a margin."""
    known = [v for v in values if v is not None and math.isfinite(v)]
    low, high = (min(known), max(known)) if known else (0.0, 1.0)
    if high - low < 1e-9:
        low, high = low - 0.5, high + 0.5
    low, high = _at_least(axis, low, high)
    room = min((high - low) * pad, _DATE_ROOM) if axis.dates else (high - low) * pad
    low = axis.low if axis.low is not None else low - room
    high = axis.high if axis.high is not None else high + room
    return (low, high) if high > low else (low, low + 1.0)


def _at_least(axis: Axis, low: float, high: float) -> tuple[float, float]:
    """Widen a range to the least span of its unit; non-negative quantities stay non-negative."""
    lacks = LEAST_SPAN.get(axis.unit, 0.0) - (high - low)
    if lacks <= 0.0:
        return low, high
    wider = low - lacks / 2
    start = max(wider, 0.0) if low >= 0.0 else wider
    return start, start + LEAST_SPAN[axis.unit]


def values_of(layers: Iterable[Layer], which: str) -> list[float | None]:
    """All x or y values of layers."""
    out: list[float | None] = []
    for layer in layers:
        if isinstance(layer, Level):
            if layer.upright == (which == "x"):
                out.append(layer.at)
        elif isinstance(layer, Cells):
            half = (layer.wide if which == "x" else layer.high) / 2
            out.extend(v + side for v in getattr(layer, which) for side in (-half, half))
        elif which == "x":
            half = layer.width / 2 if isinstance(layer, Bars) else 0.5 if isinstance(layer, Spans) else 0.0
            out.extend(x + side for x in layer.x for side in ((-half, half) if half else (0.0,)))
        elif isinstance(layer, Band | Spans):
            out.extend((*layer.low, *layer.high))
        elif isinstance(layer, Bars):
            base = layer.base or [0.0] * len(layer.x)
            out.extend(
                (*base, *((b + y) if y is not None else None for b, y in zip(base, layer.y, strict=True)))
            )
        else:
            out.extend(layer.y)
    return out


def ticks(axis: Axis, low: float, high: float, count: int = 6) -> list[tuple[float, str]]:
    """Ticks: round values along an axis with their labels."""
    if axis.names:
        return [(float(i), name) for i, name in enumerate(axis.names)]
    if axis.dates:
        return _date_ticks(low, high, count)
    if axis.clock:
        return [(float(h), f"{h:02d}:00") for h in range(0, 25, 6)]
    step = _round_step((high - low) / count)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    places = next(n for n in range(12) if abs(step * 10**n - round(step * 10**n)) < 1e-6)
    return [(i * step, number(i * step, places)) for i in range(first, last + 1)]


def _round_step(raw: float) -> float:
    power = 10.0 ** math.floor(math.log10(raw))
    return next(m * power for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * power >= raw * 0.999)


def _date_ticks(low: float, high: float, count: int) -> list[tuple[float, str]]:
    first, last = EPOCH + timedelta(math.ceil(low)), EPOCH + timedelta(math.floor(high))
    length = (last - first).days + 1
    if length <= 75:
        step = next(s for s in (1, 2, 7, 14, 28) if length / s <= count + 2)
        days = [first + timedelta(i) for i in range(0, length, step)]
        return [(float(day_number(d)), day(d, year=False)) for d in days]
    months = []
    here = date(first.year + first.month // 12, first.month % 12 + 1, 1) if first.day > 1 else first
    while here <= last:
        months.append(here)
        here = date(here.year + here.month // 12, here.month % 12 + 1, 1)
    every = max(1, math.ceil(len(months) / (count + 1)))
    return [
        (float(day_number(m)), month_short(m.isoformat()) + (f" {m.year}" if i == 0 or m.month == 1 else ""))
        for i, m in enumerate(months[::every])
    ]
