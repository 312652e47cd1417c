"""Water and water-antifreeze mixtures: properties, and heat from flow and two temperatures.

Arrays and floats are taken alike and come back in the same shape. A gap (NaN) in any input is a gap in the
result. Fractions of antifreeze are by mass, as in the published tables; 25 % by volume is not 25 % by mass.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.polynomial import polynomial
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Pipe = Literal["return", "flow"]

WATER_RANGE_C = (0.0, 120.0)
MIXTURE_RANGE_C = (-10.0, 95.0)
MAX_PERCENT = 50.0
KWH_PER_M3_K = 1.155
"""Heat of water between 30 and 40 °C, EN 1434-1 (reference 1.1)."""
_GAUSS_LEGENDRE = np.polynomial.legendre.leggauss(4)

# Least squares of degree 7 over x = t/100, 600 temperatures 0.01 to 120 C at 1.6 MPa, values of IAPWS-IF97
# region 1. Largest errors: density 2.3e-6, specific heat 5.0e-5. 1.6 MPa is the
# pressure at which EN 1434-1 states its heat coefficients; 0.2 MPa changes them by 0.03 %.
_WATER_DENSITY = (
    1000.6076989800923,
    6.049968201641218,
    -87.63844024149326,
    88.47117626690982,
    -93.15251733532855,
    69.43886707900232,
    -30.50034988568756,
    5.779396974776376,
)
_WATER_HEAT = (
    4.211787840274052,
    -0.31862894502766076,
    1.2511454796694497,
    -3.0419870660748844,
    4.729932269818986,
    -4.281564728952885,
    2.0811912094483205,
    -0.4187136959285781,
)

# Rows: powers 0 to 3 of t/100; columns: powers 0 to 4 of the mass fraction. Relative least squares over 2 to
# 50 % by mass (steps of 2 %) and -10 to 95 C (steps of 2.5 K) above freezing, values of the Melinder (2010)
# mixtures as CoolProp 8.0 gives them: `PropsSI("D" or "C", "T", t + 273.15, "P", 2e5, "INCOMP::MPG[x]" or
# "INCOMP::MEG[x]")`. Largest errors against those: propylene density 0.002 %, specific heat 0.012 %; ethylene
# 0.005 %, 0.043 %.
_DENSITY: dict[str, Array] = {
    "propylene_glycol": np.array(
        [
            [1000.3, 77.7303, 136.4, -134.212, -89.0423],
            [3.58236, -51.9803, -391.428, 674.022, -286.691],
            [-65.5204, 85.5827, 51.304, -232.086, 145.197],
            [20.6188, -29.2874, -3.1825, 101.291, -91.7746],
        ]
    ),
    "ethylene_glycol": np.array(
        [
            [999.397, 132.389, 112.235, -165.363, 25.8448],
            [-0.0533205, -24.4017, -526.394, 1226.75, -847.585],
            [-50.1265, 51.5473, 136.566, -432.249, 284.767],
            [8.60041, -19.0141, -24.3271, 200.623, -180.355],
        ]
    ),
}
_SPECIFIC_HEAT: dict[str, Array] = {  # J/(kg K)
    "propylene_glycol": np.array(
        [
            [4212.09, -1852.53, 4305.08, -11414.6, 8289.19],
            [-186.783, 3260.57, -8891.89, 12171.8, -5684.96],
            [288.427, -1861.74, 3035.41, 621.832, -3191.46],
            [-99.1797, 337.856, 352.547, -2262.41, 2022.75],
        ]
    ),
    "ethylene_glycol": np.array(
        [
            [4205.66, -1701.48, 796.448, -5840.01, 6073.76],
            [-160.873, 1921.53, -1521.2, 1018.79, 295.303],
            [239.717, -1035.61, -1569.58, 9636.47, -9935.1],
            [-73.9295, 80.3322, 1988.61, -7123.65, 6275.26],
        ]
    ),
}
_FREEZING = {  # powers 1 to 4 of the mass fraction; within 0.01 K of the same source
    "propylene_glycol": (0.0, -19.0, -117.5, 242.3, -377.83),
    "ethylene_glycol": (0.0, -30.66, -10.87, -191.98, 96.82),
}


def _fluid(fluid: str, percent: float) -> str:
    if fluid not in ("none", *_FREEZING):
        raise ValueError(f"fluid must be none, propylene_glycol or ethylene_glycol, got {fluid!r}")
    if not 0.0 <= percent <= MAX_PERCENT:
        raise ValueError(f"antifreeze must be 0 to {MAX_PERCENT:.0f} % by mass, got {percent}")
    return "none" if percent == 0.0 else fluid


def _properties(fluid: str, percent: float) -> tuple[Array, Array, tuple[float, float]]:
    """Coefficients over t/100 of density [kg/m3] and specific heat [kJ/(kg K)], and their valid range."""
    kind = _fluid(fluid, percent)
    if kind == "none":
        return np.array(_WATER_DENSITY), np.array(_WATER_HEAT), WATER_RANGE_C
    powers = (percent / 100.0) ** np.arange(5)
    low = max(MIXTURE_RANGE_C[0], float(freezing_point(kind, percent)))
    return _DENSITY[kind] @ powers, _SPECIFIC_HEAT[kind] @ powers / 1000.0, (low, MIXTURE_RANGE_C[1])


def density(temperature_c: ArrayLike, *, fluid: str = "none", percent: float = 0.0) -> Array:
    """Density of water or a mixture at 16 bar.

    temperature_c : float or array [C]. Outside the fluid's range (water 0 to 120) the value at its end is
        given
    fluid : str, default none. none, propylene_glycol or ethylene_glycol
    percent : float [%], default 0.0. Antifreeze by mass, 0 to 50
    Returns the same shape [kg/m3].
    Raises ValueError for an unknown fluid or a percentage outside 0 to 50.
    Source: IAPWS R7-97(2012) region 1; mixtures Melinder (2010) through CoolProp, fitted as stated above.
    """
    coefficients, _, (low, high) = _properties(fluid, percent)
    x = np.clip(np.asarray(temperature_c, dtype=float), low, high) / 100.0
    return polynomial.polyval(x, coefficients)[()]


def heat_coefficient(
    flow_c: ArrayLike,
    return_c: ArrayLike,
    *,
    meter_in: Pipe = "return",
    fluid: str = "none",
    percent: float = 0.0,
) -> Array:
    """Heat coefficient k: heat carried per volume at the flow sensor and kelvin of difference.

    flow_c, return_c : float or array [C]
    meter_in : str, default return. The pipe the flow sensor sits in: return or flow
    fluid : str, default none. none, propylene_glycol or ethylene_glycol
    percent : float [%], default 0.0. Antifreeze by mass
    Returns the broadcast shape [kWh/(m3 K)]; at equal temperatures its limit, density times specific heat.
    Raises ValueError for an unknown pipe or fluid, or a percentage outside 0 to 50.
    Source: EN 1434-1 Annex A (form from memory): k = (hf - hr) / (v (tf - tr)), v at the flow sensor.
    """
    if meter_in not in ("return", "flow"):
        raise ValueError(f"meter_in must be return or flow, got {meter_in!r}")
    rho, heat, (low, high) = _properties(fluid, percent)
    warm = np.clip(np.asarray(flow_c, dtype=float), low, high) / 100.0
    cool = np.clip(np.asarray(return_c, dtype=float), low, high) / 100.0
    volume_at = warm if meter_in == "flow" else cool
    # The mean specific heat between two temperatures by four-point Gauss-Legendre: exact for a polynomial of
    # degree 7, and free of the difference of two close numbers that a small temperature difference would
    # give.
    middle, half = (warm + cool) / 2.0, (warm - cool) / 2.0
    mean_heat = sum(
        w / 2.0 * polynomial.polyval(middle + half * n, heat) for n, w in zip(*_GAUSS_LEGENDRE, strict=True)
    )
    return (polynomial.polyval(volume_at, rho) * mean_heat / 3600.0)[()]


def heat_from_flow(
    flow_m3_per_h: ArrayLike,
    flow_c: ArrayLike,
    return_c: ArrayLike,
    *,
    meter_in: Pipe = "return",
    fluid: str = "none",
    percent: float = 0.0,
) -> Array:
    """Heat carried by the water; negative while the unit defrosts.

    flow_m3_per_h : float or array [m3/h]
    flow_c, return_c : float or array [C]
    meter_in : str, default return. The pipe the flow sensor sits in
    fluid : str, default none. none, propylene_glycol or ethylene_glycol
    percent : float [%], default 0.0. Antifreeze by mass
    Returns the broadcast shape [W].
    Raises ValueError as heat_coefficient does.
    Source: EN 1434-1: heat = volume x k x temperature difference.
    """
    k = heat_coefficient(flow_c, return_c, meter_in=meter_in, fluid=fluid, percent=percent)
    difference = np.asarray(flow_c, dtype=float) - np.asarray(return_c, dtype=float)
    return (np.asarray(flow_m3_per_h, dtype=float) * k * difference * 1000.0)[()]


def antifreeze_over_reading(
    flow_c: ArrayLike,
    return_c: ArrayLike,
    *,
    fluid: str,
    percent: float,
    meter_in: Pipe = "return",
) -> Array:
    """Share by which a meter set for water reads too much heat when the circuit holds antifreeze.

    flow_c, return_c : float or array [C]
    fluid : str. propylene_glycol or ethylene_glycol (none gives 0)
    percent : float [%]. Antifreeze by mass
    meter_in : str, default return. The pipe the flow sensor sits in
    Returns the broadcast shape [-]: 0.05 means 5 % too much. The flow sensor's own error with a thicker
    liquid is not in it. Raises ValueError as heat_coefficient does.
    Source: ratio of the two heat coefficients; two published property sets differ by about 0.6 to 1.1 points.
    """
    water = heat_coefficient(flow_c, return_c, meter_in=meter_in)
    return water / heat_coefficient(flow_c, return_c, meter_in=meter_in, fluid=fluid, percent=percent) - 1.0


def freezing_point(fluid: str, percent: ArrayLike) -> Array:
    """Temperature at which ice begins to form.

    fluid : str. none, propylene_glycol or ethylene_glycol
    percent : float or array [%]. Antifreeze by mass, 0 to 50
    Returns the same shape [C]. Raises ValueError for an unknown fluid or a percentage outside 0 to 50.
    Source: Melinder (2010) through CoolProp `PropsSI("T_freeze", ...)`, fitted within 0.01 K from 2 to 50 %.
    """
    share = np.asarray(percent, dtype=float)
    if np.any((share < 0.0) | (share > MAX_PERCENT)):
        raise ValueError(f"antifreeze must be 0 to {MAX_PERCENT:.0f} % by mass, got {share}")
    _fluid(fluid, 0.0)
    if fluid == "none":
        return np.zeros_like(share)[()]
    return polynomial.polyval(share / 100.0, np.array(_FREEZING[fluid]))[()]
