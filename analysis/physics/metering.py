"""How far meters may err, and what that does to a performance factor.

Errors are shares (0.02 is 2 %). A meter's class error is systematic: it does not shrink with time or with the
number of readings, so it is combined with random parts and never averaged away.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
HeatClass = Literal["1", "2", "3"]
ElectricityClass = Literal["A", "B", "C"]
Shape = Literal["rectangular", "triangular", "arcsine", "normal"]

# EN 1434-1 / 2014/32/EU Annex VI (MI-004). Class 1 from memory; 2, 3 and the two below as technical
# descriptions quote them.
_FLOW_SENSOR = {"1": (0.01, 0.0001), "2": (0.02, 0.0002), "3": (0.03, 0.0005)}
_FLOW_SENSOR_HIGHEST = 0.05
SMALLEST_DIFFERENCE_K = 3.0  # usual smallest rated temperature difference of a heat meter: 3, 5 or 10 K

# 2014/32/EU Annex V (MI-003) Table 2, shares by class, from the transitional current up: (from C, to C,
# below, from).
_ELECTRICITY = (
    (5.0, 30.0, {"A": 0.035, "B": 0.020, "C": 0.010}, {"A": 0.035, "B": 0.020, "C": 0.007}),
    (-10.0, 40.0, {"A": 0.050, "B": 0.025, "C": 0.013}, {"A": 0.045, "B": 0.025, "C": 0.010}),
    (-25.0, 55.0, {"A": 0.070, "B": 0.035, "C": 0.017}, {"A": 0.070, "B": 0.035, "C": 0.013}),
    (-40.0, 70.0, {"A": 0.090, "B": 0.040, "C": 0.020}, {"A": 0.090, "B": 0.040, "C": 0.015}),
)


class HeatMeterError(NamedTuple):
    """Maximum permissible errors of a heat meter's three parts [-].

    They add up for the legal limit, not for an uncertainty.
    """

    flow_sensor: Array
    temperature_pair: Array
    calculator: Array

    @property
    def total(self) -> Array:
        """The legal limit of the whole meter: the parts added [-]."""
        return self.flow_sensor + self.temperature_pair + self.calculator

    @property
    def standard(self) -> Array:
        """Standard uncertainty of the meter [-]: parts rectangular within their limits, combined by GUM."""
        return combine(*(standard_uncertainty(part) for part in self))


def flow_sensor_mpe(flow_ratio: ArrayLike, meter_class: HeatClass) -> Array:
    """Maximum permissible error of a flow sensor.

    flow_ratio : float or array [-]. Flow over the permanent flow qp
    meter_class : str. 1, 2 or 3
    Returns the same shape [-], at most 0.05. Raises ValueError for another class.
    Source: EN 1434-1, MI-004: Ef = (1 + 0.01 qp/q), (2 + 0.02 qp/q), (3 + 0.05 qp/q) %, not above 5 %.
    """
    if meter_class not in _FLOW_SENSOR:
        raise ValueError(f"heat meter class must be 1, 2 or 3, got {meter_class!r}")
    constant, factor = _FLOW_SENSOR[meter_class]
    ratio = np.maximum(np.asarray(flow_ratio, dtype=float), 1e-6)
    return np.minimum(constant + factor / ratio, _FLOW_SENSOR_HIGHEST)[()]


def heat_meter_mpe(
    difference_k: ArrayLike,
    flow_ratio: ArrayLike,
    meter_class: HeatClass,
    *,
    smallest_difference_k: float = SMALLEST_DIFFERENCE_K,
) -> HeatMeterError:
    """Maximum permissible errors of a heat meter's parts.

    difference_k : float or array [K]. Flow less return; its sign does not matter, and below 0.1 K it is taken
        as 0.1
    flow_ratio : float or array [-]. Flow over the permanent flow qp
    meter_class : str. 1, 2 or 3
    smallest_difference_k : float [K], default 3.0. Smallest difference the meter is rated for
    Returns HeatMeterError [-]. Below the rated difference the formulas are carried on, which the standard
    does not do. Raises ValueError for another class.
    Source: EN 1434-1, MI-004: Et = (0.5 + 3 dmin/d) %, Ec = (0.5 + dmin/d) %.
    """
    share = smallest_difference_k / np.maximum(np.abs(np.asarray(difference_k, dtype=float)), 0.1)
    return HeatMeterError(
        flow_sensor_mpe(flow_ratio, meter_class), (0.005 + 0.03 * share)[()], (0.005 + 0.01 * share)[()]
    )


def resistance_sensor_mpe(temperature_c: ArrayLike) -> Array:
    """Tolerance of a platinum resistance sensor of class B, a usual one in a unit or on a pipe [K].

    temperature_c : float or array [C]
    Returns the same shape [K].
    Source: IEC 60751: 0.3 K + 0.005 |t| (from memory).
    """
    return (0.3 + 0.005 * np.abs(np.asarray(temperature_c, dtype=float)))[()]


def electricity_meter_mpe(
    meter_class: ElectricityClass, *, temperature_c: float = 20.0, below_transitional_current: bool = False
) -> float:
    """Maximum permissible error of an electricity meter in operation.

    meter_class : str. A, B or C
    temperature_c : float [C], default 20.0. Where the meter hangs
    below_transitional_current : bool, default False. Between the smallest and the transitional current
    Returns float [-]. Raises ValueError for another class or a temperature outside -40 to 70.
    Source: 2014/32/EU Annex V (MI-003) Table 2. "Class B, 1 %" is EN 50470-3 at reference conditions: not
        this.
    """
    if meter_class not in ("A", "B", "C"):
        raise ValueError(f"electricity meter class must be A, B or C, got {meter_class!r}")
    for low, high, weak, strong in _ELECTRICITY:
        if low <= temperature_c <= high:
            return (weak if below_transitional_current else strong)[meter_class]
    raise ValueError(f"no class error is stated at {temperature_c:g} C; the table goes from -40 to 70 C")


_DIVISORS = {"rectangular": 3.0**0.5, "triangular": 6.0**0.5, "arcsine": 2.0**0.5, "normal": 1.959964}


def standard_uncertainty(half_width: ArrayLike, shape: Shape = "rectangular") -> Array:
    """Standard uncertainty of a quantity known to lie within plus or minus a half-width.

    half_width : float or array. A maximum permissible error, or half of a 95 % interval for `normal`
    shape : str, default rectangular. rectangular, triangular, arcsine or normal
    Returns the same shape and unit. Raises ValueError for another word.
    Source: GUM, JCGM 100:2008, 4.3.7 (rectangular: half-width / sqrt 3), 4.3.9, 4.3.4.
    """
    if shape not in _DIVISORS:
        raise ValueError(f"shape must be one of {', '.join(_DIVISORS)}, got {shape!r}")
    return (np.asarray(half_width, dtype=float) / _DIVISORS[shape])[()]


def combine(*standard_uncertainties: ArrayLike) -> Array:
    """Combined standard uncertainty of independent parts: root of the sum of squares (GUM 5.1.2)."""
    return np.sqrt(
        sum((np.asarray(u, dtype=float) ** 2 for u in standard_uncertainties), start=np.asarray(0.0))
    )[()]


def coverage_factor(half_widths: Sequence[float], *, normal: float = 0.0, probability: float = 0.95) -> float:
    """Factor from the combined standard uncertainty to the half-width of an interval.

    half_widths : sequence of float. Rectangular parts, one unit; zeros are left out
    normal : float, default 0.0. Standard uncertainty of everything else, same unit
    probability : float [-], default 0.95. Of the interval
    Returns float [-]: 1.65 for one rectangular part alone, 1.90 for two equal ones, 1.96 for a normal one;
    1.96 if all are 0.
    Source: GUM, JCGM 100:2008, annex G.6.5, and the propagation of distributions of JCGM 101:2008
        (convolution).
    """
    if not 0.0 < probability < 1.0:
        raise ValueError(f"probability must lie between 0 and 1, got {probability}")
    parts = np.abs(np.array([*half_widths, normal], dtype=float))
    size = float(np.sqrt(np.sum(parts[:-1] ** 2) / 3.0 + parts[-1] ** 2))
    if size == 0.0:
        return _factor((), 1.0, probability)
    scaled = tuple(sorted(round(float(p) / size, 3) for p in parts[:-1] if p / size > 0.002))
    return _factor(scaled, round(float(parts[-1]) / size, 3), probability)


@lru_cache(maxsize=512)
def _factor(half_widths: tuple[float, ...], normal: float, probability: float) -> float:
    """Half-width of the symmetric interval of a sum with unit standard deviation, by convolution."""
    step, reach = 0.005, 8.0
    edges = np.arange(-reach - step / 2.0, reach + step, step)
    middle = (edges[:-1] + edges[1:]) / 2.0
    centre = int(np.argmin(np.abs(middle)))
    density = np.ones(1)
    for width in half_widths:
        # Only as far as the part reaches: the grid is many times wider, and all zeros there.
        near = slice(max(centre - int(width / step) - 1, 0), centre + int(width / step) + 2)
        inside = np.clip(np.minimum(edges[1:][near], width) - np.maximum(edges[:-1][near], -width), 0.0, None)
        density = np.convolve(density, inside / np.sum(inside))
    if normal > 0.0:
        bell = (
            np.exp(-((middle / normal) ** 2) / 2.0)
            if normal > step
            else np.where(np.abs(middle) < step / 2.0, 1.0, 0.0)
        )
        density = np.convolve(density, bell / np.sum(bell), mode="same")
    own = len(density) // 2
    within = density[own] + 2.0 * np.concatenate(([0.0], np.cumsum(density[own + 1 :])))
    return float(np.interp(probability, within, middle[centre : centre + len(within)] + step / 2.0))
