"""Heat balance of a cylinder charge: heat taken up by the cylinder over heat given by the unit.

A charge heats pipes, coil and cylinder and nothing else: but for a few percent its heat is in the cylinder.
A diverter that does not close sends a part of it into the heating circuit; the cylinder then warms by less
than the heat it was charged.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldfare.analysis.expectation.excess import Expected
from fieldfare.analysis.physics.hot_water import WH_PER_LITRE_KELVIN

Array = NDArray[np.float64]

TAKEN_UP = Expected(0.93, 0.08)
"""Share in the quarter of the charges that were least drawn from: pipes keep 2 to 6 % (common practice),
the heat meter's class 2 errs by 3 to 5 % (EN 1434-1), layers and the coil's place make the sensor's rise
differ from the mean by a tenth (common practice)."""
LEAST_DRAWN = 0.75
"""Quantile of the charges that stands for those without a draw: a draw only lowers what the cylinder seems
to have taken up."""
LEAST_TOUCHED = 0.9
"""Quantile of the charges' ends that stands for the best of them, one in ten: a leak is in these too (common
practice)."""


def taken_up(litres: ArrayLike, rise_k: ArrayLike, heat_kwh: ArrayLike) -> Array:
    """Heat in the cylinder by its warming, over the heat it was charged.

    litres, rise_k, heat_kwh : float or array
    Returns the broadcast shape [-]; nan where no heat was given. Source: 1.163 Wh/(l K).
    """
    heat = np.asarray(heat_kwh, dtype=float)
    stored = np.asarray(litres, dtype=float) * WH_PER_LITRE_KELVIN / 1000.0 * np.asarray(rise_k, dtype=float)
    return np.divide(stored, heat, out=np.full(np.broadcast(stored, heat).shape, np.nan), where=heat > 0.0)[
        ()
    ]


def leaked_share(taken: float) -> float:
    """Share of a charge's heat that did not reach the cylinder [-]; 0 if as expected."""
    return float(np.clip(1.0 - taken / TAKEN_UP.value, 0.0, 1.0))
