"""Merge readings: find what is new, and decide which value wins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.readings import (
    MS_PER_DAY,
    Readings,
    Samples,
    ordered,
)

EARLIEST, LATEST = -(1 << 62), 1 << 62
"""Times [ms] that stand for no limit: before and after every reading."""


class Reversal(NamedTuple):
    """What a revert changes. Keys that are held with the written value: `restored` with their values from
    before, `removed` with none; point -> samples. kept : number of keys with another value or none"""

    restored: Readings
    removed: dict[str, NDArray[np.int64]]
    kept: int


class Comparison(NamedTuple):
    """Effect of new samples on stored ones. `changed` marks those not already stored unchanged."""

    stored: int
    replaced: int
    changed: NDArray[np.bool_]


def cleaned_readings(readings: Readings) -> tuple[Readings, int]:
    """Readings as stored: float64 or str, ascending, unique times; points without readings left out.

    NaN and None are not readings. Returns them and the number of given readings, including repeated times.
    """
    out: Readings = {}
    given = 0
    for point, (time, value) in readings.items():
        time, value = np.asarray(time, np.int64), np.asarray(value)
        if time.shape != value.shape or time.ndim != 1:
            raise ValueError(f"{point}: {time.shape} times do not fit {value.shape} values")
        if value.dtype.kind in "OUT":
            value = value.astype(object)
            present = np.array([v is not None and v == v for v in value], dtype=bool)
        else:
            value = value.astype(np.float64, copy=False)
            present = value == value
        if not present.all():
            time, value = time[present], value[present]
        given += len(time)
        if len(time):
            out[point] = ordered(time, value)
    return out, given


def overlay(top: Readings, base: Readings) -> Readings:
    """Union of both; where both have a point and a time, `top` wins."""
    out = dict(base)
    for point, samples in top.items():
        out[point] = _overlay_point(samples, base[point]) if point in base else samples
    return out


def _overlay_point(top: Samples, base: Samples) -> Samples:
    first, second = (base, top) if base.time[-1] < top.time[0] else (top, base)
    values = [first.value, second.value]
    if any(v.dtype == object for v in values):
        values = [as_text(v) for v in values]
    return ordered(np.concatenate([first.time, second.time]), np.concatenate(values))


def joined(parts: Sequence[Readings], newest: Readings, pool: ThreadPoolExecutor) -> Readings:
    """Concatenate months in order and overlay the newest; copied once, by several threads."""
    points = list(dict.fromkeys(p for part in [*parts, newest] for p in part))

    def join(point: str) -> Samples:
        mine = [part[point] for part in parts if point in part]
        over = newest.get(point)
        if over and (not mine or over.time[0] > mine[-1].time[-1]):
            mine, over = [*mine, over], None
        values = [s.value for s in mine]
        if any(v.dtype == object for v in values):
            values = [as_text(v) for v in values]
        whole = Samples(np.concatenate([s.time for s in mine]), np.concatenate(values))
        return overlay({point: over}, {point: whole})[point] if over else whole

    return dict(zip(points, pool.map(join, points), strict=True))


def as_text(value: NDArray[Any]) -> NDArray[Any]:
    """Values of a text point, all as str."""
    if value.dtype == object:
        return value
    return np.array([f"{v:g}" for v in value.tolist()], dtype=object)


def compared(old: Samples | None, new: Samples) -> Comparison:
    """Compare `new` with `old`; both ascending with unique times."""
    if old is None or not len(old.time) or old.time[-1] < new.time[0] or new.time[-1] < old.time[0]:
        return Comparison(len(new.time), 0, np.ones(len(new.time), dtype=bool))
    at = np.minimum(np.searchsorted(old.time, new.time), len(old.time) - 1)
    held = old.time[at] == new.time
    if (old.value.dtype == object) != (new.value.dtype == object):
        same = held & (as_text(old.value)[at] == as_text(new.value))
    else:
        same = held & (old.value[at] == new.value)
    return Comparison(int((~held).sum()), int((held & ~same).sum()), ~same)


def changes(new: Readings, held: Readings) -> tuple[Readings, int, int]:
    """Samples that differ from the stored ones, and the numbers of new keys and of changed values."""
    write: Readings = {}
    stored = replaced = 0
    for point, samples in new.items():
        change = compared(held.get(point), samples)
        stored, replaced = stored + change.stored, replaced + change.replaced
        if change.changed.all():
            write[point] = samples
        elif change.changed.any():
            write[point] = Samples(*(a[change.changed] for a in samples))
    return write, stored, replaced


def is_among(time: NDArray[np.int64], others: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which times are also in `others`; both ascending. Unlike `np.isin` it neither joins nor sorts them."""
    if not len(others):
        return np.zeros(len(time), dtype=bool)
    return np.asarray(others[np.minimum(others.searchsorted(time), len(others) - 1)] == time)


def reversal(held: Readings, written: Readings, before: Readings) -> Reversal:
    """What undoing the append of `written` changes in `held`; see `Store.revert`."""
    restored: Readings = {}
    removed: dict[str, NDArray[np.int64]] = {}
    kept = 0
    for point, samples in written.items():
        stands = ~compared(held.get(point), samples).changed
        kept += int((~stands).sum())
        time = samples.time[stands]
        if point in before and len(time):
            old = before[point].between(int(time[0]), int(time[-1]) + 1)
            back = is_among(old.time, time)
            if back.any():
                restored[point] = Samples(old.time[back], old.value[back])
            time = time[~is_among(time, old.time)]
        if len(time):
            removed[point] = time
    return Reversal(restored, removed, kept)


def without(held: Readings, removed: dict[str, NDArray[np.int64]]) -> Readings:
    """Readings without the keys in `removed`; points that have none left are absent."""
    out = dict(held)
    for point, times in removed.items():
        time, value = held[point]
        stays = ~is_among(time, times)
        if stays.any():
            out[point] = Samples(time[stays], value[stays])
        else:
            del out[point]
    return out


def concatenated(parts: Mapping[str, Sequence[Samples]]) -> Readings:
    """Readings of points from pieces in sequence; a single piece is not copied."""
    return {
        point: pieces[0]
        if len(pieces) == 1
        else Samples(np.concatenate([s.time for s in pieces]), np.concatenate([s.value for s in pieces]))
        for point, pieces in parts.items()
    }


def days_of(time: NDArray[np.int64]) -> NDArray[np.int64]:
    """Unique UTC days [since 1970-01-01] of times."""
    if not len(time):
        return np.empty(0, np.int64)
    days = time // MS_PER_DAY
    if days[0] == days[-1] and bool((days == days[0]).all()):
        return days[:1]
    step = np.flatnonzero(np.diff(days)) + 1  # collapse runs first: far fewer than times
    return np.unique(days[np.concatenate([[0], step])])
