"""Heating curve: the flow temperature set by weather compensation."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def curve_at(points: Sequence[tuple[float, float]], outdoor_c: Floats) -> Floats:
    """Flow temperature [°C] of a heating curve, constant beyond its ends.

    points : (outdoor, flow) pairs, ascending by outdoor. outdoor_c : float64 (n,); nan stays nan
    """
    x, y = np.array(points, dtype=np.float64).T
    return np.where(np.isfinite(outdoor_c), np.interp(np.nan_to_num(outdoor_c), x, y), np.nan)


def curve_beyond(points: Sequence[Sequence[float]], outdoor_c: Floats) -> Floats:
    """Flow temperature [°C] of a curve of two or more points, the slope of its ends kept on beyond its cold
    end.

    points : (outdoor, flow) pairs, ascending by outdoor. outdoor_c : float64 (n,)
    """
    (x1, y1), (x2, y2) = points[0], points[-1]
    inside = curve_at([(x, y) for x, y in points], outdoor_c)
    return np.where(outdoor_c < x1, y1 + (outdoor_c - x1) * (y2 - y1) / (x2 - x1), inside)
