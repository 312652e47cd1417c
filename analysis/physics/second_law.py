"""What the second law allows a heat pump, and what share of it a measured COP reaches."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

ZERO_C_IN_K = 273.15
PLAUSIBLE_SHARE_OF_CARNOT = (
    0.65  # general range of second-law efficiency 0.35 to 0.5; common practice, no source
)


def carnot_cop(source_c: ArrayLike, flow_c: ArrayLike) -> Array:
    """Highest heating COP between two constant temperatures.

    source_c, flow_c : float or array [C]
    Returns the broadcast shape [-]; infinite where the flow is not warmer than the source.
    Source: second law, Th / (Th - Tc).
    """
    hot = np.asarray(flow_c, dtype=float) + ZERO_C_IN_K
    lift = hot - (np.asarray(source_c, dtype=float) + ZERO_C_IN_K)
    return np.where(
        lift > 0.0, hot / np.where(lift > 0.0, lift, 1.0), np.where(np.isnan(lift), np.nan, np.inf)
    )[()]


def lorenz_cop(
    source_in_c: ArrayLike, source_out_c: ArrayLike, return_c: ArrayLike, flow_c: ArrayLike
) -> Array:
    """Highest heating COP between two streams that change temperature.

    source_in_c, source_out_c : float or array [C]. Air or brine entering and leaving
    return_c, flow_c : float or array [C]. Water entering and leaving
    Returns the broadcast shape [-]; infinite where the water is not warmer than the source.
    Source: Lorenz cycle, Carnot's formula with the logarithmic mean of the absolute temperatures on each
        side.
    """

    def mean(one: ArrayLike, other: ArrayLike) -> Array:
        a, b = np.asarray(one, dtype=float) + ZERO_C_IN_K, np.asarray(other, dtype=float) + ZERO_C_IN_K
        same = np.abs(a - b) < 1e-9
        return np.where(same, a, (b - a) / np.log(np.where(same, 2.0, b / a)))

    return carnot_cop(mean(source_in_c, source_out_c) - ZERO_C_IN_K, mean(return_c, flow_c) - ZERO_C_IN_K)


def second_law_efficiency(cop: ArrayLike, source_c: ArrayLike, flow_c: ArrayLike) -> Array:
    """Share of the thermodynamic limit that a COP reaches.

    cop : float or array [-]
    source_c, flow_c : float or array [C]
    Returns the broadcast shape [-]. Above 1 it cannot be; above 0.65 over an hour the reading is at fault.
    """
    return (np.asarray(cop, dtype=float) / carnot_cop(source_c, flow_c))[()]
