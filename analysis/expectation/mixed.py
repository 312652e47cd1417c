"""Expected electricity of a day's heat with unknown use: a mix of space heating and hot water.

Hot water is made at 50 °C and more, space heat at what the weather asks for. A day's efficiency moves with
the share of hot water, from a tenth in winter to all of it in summer, though nothing about the unit has
changed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.physics.heat_pump import RatedPerformance

Floats = NDArray[np.float64]

# Flow of an average retrofit over the outdoor temperature, where the site file has no curve (common
# practice).
USUAL_CURVE = ((-10.0, 48.0), (15.0, 30.0))
# Water leaves the heat pump so much hotter than the cylinder is asked to be (common practice).
OVER_CYLINDER_K = 5.0
USUAL_CYLINDER_C = 50.0
USUAL_HOT_WATER_KWH = 8.0
"""Heat of a day's hot water with the cylinder's losses: tapping profile M to L (Reg. (EU) 813/2013) plus 1.6
kWh."""
# The mean of some weeks differs from the mean of others by a fifth: visitors, seasons, absence (common
# practice).
_HABIT = 0.2


@dataclass(frozen=True)
class Mix:
    """Expected electricity of each day [kWh], the share of hot water in its heat [-], and the standard
    uncertainty of the logarithm of the electricity by what nobody knows of the mix [-]: float64 (n,) each"""

    electricity: Floats
    hot_share: Floats
    spread: Floats


def mixed_electricity(
    heat: Floats,
    outdoor_c: Floats,
    flow_c: Floats,
    rating: RatedPerformance,
    source_c: Floats,
    *,
    hot_water_kwh: float,
    cylinder_c: float = USUAL_CYLINDER_C,
) -> Mix:
    """Electricity by the rating for a day's heat, of which a known mean share is hot water.

    heat : float64 (n,) [kWh]. outdoor_c, source_c : float64 (n,) [C], daily means. flow_c : float64 (n,) [C],
        designed flow of space heating. rating : RatedPerformance of the unit. hot_water_kwh : float [kWh], a
        usual day's hot water
    cylinder_c : float [C], default 50
    """
    hot = np.minimum(hot_water_kwh, heat)
    space_cop = np.asarray(rating.cop(source_c, flow_c), dtype=np.float64)
    hot_cop = np.asarray(rating.cop(source_c, np.full(len(heat), cylinder_c + OVER_CYLINDER_K)))
    electricity = (heat - hot) / space_cop + hot / hot_cop
    share = np.divide(hot, heat, out=np.ones(len(heat)), where=heat > 0.0)
    # Moving a kilowatt-hour between uses changes the electricity by the difference of both.
    moved = np.abs(1.0 / hot_cop - 1.0 / space_cop)
    spread = _HABIT * hot * moved / np.maximum(electricity, 1e-9)
    return Mix(electricity, share, np.asarray(spread))


def usual_curve(outdoor_c: Floats) -> Floats:
    """Flow temperature of an average retrofit [C]. outdoor_c : float64 (n,) [C]"""
    (cold, hot), (mild, cool) = USUAL_CURVE
    return np.interp(outdoor_c, [cold, mild], [hot, cool])


def usual_hot_water(
    heat: Floats, outdoor_c: Floats, *, no_heating_above_c: float, designed: float | None
) -> float:
    """Usual hot water a day [kWh]: median of warm days, else the design's, else a usual household's.

    heat : float64 (n,) [kWh]. outdoor_c : float64 (n,) [C]. designed : float [kWh a day] or None
    """
    warm = heat[(outdoor_c >= no_heating_above_c) & np.isfinite(heat) & (heat > 0.0)]
    if len(warm) >= 7:
        return float(np.median(warm))
    return USUAL_HOT_WATER_KWH if designed is None else designed
