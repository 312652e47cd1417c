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
    """Upright bars from `base` to `y`; place and of set bars beside each other, hatched tells them apart
    without colour."""

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
    """Upright strokes from y to y2 at whole x: a calendar of days and hours."""

    name: str
    x: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    tone: Tone = "heat"


@dataclass(frozen=True)
class Level:
    """A line across at one height: a limit or a setpoint. `upright` makes it a line at one x instead."""

    name: str
    at: float
    tone: Tone = "alert"
    upright: bool = False


@dataclass(frozen=True)
class Cells:
    """A map: a value in each cell of a grid, written into it, so that it reads without colour.

    x, y : centres of the cells. wide, high : their size. values : shaded from the lowest to the highest
    texts : what each cell says. marked : cells with a frame, such as those below what is expected
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
    """A figure: key, title, what it says in a sentence (its text alternative), axes, layers, and the table
    behind it.

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
    """A figure that can't be drawn, with the reason in its place."""
    return Chart(key, title, why, Axis(""), Axis(""), (), empty=why)
