"""Description of a chart, independent of its renderer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

Tone = Literal["heat", "water", "power", "air", "design", "room", "alert", "faint"]
Dash = Literal["solid", "dash", "dot"]
Shape = Literal["dot", "ring", "cross", "square"]
Number: TypeAlias = "float | None"


@dataclass(frozen=True)
class Axis:
    """label and unit as read; low, high : ends [None: from the data]; dates : values are days since 1970;
    names : words instead of numbers at 0, 1, 2 ..."""

    label: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    dates: bool = False
    names: tuple[str, ...] = ()
    clock: bool = False

    @property
    def title(self) -> str:
        return f"{self.label} [{self.unit}]" if self.unit else self.label


DATES = Axis("Date", dates=True)
"""Days of which each has a value, as far as they reach."""


@dataclass(frozen=True)
class Points:
    name: str
    x: Sequence[float]
    y: Sequence[float]
    tone: Tone = "heat"
    shape: Shape = "dot"
    hints: tuple[str, ...] = ()


@dataclass(frozen=True)
class Line:
    name: str
    x: Sequence[float]
    y: Sequence[Number]
    tone: Tone = "design"
    dash: Dash = "solid"


@dataclass(frozen=True)
class Band:
    name: str
    x: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    tone: Tone = "heat"


@dataclass(frozen=True)
class Bars:
    """Vertical bars from `base` to `y`. place, of : position among bars side by side; hatched tells bars
    apart without colour."""

    name: str
    x: Sequence[float]
    y: Sequence[Number]
    tone: Tone = "power"
    base: Sequence[float] | None = None
    place: int = 0
    of: int = 1
    hatched: bool = False
    width: float = 1.0


@dataclass(frozen=True)
class Spans:
    """Vertical strokes from y to y2 at integer x: a calendar of days and hours."""

    name: str
    x: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    tone: Tone = "heat"


@dataclass(frozen=True)
class Level:
    """A horizontal line: a limit or set-point. upright : vertical instead"""

    name: str
    at: float
    tone: Tone = "alert"
    upright: bool = False


@dataclass(frozen=True)
class Cells:
    """A heat map: cells of a grid, each with its value as text, so that it is readable without colour.

    x, y : centres of the cells. wide, high : their size. values : shown as shades
    texts : text of each cell. marked : cells with a frame, such as those below the expectation
    """

    name: str
    x: Sequence[float]
    y: Sequence[float]
    values: Sequence[float]
    texts: tuple[str, ...]
    wide: float
    high: float
    marked: tuple[bool, ...] = ()
    tone: Tone = "water"

    def shares(self) -> list[float]:
        """Each value between the lowest (0) and the highest (1)."""
        low, high = min(self.values), max(self.values)
        return [(v - low) / (high - low) if high > low else 0.5 for v in self.values]


Layer: TypeAlias = "Points | Line | Band | Bars | Spans | Level | Cells"


@dataclass(frozen=True)
class Chart:
    """A figure: key, title, one-sentence text alternative (`says`), axes, layers, and the table behind it.

    columns, rows : the table; every number of the figure, or its sum by day or week where there are very many
    """

    key: str
    title: str
    says: str
    x: Axis
    y: Axis
    layers: tuple[Layer, ...]
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = field(default=())
    empty: str = ""

    @property
    def is_empty(self) -> bool:
        return not any(_has_data(layer) for layer in self.layers)


def _has_data(layer: Layer) -> bool:
    return not isinstance(layer, Level) and len(layer.x) > 0


def nothing(key: str, title: str, why: str) -> Chart:
    """An empty figure with the reason."""
    return Chart(key, title, why, Axis(""), Axis(""), (), empty=why)
