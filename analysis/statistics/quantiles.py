"""Medians and quantiles of short rows, faster than numpy's own, which spend most time on axes."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def median(values: Floats) -> float:
    """Median of float64 (n,), n > 0; nan where one is nan."""
    ordered = np.sort(values)
    middle = len(ordered) // 2
    if np.isnan(ordered[-1]):
        return math.nan
    return float(ordered[middle] if len(ordered) % 2 else (ordered[middle - 1] + ordered[middle]) / 2.0)


def nan_median(values: Floats) -> float:
    """Median of the finite values; nan where there are none."""
    known = values[np.isfinite(values)]
    return median(known) if len(known) else math.nan


def robust_sd(values: Floats) -> float:
    """Standard deviation by the median absolute deviation, odd values aside; nan without a finite value.

    1.4826 of it is the standard deviation of a normal distribution.
    """
    return 1.4826 * nan_median(np.abs(values - nan_median(values)))


def median_error(values: Floats) -> float:
    """Standard error of the median of a nearly normal sample, float64 (n,), n > 0.

    Source: root of pi / 2 times the standard error of the mean, for large samples (textbook).
    """
    return 1.2533 * robust_sd(values) / math.sqrt(len(values))


def quantile(values: Floats, share: float) -> float:
    """Quantile of float64 (n,), finite, n > 0, with linear interpolation as in np.quantile."""
    ordered = np.sort(values)
    at = (len(ordered) - 1) * share
    below = int(at)
    low, high = ordered[below], ordered[min(below + 1, len(ordered) - 1)]
    part, rise = at - below, high - low
    return float(low + rise * part if part < 0.5 else high - rise * (1.0 - part))


def row_quantiles(rows: Floats, share: float, least: int = 1) -> Floats:
    """Quantile of the known values of each row; nan where fewer than `least` are known.

    rows : float64 (k, m), nan where unknown, m > 0. Returns float64 (k,)
    """
    ordered = np.sort(rows, axis=1)  # nan sorts last
    known = np.count_nonzero(~np.isnan(ordered), axis=1)
    last, row = np.maximum(known - 1, 0), np.arange(len(rows))
    at = last * share
    below = at.astype(np.int64)
    low, high = ordered[row, below], ordered[row, np.minimum(below + 1, last)]
    part, rise = at - below, high - low
    found = np.where(part < 0.5, low + rise * part, high - rise * (1.0 - part))
    return np.where(known >= least, found, np.nan)


def running_median(values: Floats, before: int, after: int) -> Floats:
    """Median of each value with its neighbours, fewer at the ends.

    before, after : number of neighbours. values : float64 (n,), finite, n > 0. Returns float64 (n,)
    """
    n = len(values)
    padded = np.concatenate((np.full(before, np.nan), values, np.full(after, np.nan)))
    windows = np.sort(np.lib.stride_tricks.sliding_window_view(padded, before + 1 + after), axis=1)
    row = np.arange(n)
    known = np.minimum(row, before) + 1 + np.minimum(n - 1 - row, after)  # the padding sorts last
    middle = windows[row, (known - 1) // 2] + windows[row, known // 2]
    return np.asarray(middle / 2.0, dtype=np.float64)
