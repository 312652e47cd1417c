"""Pressure of a closed heating circuit over water temperature, with a working expansion vessel.

Water expands; the gas of the expansion vessel takes it up. A vessel chosen by EN 12828 just holds the
expansion from cold to the circuit's hottest at half a bar below the relief valve. So the slope of pressure
on temperature that is still healthy follows from the temperatures and pressures alone: the circuit's volume
cancels.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldfare.analysis.expectation.excess import Expected
from fieldfare.analysis.physics.water import density

Array = NDArray[np.float64]

COLD_C = 10.0
"""Water as filled (EN 12828 Annex D, from memory)."""
RELIEF_BAR = 3.0
"""Opening pressure of the relief valve of a dwelling's circuit (common practice, EN 12828)."""
BELOW_RELIEF_BAR = 0.5
"""Final pressure stays this far below the relief valve (EN 12828 Annex D, from memory)."""
ABOVE_CHARGE_BAR = 0.3
"""The circuit is filled this far above the vessel's gas charge (EN 12828 Annex D, from memory)."""
USUAL_CHARGE_BAR = 1.0
"""Gas charge of a dwelling's vessel: a head of two storeys and 0.3 bar (EN 12828 Annex D, from memory; makers
deliver 0.75 to 1.5, common practice)."""
RESERVE_SHARE = 0.005
"""Water held in reserve, as a share of the circuit's volume (EN 12828 Annex D, from memory)."""
ATMOSPHERE_BAR = 1.013
# How far a sound circuit's slope may differ: water beyond the sensors is cooler or warmer than at them, the
# charge was set by hand, the size is the next one on sale (common practice).
_RELATIVE_UNCERTAINTY = 0.35


def expansion(from_c: ArrayLike, to_c: ArrayLike, *, fluid: str = "none", percent: float = 0.0) -> Array:
    """Growth of a circuit's water between two temperatures.

    from_c, to_c : float or array [C]
    fluid, percent : the antifreeze, as in fieldfare.analysis.physics.water.density
    Returns the broadcast shape [-], a share of the volume at from_c; the metal's own growth is left out.
    Source: ratio of densities (IAPWS R7-97); EN 12828 Annex D tabulates the same from 10 C (from memory:
    1.66 % at 60 C).
    """
    cold, warm = (density(t, fluid=fluid, percent=percent) for t in (from_c, to_c))
    return np.asarray(cold / warm - 1.0)[()]


def vessel_share(
    cold_bar: float,
    hottest_c: float,
    *,
    relief_bar: float = RELIEF_BAR,
    fluid: str = "none",
    percent: float = 0.0,
) -> float:
    """Volume of the least vessel that EN 12828 asks for, as a share of the circuit's volume.

    cold_bar : float [bar gauge], the circuit's pressure when cold. hottest_c : float [C], the circuit's
        hottest mean
    relief_bar : float [bar gauge], opening pressure of the relief valve
    Returns float [-]. Raises ValueError where the cold pressure leaves no room below the relief valve.
    Source: EN 12828 Annex D (from memory): Vn = (Ve + Vwr) (pe + 1) / (pe - p0).
    """
    charge, last = cold_bar - ABOVE_CHARGE_BAR, relief_bar - BELOW_RELIEF_BAR
    if charge >= last:
        raise ValueError(
            f"a cold pressure of {cold_bar:g} bar leaves no room below a relief valve at {relief_bar:g} bar"
        )
    grown = float(expansion(COLD_C, hottest_c, fluid=fluid, percent=percent)) + RESERVE_SHARE
    return grown * (last + ATMOSPHERE_BAR) / (last - charge)


def least_gas(
    hottest_c: float, *, relief_bar: float = RELIEF_BAR, fluid: str = "none", percent: float = 0.0
) -> float:
    """Gas of the least vessel that will do, its pressure times its volume over the circuit's.

    hottest_c : float [C], the hottest mean the circuit is meant for
    Returns float [bar]. It stays as it is while water comes and goes, so that a pressure raised or lowered by
    the fault itself says nothing of the vessel.
    Source: EN 12828 Annex D (from memory) at the usual gas charge; Boyle's law.
    """
    cold = USUAL_CHARGE_BAR + ABOVE_CHARGE_BAR
    share = vessel_share(cold, hottest_c, relief_bar=relief_bar, fluid=fluid, percent=percent)
    return share * (USUAL_CHARGE_BAR + ATMOSPHERE_BAR)


def slope_expected(
    pressure_bar: float,
    mean_c: float,
    hottest_c: float,
    *,
    relief_bar: float = RELIEF_BAR,
    fluid: str = "none",
    percent: float = 0.0,
) -> Expected:
    """Steepest healthy slope of pressure on the water's mean temperature, with the least vessel that will do.

    pressure_bar : float [bar gauge], typical. mean_c : float [C], the water's mean at it
    hottest_c : float [C], the hottest mean the circuit is meant for
    Returns Expected [bar/K], with a relative standard uncertainty of 35 % (common practice).
    Source: derivative of Boyle's law: dp/dT = (p + 1)^2 / (Vn (p0 + 1)) dVe/dT, volumes over the circuit's.
    """
    gas = least_gas(hottest_c, relief_bar=relief_bar, fluid=fluid, percent=percent)
    per_k = float(expansion(mean_c - 0.5, mean_c + 0.5, fluid=fluid, percent=percent))
    slope = (pressure_bar + ATMOSPHERE_BAR) ** 2 * per_k / gas
    return Expected(slope, _RELATIVE_UNCERTAINTY * slope)
