"""Compare and change a sealed month stretch by stretch, so that it never stands in memory as a whole."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.readings import Readings, Samples
from fieldfare.collector.store.merge import EARLIEST, LATEST, as_text, overlay, without
from fieldfare.collector.store.sealed_file import Piece, Wanted, pieces_of
from fieldfare.collector.store.sealed_index import Index, RowGroup

ROWS_AT_ONCE = 500_000
"""Readings read from a month at once: 8 MB, and a usual month of minutes in two goes."""


class Month(Protocol):
    """A sealed month: its index, and the readings of its wanted row groups."""

    @property
    def index(self) -> Index: ...

    def read(self, wanted: Wanted) -> Readings: ...


@dataclass(frozen=True)
class Edit:
    """What changes in a month: keys are removed, then `top` is laid over the rest.

    removed : times [ms] of points, ascending
    """

    top: Readings
    removed: dict[str, NDArray[np.int64]] = field(default_factory=dict)


class _Stretch(NamedTuple):
    """The time start <= t < end [ms] of a point, and the row group that holds it, if any is to be read.

    The stretches of a point follow one another and cover all times.
    """

    point: str
    start: int
    end: int
    group: RowGroup | None


def merged(month: Month, edit: Edit) -> Iterator[Piece]:
    """The changed month, as pieces to write."""
    index = month.index
    texts = {p for p, rows in index.items() if rows.is_text}
    texts |= {p for p, samples in edit.top.items() if samples.value.dtype == object}
    for (point, start, end, _), samples in _read(month, _stretches(index, sorted({*index, *edit.top}))):
        base = {point: samples} if samples is not None else {}
        gone = edit.removed.get(point)
        if base and gone is not None:
            a, b = gone.searchsorted((start, end))
            base = without(base, {point: gone[a:b]})
        for _, (time, value) in pieces_of(overlay(_cut(edit.top, point, start, end), base)):
            yield point, Samples(time, as_text(value) if point in texts else value)


def beside(month: Month, readings: Readings, hot: Readings) -> Iterator[tuple[Readings, Readings]]:
    """Readings of a month by stretches of a point, and what is stored in each: sealed, overlaid with `hot`.

    The stored ones are complete from the first to the last of the readings beside them.
    """
    spans = {p: (int(s.time[0]), int(s.time[-1])) for p, s in readings.items()}
    for (point, start, end, _), samples in _read(month, _stretches(month.index, sorted(readings), spans)):
        piece = _cut(readings, point, start, end)
        if piece:
            base = {point: samples} if samples is not None else {}
            yield piece, overlay(_cut(hot, point, start, end), base)


def _stretches(
    index: Index, points: Collection[str], spans: dict[str, tuple[int, int]] | None = None
) -> Iterator[_Stretch]:
    """Stretches of points in their order. spans : first and last time [ms] wanted of each; default all"""
    for point in points:
        groups = index[point].groups if point in index else ()
        edges = [EARLIEST, *(g.first for g in groups[1:]), LATEST]
        first, last = (EARLIEST, LATEST) if spans is None else spans[point]
        for group, (start, end) in zip(groups or (None,), pairwise(edges), strict=True):
            inside = group is not None and group.first <= last and first <= group.last
            yield _Stretch(point, start, end, group if inside else None)


def _read(month: Month, stretches: Iterator[_Stretch]) -> Iterator[tuple[_Stretch, Samples | None]]:
    """Each stretch with its sealed readings; None where there are none, or damaged ones."""
    waiting: list[_Stretch] = []
    rows = 0
    for stretch in stretches:
        more = stretch.group.rows if stretch.group else 0
        if rows and rows + more > ROWS_AT_ONCE:
            yield from _read_at_once(month, waiting)
            waiting, rows = [], 0
        waiting.append(stretch)
        rows += more
    yield from _read_at_once(month, waiting)


def _read_at_once(month: Month, stretches: list[_Stretch]) -> Iterator[tuple[_Stretch, Samples | None]]:
    numbers = {s.group.number for s in stretches if s.group}
    found = month.read(lambda _, group: group.number in numbers) if numbers else {}
    for stretch in stretches:
        part = _cut(found, *stretch[:3])
        yield stretch, part.get(stretch.point)


def _cut(readings: Readings, point: str, start: int, end: int) -> Readings:
    """The readings of one point with start <= time < end [ms]; empty if there are none."""
    if point not in readings:
        return {}
    part = readings[point].between(start, end)
    return {point: part} if len(part.time) else {}
