"""Cumulative sums, rolling windows, runs of True, and forward fill."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def running_total(values: NDArray[Any]) -> NDArray[Any]:
    """Cumulative sum before each element.

    values : bool, int or float (n,), finite. Returns int64 (n + 1,) of flags and counts, float64 (n + 1,)
        else; first 0
    """
    total = np.empty(len(values) + 1, dtype=np.float64 if values.dtype.kind == "f" else np.int64)
    total[0] = 0
    np.cumsum(values, out=total[1:])
    return total


def window_sum(values: NDArray[Any], back: int, ahead: int) -> NDArray[Any]:
    """Sum of values[i - back : i + ahead] at each i, truncated at the ends.

    values : bool, int or float (n,), finite. Returns int64 (n,) of flags and counts, float64 (n,) else
    """
    n = len(values)
    back, ahead = min(back, n), min(ahead, n)
    total = running_total(values)
    out = np.empty(n, dtype=total.dtype)
    out[: n - ahead], out[n - ahead :] = total[ahead:n], total[n]
    out[back:] -= total[: n - back]
    return out


def window_mean(values: NDArray[np.float64], back: int, ahead: int, least: int = 1) -> NDArray[np.float64]:
    """Mean of the known values[i - back : i + ahead] at each i; nan with fewer than `least` known values."""
    known = np.isfinite(values)
    if known.all():  # a sum less, and no copy: most points have no gap
        places = np.arange(len(values))
        count = np.minimum(places + ahead, len(values)) - np.maximum(places - back, 0)
        total = window_sum(values, back, ahead)
    else:
        count = window_sum(known, back, ahead)
        total = window_sum(np.where(known, values, 0.0), back, ahead)
    return np.divide(total, count, out=np.full(len(values), np.nan), where=count >= least)


def true_runs(flags: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Starts and ends (exclusive) of the runs of True in a bool (n,)."""
    framed = np.zeros(len(flags) + 2, dtype=bool)
    framed[1:-1] = flags
    edges = np.flatnonzero(framed[1:] != framed[:-1]).astype(np.int64, copy=False)
    return edges[0::2], edges[1::2]


def run_begins(flags: NDArray[np.bool_], *, before: bool = False) -> NDArray[np.bool_]:
    """True at the first element of each run of True.

    flags : bool (n,). before : whether a run already held before the first element. Returns bool (n,)
    """
    return np.asarray(flags & ~np.concatenate(([before], flags[:-1])))


def forward_fill(values: NDArray[Any], where: NDArray[np.bool_], otherwise: Any) -> NDArray[Any]:
    """Value at the latest True of `where` at each position, `otherwise` before the first.

    values : (n,). where : bool (n,). Returns (n,)
    """
    newest = np.maximum.accumulate(np.where(where, np.arange(len(values)), -1))
    return np.where(newest >= 0, values[np.maximum(newest, 0)], otherwise)
