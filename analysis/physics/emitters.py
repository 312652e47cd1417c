"""What radiators, floors and fan coils give off, and how warm the water must be for a load."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Kind = Literal["radiator", "underfloor", "fan_coil"]
Mean = Literal["auto", "arithmetic", "logarithmic"]

# Exponent of output over excess temperature. Radiator: typical of EN 442 tests, 1.2 to 1.4; floor: EN 1264-2;
# fan coil: common practice, no source (forced convection, output nearly proportional).
EXPONENTS: Mapping[str, float] = MappingProxyType({"radiator": 1.3, "underfloor": 1.1, "fan_coil": 1.0})
LOGARITHMIC_BELOW = 0.7  # EN 442-2 and common rule (from memory): return excess over flow excess
RATING_DROP_K = 10.0  # EN 442: rated at 75/65/20, water cooling 10 K around an excess of 50 K


@dataclass(frozen=True)
class HeatEmitter:
    """One emitter or a zone's emitters together: output at an excess temperature of water over room."""

    output_kw: float
    output_excess_k: float = 50.0
    kind: Kind = "radiator"
    exponent: float | None = None  # None: the kind's own

    def __post_init__(self) -> None:
        if self.kind not in EXPONENTS:
            raise ValueError(f"kind must be one of {', '.join(EXPONENTS)}, got {self.kind!r}")
        if not (self.output_kw > 0.0 and self.output_excess_k > 0.0):
            raise ValueError("output_kw and output_excess_k must be above 0")

    @property
    def n(self) -> float:
        """Exponent used [-]."""
        return EXPONENTS[self.kind] if self.exponent is None else self.exponent


def excess_temperature(
    flow_c: ArrayLike, return_c: ArrayLike, room_c: ArrayLike, *, mean: Mean = "auto"
) -> Array:
    """Excess temperature of the water over the room.

    flow_c, return_c, room_c : float or array [C]
    mean : str, default auto. arithmetic; logarithmic; auto: logarithmic where (return - room) / (flow - room)
        < 0.7
    Returns the broadcast shape [K], 0 where the return is not warmer than the room.
    Raises ValueError for another word.
    Source: EN 442-2.
    """
    if mean not in ("auto", "arithmetic", "logarithmic"):
        raise ValueError(f"mean must be auto, arithmetic or logarithmic, got {mean!r}")
    room = np.asarray(room_c, dtype=float)
    a = np.asarray(flow_c, dtype=float) - room
    b = np.asarray(return_c, dtype=float) - room
    gives = (a > 0.0) & (b > 0.0)
    hot, cool = np.where(gives, a, 1.0), np.where(gives, b, 1.0)
    arithmetic = (hot + cool) / 2.0
    close = np.abs(hot - cool) < 1e-6
    logarithmic = np.where(close, arithmetic, (hot - cool) / np.log(np.where(close, np.e, hot / cool)))
    if mean == "auto":
        value = np.where(cool / hot < LOGARITHMIC_BELOW, logarithmic, arithmetic)
    else:
        value = logarithmic if mean == "logarithmic" else arithmetic
    return np.where(np.isnan(a + b), np.nan, np.where(gives, value, 0.0))[()]


def rated_logarithmic_excess(output_excess_k: ArrayLike) -> Array:
    """Logarithmic excess of an emitter rated at an arithmetic excess, with water cooling by 10 K.

    output_excess_k : float or array [K], above 5
    Returns the same shape [K]: 49.83 for 50. Source: EN 442 test at 75/65/20.
    """
    middle = np.asarray(output_excess_k, dtype=float)
    half = np.minimum(RATING_DROP_K / 2.0, middle / 10.0)
    return (2.0 * half / np.log((middle + half) / (middle - half)))[()]


def output_kw(
    emitters: HeatEmitter | Sequence[HeatEmitter],
    flow_c: ArrayLike,
    return_c: ArrayLike,
    room_c: ArrayLike,
    *,
    mean: Mean = "auto",
) -> Array:
    """Heat a set of emitters gives to a room.

    emitters : Emitter or sequence of them
    flow_c, return_c, room_c : float or array [C]
    mean : str, default auto. As for excess_temperature; the rating is referred to the same mean
    Returns the broadcast shape [kW]. Source: EN 442: output = rated output x (excess / rated excess)^n.
    """
    each = (emitters,) if isinstance(emitters, HeatEmitter) else tuple(emitters)
    excess = excess_temperature(flow_c, return_c, room_c, mean=mean)
    arithmetic = excess_temperature(flow_c, return_c, room_c, mean="arithmetic")
    used_logarithmic = np.ones_like(excess, dtype=bool) if mean == "logarithmic" else excess != arithmetic
    total: Array = np.zeros_like(excess)
    for e in each:
        rated = np.where(used_logarithmic, rated_logarithmic_excess(e.output_excess_k), e.output_excess_k)
        total = total + e.output_kw * (excess / rated) ** e.n
    return total[()]
