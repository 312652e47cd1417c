"""Resampling to a minute grid: linear, previous or nearest, up to a per-point maximum gap."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.plant.site import Point
from fieldfare.analysis.readings import MS_PER_MINUTE, Samples
from fieldfare.analysis.statistics.quantiles import median, quantile

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Between = Literal["line", "last", "nearest"]

LINE_UP_TO_MIN = 2.5
"""Spacing up to which readings follow a power's changes."""
_TAIL_MIN = 5
"""Maximum hold time of a point's last reading."""
_FEWEST_CHANGES, _SILENT_TIME, _REPEATS = 8, 0.2, 0.1
"""Readings sent on change leave more than a fifth of the time without any, and of those that come as soon
after another as a change does, fewer than a tenth repeat it (common practice)."""
_SIGNS_ON_CLOCK, _CHANGES_ON_CLOCK = 0.8, 0.3
"""Signs of life keep a clock, changes do not (common practice)."""
_SIGNS_ON_BEAT, _CHANGES_EARLY = 0.8, 0.4
"""Or they come a fixed time after the last reading, and changes come sooner (common practice)."""


_ON_BEAT = 0.1
"""Of a beat's length, by which readings may miss it."""
_CHANCE_REPEATS = 10.0
"""Repeats that chance alone would bring to a sampled series of the same values: none then comes once in
e^10 = 22,000 series (Poisson)."""

_SMALLEST_STEPS = 20
"""Steps that show a dead band. That all are at least half of the largest of them, chance alone brings once in
2^19 = 520,000 sampled series."""
_EVEN_WITHIN, _EVEN_SHARE = 2.0, 0.9
"""A logger keeps nine tenths of its intervals within half and double the usual (common practice)."""
_POLLED_MIN, _POLLED_SHARE = (60, 30, 20, 15, 10, 6, 5, 4, 3, 2), 0.95
"""Intervals by which gateways poll (common practice), and the share of gaps that are multiples of one."""
_COUNTED_UP_TO = 10_000
"""Minutes that are counted one by one: a week."""


def canonical(point: Point, samples: Samples) -> Samples:
    """Convert a point's samples to its canonical unit."""
    scale, offset = point.to_canonical
    if scale == 1.0 and offset == 0.0:
        return samples
    return Samples(samples.time, samples.value * scale + offset)


def sampling_interval(time: Times) -> tuple[float, float]:
    """Usual interval of a point (median), and the longest interval that is not a gap [minutes]."""
    if len(time) < 2:
        return 60.0, 60.0
    gaps = np.diff(time)
    usual, high = _middle_and_high(gaps)
    return usual / MS_PER_MINUTE, max(
        5.0, 3.0 * usual / MS_PER_MINUTE, min(high / MS_PER_MINUTE * 1.5, 24 * 60.0)
    )


def _middle_and_high(gaps: Times) -> tuple[float, float]:
    """Median and 0.95 quantile of int64 (n,), n > 0."""
    last = len(gaps) - 1
    beat = gaps[last // 2]
    below = np.count_nonzero(gaps < beat)
    # Most loggers have one constant interval: it is both, without sorting.
    if below <= last // 2 and math.ceil(0.95 * last) < below + np.count_nonzero(gaps == beat):
        return float(beat), float(beat)
    ordered = np.sort(gaps).astype(np.float64)
    return median(ordered), quantile(ordered, 0.95)


def is_change_driven(samples: Samples, usual: float) -> bool:
    """Whether a state is reported on change, and so holds until the next reading.

    A sampled state changes on its sampling grid: the time before a new value is a multiple of the usual
    interval. A change-driven state leaves that grid with every new value, and hardly repeats values, or does
    so on a grid.
    usual : the point's interval [minutes], of `sampling_interval`
    """
    if len(samples.time) < 8 or usual <= 2.0:
        return False
    beats = np.diff(samples.time) / (usual * MS_PER_MINUTE)
    off_beat = np.abs(beats - np.maximum(np.round(beats), 1.0)) > 0.1
    new = np.diff(samples.value) != 0.0
    if new.sum() < 4 or off_beat[new].mean() <= 0.5:
        return False
    return bool(new.mean() > 0.8 or off_beat[~new].mean() < 0.5 * off_beat[new].mean())


def polling_interval(time: Times) -> float:
    """Interval at which a gateway looks for changes of a value that it sends on change [minutes]; 1 where it
    sends them at once. What happens within it can't be timed.

    time : int64 (n,) [ms], of the changes, n > 1
    """
    gaps = np.diff(time) / MS_PER_MINUTE
    for minutes in _POLLED_MIN:
        beats = gaps / minutes
        on_beat = (np.abs(beats - np.round(beats)) <= _ON_BEAT) & (beats >= 1.0 - _ON_BEAT)
        if on_beat.mean() >= _POLLED_SHARE:
            return float(minutes)
    return 1.0


def interval_of_changes(samples: Samples) -> tuple[float, float] | None:
    """Shortest interval and longest silence of a gauge or power that is sent only when it changes [minutes].

    None if it is sampled.

    Such a value holds until the next reading: a line to it would begin a run before its start. It is repeated
    only as a sign of life: after a silence, or by a clock that its changes do not keep. A sampled value is
    repeated as soon as it stands still.
    """
    gaps, new = np.diff(samples.time), samples.value[1:] != samples.value[:-1]
    if np.count_nonzero(new) < _FEWEST_CHANGES:
        return None
    if new.all():
        return _without_signs(samples, gaps)
    soon = median(gaps[new].astype(np.float64))
    silent = gaps > LINE_UP_TO_MIN * soon
    after_silence = silent & ~new
    is_sign = after_silence if after_silence.any() else ~new
    rarely = (
        is_sign is after_silence
        and gaps[silent].sum() >= _SILENT_TIME * gaps.sum()
        and (~new[gaps <= soon]).mean() <= _REPEATS
    )
    if not rarely and not _signs_keep_clock(samples.time[1:], new) and not _changes_come_early(gaps, new):
        return None
    # A sign comes a fixed time after the last one or after a change: the longest silences show that time.
    beat = long_gap(gaps[is_sign])
    return max(float(gaps[new].min()) / MS_PER_MINUTE, 1.0), min(1.5 * beat / MS_PER_MINUTE, 24 * 60.0)


def long_gap(gaps: Times) -> float:
    """Length up to which gaps fill nine tenths of their time. gaps : int64 (n,), n > 0, in any unit"""
    ordered = np.sort(gaps).astype(np.float64)
    return float(ordered[np.searchsorted(np.cumsum(ordered), 0.9 * ordered.sum())])


def _without_signs(samples: Samples, gaps: Times) -> tuple[float, float] | None:
    """`interval_of_changes` of readings of which none repeats the one before.

    Values that come back often would sometimes come twice in a row if they were sampled. Those of a fine
    resolution never do, sampled or not; a dead band shows instead. gaps : int64 (n - 1,) [ms]
    """
    often = np.unique(samples.value, return_counts=True)[1].astype(np.float64)
    come_back = float((often**2).sum()) / len(samples.value) >= _CHANCE_REPEATS
    if not come_back and not _keeps_dead_band(samples.value, gaps):
        return None
    soon = median(gaps.astype(np.float64))
    silent = gaps[gaps > LINE_UP_TO_MIN * soon]
    if len(silent) < _FEWEST_CHANGES or silent.sum() < _SILENT_TIME * gaps.sum():
        if (np.abs(gaps - soon) <= _ON_BEAT * soon).mean() >= _SIGNS_ON_BEAT:
            return None  # an even course that happens never to stand still
        silent = gaps
    rest = long_gap(silent)
    return max(float(gaps.min()) / MS_PER_MINUTE, 1.0), min(1.5 * rest / MS_PER_MINUTE, 24 * 60.0)


def _keeps_dead_band(value: Floats, gaps: Times) -> bool:
    """Whether readings come as soon as the value has moved by a dead band: no step is much smaller than it,
    and the time between them is uneven. gaps : int64 (n - 1,) [ms]

    The smallest steps of a sampled value lie evenly between none and the next larger ones.
    """
    if len(gaps) < _SMALLEST_STEPS:
        return False
    smallest = np.sort(np.abs(np.diff(value)))[:_SMALLEST_STEPS]
    usual = median(gaps.astype(np.float64))
    near = (gaps >= usual / _EVEN_WITHIN) & (gaps <= usual * _EVEN_WITHIN)
    return bool(smallest[0] >= 0.5 * smallest[-1] and near.mean() <= _EVEN_SHARE)


def _signs_keep_clock(time: Times, new: NDArray[np.bool_]) -> bool:
    """Whether repeated values come by a clock, and changed ones do not. time : int64 (n,) [ms]"""
    signs = time[~new] // MS_PER_MINUTE
    if len(signs) < 2 or (beat := _most_frequent(np.diff(signs))) <= 2.0 * LINE_UP_TO_MIN:
        return False
    minute = time // MS_PER_MINUTE
    on_clock = np.abs(minute % beat - _most_frequent(signs % beat)) <= 1
    return bool(on_clock[~new].mean() >= _SIGNS_ON_CLOCK and on_clock[new].mean() <= _CHANGES_ON_CLOCK)


def _most_frequent(values: NDArray[np.int64]) -> int:
    """The smallest of the most frequent values. values : int64 (n,), n > 0, none negative"""
    if values.max() < _COUNTED_UP_TO:
        return int(np.argmax(np.bincount(values)))  # without sorting
    each, often = np.unique(values, return_counts=True)
    return int(each[np.argmax(often)])


def _changes_come_early(gaps: Times, new: NDArray[np.bool_]) -> bool:
    """Whether repeated values come a fixed time after the last reading, and changed ones sooner: a pump that
    rests nearly all day. gaps : int64 (n,) [ms]"""
    beat = median(gaps[~new].astype(np.float64))
    if beat <= 2.0 * LINE_UP_TO_MIN * MS_PER_MINUTE:
        return False
    on_beat = np.abs(gaps[~new] - beat) <= MS_PER_MINUTE
    early = gaps[new] < beat - MS_PER_MINUTE
    return bool(on_beat.mean() >= _SIGNS_ON_BEAT and early.mean() >= _CHANGES_EARLY)


def on_minutes(
    time: Times, samples: Samples, longest: float, *, between: Between = "line"
) -> tuple[Floats, NDArray[np.bool_]]:
    """Mean of each minute's readings, filled over gaps of up to `longest` [minutes].

    time : int64 (n,) [ms], minute starts. samples : Samples
    between : interpolation: linear ("line"), previous value ("last", for states) or nearest
    Returns float64 (n,), and bool (n,): True where a reading or its usual interval covers the minute.
    """
    n = len(time)
    if n == 0 or len(samples.time) == 0:
        return np.full(n, np.nan), np.zeros(n, dtype=bool)
    first, end = np.searchsorted(samples.time, (time[0], time[-1] + MS_PER_MINUTE))
    laid = _in_their_minutes(time, samples.time[first:end], samples.value[first:end], between)
    measured = np.isfinite(laid)
    if measured.all():
        return laid, measured
    known = np.flatnonzero(measured)
    # Include the neighbours outside the span to fill its edges.
    before, after = slice(max(first - 1, 0), first), slice(end, end + 1)
    outside = (np.concatenate((samples.time[before], samples.time[after])) - time[0]) // MS_PER_MINUTE
    came = before.stop - before.start
    knots = np.concatenate((outside[:came], known, outside[came:]))
    if len(knots) == 0:
        return laid, measured
    # No fill before the first reading or long after the last.
    begin, until = max(int(knots[0]), 0), max(int(knots[-1]) + _TAIL_MIN, 0)
    missing = begin + np.flatnonzero(~measured[begin:until])
    if len(missing) == 0:
        return laid, measured
    left = np.searchsorted(knots, missing, side="right") - 1
    previous, following = knots[left], knots[np.minimum(left + 1, len(knots) - 1)]
    bridged = (missing <= following) & (following - previous <= longest)
    tail = (left == len(knots) - 1) & (missing - previous < min(longest, _TAIL_MIN))
    use = bridged | tail
    fill = missing[use]
    values = np.concatenate((samples.value[before], laid[known], samples.value[after])).astype(np.float64)
    if between == "line":
        laid[fill] = np.interp(fill, knots, values)
    else:
        nearer = (between == "nearest") & (left < len(knots) - 1) & (2 * missing > previous + following)
        laid[fill] = values[left + nearer][use]
    measured[fill] = np.isfinite(laid[fill])
    return laid, measured


def _in_their_minutes(time: Times, at: Times, value: Floats, between: Between) -> Floats:
    """Mean of each minute, for states the last value; nan without readings."""
    if np.array_equal(at, time):
        return np.array(value, dtype=np.float64)
    n = len(time)
    laid = np.full(n, np.nan)
    where = (at - time[0]) // MS_PER_MINUTE
    if between == "last" or bool(np.all(np.diff(where) > 0)):
        laid[where] = value  # numpy keeps the last value of a repeated index
        return laid
    count = np.bincount(where, minlength=n)
    total = np.bincount(where, weights=value, minlength=n)
    return np.divide(total, count, out=laid, where=count > 0)


def mean_of(parts: list[Floats]) -> Floats:
    if len(parts) == 1:
        return parts[0]
    stack = np.vstack(parts)
    known = np.isfinite(stack)
    count = known.sum(axis=0)
    total = np.where(known, stack, 0.0).sum(axis=0)
    return np.divide(total, count, out=np.full(stack.shape[1], np.nan), where=count > 0)
