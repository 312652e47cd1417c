"""Frost on the outdoor coil, with its uncertainty.

Heat and moisture pass through the same film of air (Lewis relation). A coil that takes its rated duty with
`difference_k` between air and surface therefore exchanges duty / (difference x heat capacity of air)
kilograms of air with its surface; only a part of that, `transfer`, loses its moisture, because fins are
warmer than the refrigerant and latent heat takes its share of the duty. At part load the coil is warmer.

Three guesses of the unknown coil and air give a low, a usual and a high frost mass. Their logarithms are
treated as normal (GUM, JCGM 100): low and high stand for the 95 % interval.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, log, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldfare.analysis.expectation.uncertain import Lognormal
from fieldfare.analysis.physics.air import frost_rate_index
from fieldfare.analysis.statistics.distributions import GAUSS_95

Floats = NDArray[np.float64]

AIR_J_PER_KG_K = 1006.0
FROM_AIR = 0.78
"""Share of the rated output that comes out of the air at the rating point (COP 4 to 5)."""


@dataclass(frozen=True)
class Coil:
    """Assumptions about a coil and the air around it.

    difference_k : air less coil surface at the rated output [K]; makers lay their coils out for 5 to 10 K
        (common practice)
    least_load : load below which the fan slows with the compressor, so that the coil gets no warmer [-]
    transfer : share of the air's moisture exchange that reaches the fins [-]
    humidity : relative, where it is not measured [%]. humidity_error : added to a measured one [%]
    """

    difference_k: float
    least_load: float
    transfer: float
    humidity: float
    humidity_error: float


# Humidity of a damp winter in north-west and central Europe: 82 to 94 % as a season's mean, 88 % usual
# (common practice; A2 has 84 %). Capacitive sensors are 3 to 5 % off. Transfer: half of it in the middle, all
# of it as the physical bound.
LEAST = Coil(6.0, 0.30, 0.40, 82.0, -4.0)
USUAL = Coil(7.5, 0.35, 0.55, 88.0, 0.0)
MOST = Coil(10.0, 0.50, 1.0, 100.0, 5.0)


def frost_rate(outdoor_c: ArrayLike, humidity: ArrayLike, load: ArrayLike, coil: Coil = USUAL) -> Floats:
    """Frost that settles on a coil at work.

    outdoor_c : float or array [C]. humidity : float or array [%], relative over water; nan where not measured
    load : float or array [-]. Heat taken out of the air over the rated duty
    coil : Coil, default USUAL
    Returns the broadcast shape [g an hour for each kW rated]; nan where the outdoor temperature is.
    Source: Lewis relation with `physics.air.frost_rate_index`.
    """
    given = np.asarray(humidity, dtype=np.float64)
    damp = np.where(np.isfinite(given), np.clip(given + coil.humidity_error, 1.0, 100.0), coil.humidity)
    colder = coil.difference_k * np.maximum(np.asarray(load, dtype=np.float64), coil.least_load)
    index = np.asarray(frost_rate_index(outdoor_c, damp, coil_difference_k=colder))
    air_kg_per_h = FROM_AIR * 1000.0 / coil.difference_k / AIR_J_PER_KG_K * 3600.0
    return np.asarray(index * air_kg_per_h * coil.transfer)


UNITS_SPREAD = 0.25
"""How far frost lies from the model's beyond coil and air, as a logarithm: fans and controls differ."""
# If the low estimate is zero, frost is taken as known within a factor of ten.
_FAR_LESS = 0.1


def frost_mass(least: float, usual: float, most: float) -> Lognormal:
    """Frost of a period from its three guesses.

    least, usual, most : float [g/kW], as `frost_rate` adds up with LEAST, USUAL and MOST
    Returns Lognormal [g/kW].
    """
    usual = max(usual, 1e-6)
    # The guesses move coil, transfer and air together; the three are independent and add up as squares.
    wide = (log(max(most, usual) / usual) + log(usual / max(least, _FAR_LESS * usual))) / (2.0 * GAUSS_95)
    return Lognormal(usual, hypot(wide / sqrt(3.0), UNITS_SPREAD))
