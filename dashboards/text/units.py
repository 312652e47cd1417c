"""Convert numbers to the units chosen by the reader.

Energy is kWh or MJ, water flow m3/h or l/min, pressure bar or kPa. Prices stay per kWh, as suppliers bill
them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import replace
from types import MappingProxyType
from typing import Any

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

CHOICES: Mapping[str, Mapping[str, tuple[str, float, int]]] = MappingProxyType(
    {
        "kWh": MappingProxyType({"MJ": ("MJ", 3.6, 0)}),
        "m³/h": MappingProxyType({"l/min": ("l/min", 1000.0 / 60.0, 1)}),
        "bar": MappingProxyType({"kPa": ("kPa", 100.0, 2)}),
    }
)
"""Usual unit -> chosen unit -> its sign, how many of it make one of the usual (SI Brochure, 9th edition,
tables 4 and 8), and how many decimals fewer it needs."""
_NAMES = {"energy": "kWh", "flow": "m³/h", "pressure": "bar"}
_SIGNS = {"m3/h": "m³/h"}
_chosen: ContextVar[tuple[tuple[str, str], ...]] = ContextVar("units", default=())

_NUMBER = r"[−-]?\d[\d\u202f,]*(?:\.\d+)?"
_RANGE = re.compile(
    rf"(?:(?P<first>(?<![\w.,/]){_NUMBER})(?P<between> (?:to|and|or) ))?(?P<last>(?<![\w.,/]){_NUMBER})"
    r"(?P<space>[ \u00a0])(?P<unit>kWh|m³/h|m3/h|bar)\b(?!/)(?! (?:of heat )?(?:from|for) each kWh)"
    rf"(?P<tail> \({_NUMBER} to {_NUMBER}\))?"
)
_ANY = re.compile(_NUMBER)


@contextmanager
def reading_in(units: Mapping[str, str]) -> Iterator[None]:
    """Context manager: numbers are shown in these units. units : energy, flow, pressure -> unit, of
    `fieldfare.api.firm.personal_settings.UNITS`"""
    token = _chosen.set(tuple((_NAMES[k], u) for k, u in sorted(units.items()) if k in _NAMES))
    try:
        yield
    finally:
        _chosen.reset(token)


def chosen() -> tuple[tuple[str, str], ...]:
    """The reader's units as a cache key of pages."""
    return tuple((usual, unit) for usual, unit in _chosen.get() if unit in CHOICES[usual])


def conversion(unit: str) -> tuple[str, float, int]:
    """Display unit, factor, and reduction of decimals; the unit itself and 1 if none was chosen.

    unit : such as kWh, `kWh/day`, `kWh a day`, m3/h, `bar/week`
    """
    found = re.match(r"(kWh|m3/h|m³/h|bar)(?=$| |/(?:day|week|year)$)", unit)
    if found is None:
        return unit, 1.0, 0
    usual = _SIGNS.get(found[1], found[1])
    chosen = dict(_chosen.get()).get(usual, usual)
    if chosen not in CHOICES[usual]:
        return unit, 1.0, 0
    sign, factor, fewer = CHOICES[usual][chosen]
    return sign + unit[found.end() :], factor, fewer


def in_sentence(text: str) -> str:
    """A sentence with its measured numbers in the reader's units."""
    return _RANGE.sub(_converted, text) if chosen() else text


def _converted(m: re.Match[str]) -> str:
    sign, factor, fewer = conversion(m["unit"])
    if factor == 1.0:
        return m[0]
    first = f"{_scaled(m['first'], factor, fewer)}{m['between']}" if m["first"] else ""
    tail = _ANY.sub(lambda n: _scaled(n[0], factor, fewer), m["tail"]) if m["tail"] else ""
    return f"{first}{_scaled(m['last'], factor, fewer)}{m['space']}{sign}{tail}"


def _scaled(number: str, factor: float, fewer: int) -> str:
    """Multiply a number in a text by a factor, with sensible decimals."""
    bare = number.replace("\u202f", "").replace(",", "").replace("−", "-")
    places = max(len(bare.partition(".")[2]) - fewer, 0)
    text = f"{float(bare) * factor:,.{places}f}"
    return text.replace(",", "\u202f").replace("-", "−")


def in_chart(made: Chart) -> Chart:
    """A chart with its axes, lines and table in the reader's units."""
    if not chosen():
        return made
    y, factor = _axis(made.y)
    x, across = _axis(made.x)
    layers = tuple(_layer(layer, factor, across) for layer in made.layers)
    columns, rows = _table(made)
    return replace(made, x=x, y=y, layers=layers, columns=columns, rows=rows, says=in_sentence(made.says))


def _axis(axis: Axis) -> tuple[Axis, float]:
    sign, factor, _ = conversion(axis.unit)
    if factor == 1.0:
        return axis, 1.0
    low, high = (None if v is None else v * factor for v in (axis.low, axis.high))
    return replace(axis, unit=sign, low=low, high=high), factor


def _layer(layer: Layer, factor: float, across: float) -> Layer:
    if factor == across == 1.0:
        return layer
    if isinstance(layer, Level):
        return replace(layer, at=layer.at * (across if layer.upright else factor))
    x = _times(layer.x, across)
    if isinstance(layer, Band | Spans):
        return replace(layer, x=x, low=_times(layer.low, factor), high=_times(layer.high, factor))
    if isinstance(layer, Bars):
        base = None if layer.base is None else _times(layer.base, factor)
        return replace(layer, x=x, y=_times(layer.y, factor), base=base, width=layer.width * across)
    assert isinstance(layer, Points | Line)
    return replace(layer, x=x, y=_times(layer.y, factor))


def _times(values: Any, factor: float) -> list[Any]:
    return [None if v is None else v * factor for v in values]


def _table(made: Chart) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Convert headings and cells; a column's unit is in its heading, in brackets."""
    found = {}
    heads = list(made.columns)
    for n, head in enumerate(heads):
        if (unit := re.search(r"\[([^\]]+)\]$", head)) is not None:
            sign, factor, fewer = conversion(unit[1])
            if factor != 1.0:
                heads[n], found[n] = f"{head[: unit.start()]}[{sign}]", (factor, fewer)
    if not found:
        return made.columns, made.rows
    return tuple(heads), tuple(tuple(_cell(c, found.get(n)) for n, c in enumerate(row)) for row in made.rows)


def _cell(text: str, by: tuple[float, int] | None) -> str:
    return text if by is None else _ANY.sub(lambda m: _scaled(m[0], *by), text)
