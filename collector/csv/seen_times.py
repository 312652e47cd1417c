"""Compact record of the times already read for each point of a file."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.readings import Samples


class SeenTimes:
    """Times stored as evenly spaced runs where that is shorter; a long regular file needs little memory."""

    def __init__(self) -> None:
        self._parts: dict[str, list[tuple[int, int, tuple[NDArray[np.int64], ...]]]] = {}

    def add(self, point: str, time: NDArray[np.int64]) -> None:
        """Record times, in any order."""
        if not bool((time[1:] > time[:-1]).all()):
            time = np.sort(time)
        self._parts.setdefault(point, []).append((int(time[0]), int(time[-1]), _packed(time)))

    def unseen(self, point: str, samples: Samples) -> Samples:
        """Return the samples at new times; the same object where all are new."""
        first, last = int(samples.time.min()), int(samples.time.max())
        known = [p for a, b, p in self._parts.get(point, []) if a <= last and b >= first]
        if not known:
            return samples
        old = np.isin(samples.time, np.concatenate([_unpacked(p) for p in known]))
        return Samples(samples.time[~old], samples.value[~old]) if old.any() else samples


def _packed(time: NDArray[np.int64]) -> tuple[NDArray[np.int64], ...]:
    """(starts, steps, counts) of even runs, or (times,)."""
    if len(time) < 3:
        return (time,)
    step = np.diff(time)
    edges = np.flatnonzero(np.diff(step)) + 1  # index into step where the spacing changes
    starts = np.concatenate([[0], edges])
    counts = np.diff(np.concatenate([starts, [len(step)]]))
    if 3 * len(starts) >= len(time):
        return (time,)
    return time[starts], step[starts], counts


def _unpacked(packed: tuple[NDArray[np.int64], ...]) -> NDArray[np.int64]:
    if len(packed) == 1:
        return packed[0]
    starts, steps, counts = packed
    within = np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts)
    times = np.repeat(starts, counts) + within * np.repeat(steps, counts)
    return np.concatenate([times, [starts[-1] + steps[-1] * counts[-1]]])
