"""Vectorised sums, means and extremes over stretches of minutes."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.minutes.rolling import true_runs, window_sum

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Segments:
    """Half-open stretches [start, end) of a minute grid, which may overlap.

    start, end : int64 (k,)
    """

    def __init__(self, start: Ints, end: Ints) -> None:
        self.start: Ints = start
        self.end: Ints = end

    @classmethod
    def of(cls, flags: NDArray[np.bool_]) -> Segments:
        """The runs of True in a bool (n,)."""
        return cls(*true_runs(flags))

    def __len__(self) -> int:
        return len(self.start)

    @property
    def minutes(self) -> Ints:
        return self.end - self.start

    def where(self, keep: NDArray[np.bool_]) -> Segments:
        return Segments(self.start[keep], self.end[keep])

    def joined(self, longest: int) -> Segments:
        """Merge stretches, in order of time, that are at most `longest` minutes apart."""
        if len(self) < 2:
            return self
        apart = self.start[1:] - self.end[:-1] > longest
        return Segments(self.start[np.append(True, apart)], self.end[np.append(apart, True)])

    def sum(self, values: Floats) -> Floats:
        """Sum of the known values of each stretch; 0 if none is known."""
        return self._add_known(values, np.isfinite(values))

    def add(self, values: Floats) -> Floats:
        """Sum of each stretch of values that are all known."""
        return self._add(values, np.float64)

    def total(self, values: Floats) -> Floats:
        """Sum of the known values of each stretch; nan if none is known."""
        known = np.isfinite(values)
        if known.all() and self._none_empty:
            return self._add(values, np.float64)
        return np.where(self.count(known) > 0, self._add_known(values, known), np.nan)

    def count(self, flags: NDArray[np.bool_]) -> Ints:
        return self._add(flags, np.int64)

    def _add_known(self, values: Floats, known: NDArray[np.bool_]) -> Floats:
        return self._add(values if known.all() else np.where(known, values, 0.0), np.float64)

    def _add(self, values: NDArray[Any], kind: Any) -> NDArray[Any]:
        if not self.start.size:
            return np.zeros(0, dtype=kind)
        total = self._reduced(np.add, values, 0, dtype=kind)
        if self._none_empty:
            return total
        return np.where(
            self.minutes > 0, total, kind(0)
        )  # reduceat returns the first value for an empty stretch

    def _reduced(self, take: np.ufunc, values: NDArray[Any], beyond: float, **kind: Any) -> NDArray[Any]:
        """A value per stretch; arbitrary for empty ones. beyond : what stands after the last value"""
        bounds, last, each = self._bounds
        if last == len(values) and self._follow_on:
            return take.reduceat(values, self.start, **kind)
        if last >= len(values):  # reduceat needs a value at every bound
            values = np.append(values, np.asarray(beyond, dtype=values.dtype))
        return take.reduceat(values, bounds, **kind)[each]

    @cached_property
    def _bounds(self) -> tuple[Ints, int, slice]:
        """Bounds for reduceat, the last of them, and which of its values are those of the stretches."""
        if self._follow_on:
            bounds = np.append(self.start, self.end[-1:])
            return bounds, int(bounds[-1]), slice(None, -1)
        bounds = np.empty(2 * len(self), dtype=np.int64)
        bounds[0::2], bounds[1::2] = self.start, self.end
        return bounds, int(bounds.max()), slice(None, None, 2)

    @cached_property
    def _follow_on(self) -> bool:
        """Whether the stretches are contiguous, such as days."""
        return bool(np.array_equal(self.start[1:], self.end[:-1]) and self._none_empty)

    @cached_property
    def _none_empty(self) -> bool:
        return bool((self.minutes > 0).all())

    def mean(self, values: Floats, where: NDArray[np.bool_] | None = None) -> Floats:
        """Mean of the known values of each stretch; nan if none is known."""
        known = np.isfinite(values) if where is None else np.isfinite(values) & where
        if known.all() and self._none_empty:
            return self._add(values, np.float64) / self.minutes
        count = self.count(known)
        total = self._add_known(values, known)
        return np.divide(total, count, out=np.full(len(self), np.nan), where=count > 0)

    def least(self, values: Floats) -> Floats:
        return self._extreme(values, np.fmin)

    def greatest(self, values: Floats) -> Floats:
        return self._extreme(values, np.fmax)

    def _extreme(self, values: Floats, take: np.ufunc) -> Floats:
        if not len(self):
            return np.zeros(0)
        found = self._reduced(take, values, np.nan)
        return found if self._none_empty else np.where(self.minutes > 0, found, np.nan)

    def first(self, values: Floats, offset: int = 0) -> Floats:
        """The value `offset` minutes after each start, nan beyond the stretch."""
        at = self.start + offset
        inside = at < self.end
        return np.where(inside, values[np.minimum(at, len(values) - 1)], np.nan)

    def last(self, values: Floats, offset: int = 1) -> Floats:
        """The value `offset` minutes before each end, nan beyond the stretch."""
        at = self.end - offset
        inside = at >= self.start
        return np.where(inside, values[np.maximum(at, 0)], np.nan)


def held_for(flags: NDArray[np.bool_], minutes: int) -> NDArray[np.bool_]:
    """True where `flags` has been True for more than `minutes`; a span's first day counts from its start."""
    return np.asarray(window_sum(flags, minutes, 1) > minutes)


def total_kwh(day: Segments, wh: Floats | None) -> Floats:
    """kWh of each stretch over its known minutes; nan if none is known, or nothing is measured."""
    if wh is None:
        return np.full(len(day), np.nan)
    return day.total(wh) / 1000.0
