"""Moving means and medians over days, which may be unknown; without pandas, which takes 0.3 s to load."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def moving_median(values: Floats, width: int, least: int) -> Floats:
    """Median of the known values of the window about each value; nan where fewer than `least` are known.

    values : float64 (n,). width : values in a window, an even one has one more before than after
    Returns float64 (n,)
    """
    return moving_quantile(values, width, least, 0.5)


def moving_quantile(values: Floats, width: int, least: int, share: float) -> Floats:
    """Quantile, linear between neighbours. share : 0 to 1. The rest as in `moving_median`."""
    rows = np.sort(_windows(values, width, centred=True), axis=1)  # nan sorts last
    known = np.count_nonzero(~np.isnan(rows), axis=1)
    row, at = np.arange(len(rows)), share * np.maximum(known - 1, 0)
    below = np.floor(at).astype(np.int64)
    part = at - below
    low, high = rows[row, below], rows[row, np.ceil(at).astype(np.int64)]
    return np.where(known >= max(least, 1), (1.0 - part) * low + part * high, np.nan)


def moving_sum(values: Floats, width: int) -> Floats:
    """Sum of the known values of the window about each value, 0 where none is. Shapes as in
    `moving_median`."""
    return np.nansum(_windows(values, width, centred=True), axis=1)


def moving_mean(values: Floats, width: int, least: int, *, centred: bool) -> Floats:
    """Mean of the known values of the window about each value, or of the window that ends with it (not
    `centred`); nan where fewer than `least` are known. Shapes as in `moving_median`."""
    rows = _windows(values, width, centred=centred)
    known = np.count_nonzero(~np.isnan(rows), axis=1)
    total = np.nansum(rows, axis=1)
    return np.divide(total, known, out=np.full(len(rows), np.nan), where=known >= max(least, 1))


def _windows(values: Floats, width: int, *, centred: bool) -> Floats:
    """The window of each value, float64 (n, width); nan beyond the ends."""
    after = (width - 1) // 2 if centred else 0
    given = np.asarray(values, dtype=np.float64)
    padded = np.concatenate((np.full(width - 1 - after, np.nan), given, np.full(after, np.nan)))
    return sliding_window_view(padded, width) if len(given) else np.empty((0, width))
