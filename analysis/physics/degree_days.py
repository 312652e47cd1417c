"""Heating degree-days from daily extremes, a monthly mean, or daily means."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

UK_BASE_C = 15.5  # customary base of UK degree-days


def degree_days_from_means(daily_mean_c: ArrayLike, *, base_c: float = UK_BASE_C) -> Array:
    """Degree-days of each day from its mean temperature.

    daily_mean_c : float or array [C]. Per day; means of readings spread over the whole day
    base_c : float [C], default 15.5. Base temperature
    Returns the same shape [K d]. Reads low on days that cross the base. Source: CIBSE TM41:2006, mean daily
    temperature.
    """
    return np.maximum(base_c - np.asarray(daily_mean_c, dtype=float), 0.0)[()]
