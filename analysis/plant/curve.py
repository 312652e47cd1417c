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
