"""How much frost the outdoor coil can have taken up: an upper bound from the air and from the heat drawn out of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.facts.minutes import Minutes
from analysis.physics.air import frost_rate_index
from analysis.plant.site import Site
from analysis.use import DEFROST

Floats = NDArray[np.float64]

# Air less coil surface at the rated output; makers lay their coils out for 5 to 10 K (common practice, as in physics.air).
COIL_DIFFERENCE_K = 8.0
# Share of the rated output that comes out of the air at the rating point (COP 4 to 5).
_FROM_AIR = 0.78
_AIR_J_PER_KG_K = 1006.0
# Without a sensor: a damp winter's day in north-west and central Europe (common practice; EN 14511's A2 has 84 %).
USUAL_HUMIDITY = 88.0


def frost_growth(site: Site, minutes: Minutes) -> Floats:
    """Frost that can settle on the coil in each minute [kg], float64 (n,); 0 where none can, nan where it can't be told.

    Heat and moisture pass through the same film of air (Lewis relation): a coil whose rated duty needs COIL_DIFFERENCE_K
    passes duty / (difference x heat capacity of air) kilograms of air to its surface. A coil at part load is warmer.
    """
    grid, use = minutes.grid, minutes.use
    n = len(grid)
    outdoor = grid.gauge("outdoor_temperature")
    out = np.full(n, np.nan)
    working = use.running & (use.code != DEFROST)
    out[np.isfinite(outdoor) & ~working] = 0.0
    known = np.flatnonzero(working & np.isfinite(outdoor))
    if not len(known):
        return out
    duty = (site.heat_pump.rated_output_kw or 6.0) * 1000.0 * _FROM_AIR
    humidity = grid.gauge("outdoor_humidity")[known]
    humidity = np.where(np.isfinite(humidity), np.clip(humidity, 1.0, 100.0), USUAL_HUMIDITY)
    difference = COIL_DIFFERENCE_K * coil_load(minutes, duty)[known]
    index = np.asarray(frost_rate_index(outdoor[known], humidity, coil_difference_k=difference))
    air_kg_per_s = duty / COIL_DIFFERENCE_K / _AIR_J_PER_KG_K
    out[known] = index / 1000.0 * air_kg_per_s * 60.0
    return out


def coil_load(minutes: Minutes, duty_w: float) -> Floats:
    """Heat drawn out of the air over the rated duty [-], half to full and a little more; two thirds where not known."""
    unit = minutes.balance.heat_pump
    if unit is None or not np.isfinite(minutes.heat).any():
        return np.full(len(minutes.grid), 2.0 / 3.0)
    share = (minutes.heat - unit) * 60.0 / duty_w
    return np.where(np.isfinite(share), np.clip(share, 0.25, 1.25), 2.0 / 3.0)
