"""How far the measured heat loss may be off: by weather that follows the temperature and missing sensors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.table import Table

Floats = NDArray[np.float64]

ROOM_SPREAD_K = 1.0  # one standard deviation, common practice: field studies find means of 18 to 21 C
# How much colder unmeasured rooms are in the cold half of the weather than in the mild half: deeper
# set-backs, a curve too flat or too steep, doors and fires (common practice; one standard deviation).
_ROOM_DRIFT_K = 1.2
# Wind follows the temperature, so it turns the line about its middle: one standard deviation of the slope,
# for a mean difference as large as its spread over the days. The less the weather varies, the more it turns.
# Daily means correlate with temperature by 0.13 to 0.48 (German reference years), so that a house with a
# quarter of its loss by infiltration that follows it looks 4 to 15 % tighter, with a difference four times
# its spread; most are sheltered (common practice).
_WIND_SPREAD, _WIND_UPWARD = 0.01, 0.019
# Clear winter air is cold: irradiance on walls beyond what the course of temperature tells, by outdoor
# temperature, and the standard deviation between places [W/m2K]. Four typical years of NREL (TMY3), October
# to March: -0.1 to -2.3.
SUN_OF_COLD_W_M2_K, _SUN_OF_COLD_SPREAD = -1.4, 1.1
# Radiation to the sky takes heat whatever the temperature outdoors: as much as so many kelvin more of
# difference, and the standard deviation. ISO 13790:2008, 11.3.5 and 11.4.6 (from memory): form factor 0.65
# between walls and roof, surface resistance 0.04 m2K/W, radiation 4.5 W/m2K, sky 11 K below the air; for the
# two thirds of the loss that pass outer surfaces (common practice), not air changes or the ground.
SKY_K, _SKY_SPREAD_K = 0.85, 0.4
# How far free heat follows the temperature by habit (curtains, airing, cooking, fires), as a share of it: one
# standard deviation (common practice).
_FREE_SPREAD = 0.10
# Where nobody measures the sun, more free heat than usual may also be a line too steep: half the way to the
# loss with usual free heat is one standard deviation downwards (common practice).
_STEEP_SHARE = 0.5
_WORTH_SAYING = 0.05  # a sensor that narrows an interval by less is not worth its words


@dataclass(frozen=True)
class GuessedSun:
    """Sun that the course of temperature tells, not a sensor.

    aperture_k : area of windows that it enters, over the loss [m2K/W]
    beyond : free heat beyond a usual dwelling's, over the loss [-]
    """

    aperture_k: float
    beyond: float


@dataclass(frozen=True)
class SlopeErrors:
    """Relative standard errors of the loss a kelvin, downward and upward [-].

    advice : which missing sensor would narrow the interval most, as an end of the method's text
    """

    downward: float
    upward: float
    advice: str = ""


def slope_errors(
    days: Table,
    difference: Floats,
    fit_error: float,
    free_share: float,
    *,
    rooms_measured: bool,
    guessed_sun: GuessedSun | None,
) -> SlopeErrors:
    """Errors of the heat loss by their causes.

    difference : array (n,) [K], indoor less outdoor temperature of the days used
    fit_error : of the regression alone, relative [-]. free_share : of the loss, by sun and people [-]
    guessed_sun : None where the sun is measured
    """
    mean, spread = float(np.mean(difference)), max(float(np.std(difference)), 1.0)
    total = max(days.total("heat_total_kwh"), 1e-9)
    meter = float(np.hypot(days.total("heat_flow_error_kwh"), days.total("heat_pair_error_kwh"))) / total
    both = [
        fit_error,
        meter / np.sqrt(3.0),
        _WIND_SPREAD * mean / spread,
        _FREE_SPREAD * free_share,
        _SKY_SPREAD_K / mean,
    ]
    known = float(np.sqrt(np.sum(np.square(both))))
    # Errors of each quantity that is not measured: both ways, downwards alone, upwards alone.
    missing: dict[str, tuple[float, float, float]] = {}
    if guessed_sun is not None:
        steep = _STEEP_SHARE * guessed_sun.beyond
        missing["solar_irradiance"] = (_SUN_OF_COLD_SPREAD * guessed_sun.aperture_k, steep, 0.0)
    if not rooms_measured:
        # Assumed rooms: the spread of whole houses around their design, and drift with the weather: rooms
        # that cool in cold weather hide a part of the loss; rooms that warm with it are rare.
        span = float(np.ptp(np.quantile(difference, (0.05, 0.95))))
        missing["room_temperature"] = (ROOM_SPREAD_K / mean, 0.0, _ROOM_DRIFT_K / max(span, 1.0))

    def ends(without: str = "") -> tuple[float, float]:
        left = [errors for name, errors in missing.items() if name != without]
        both_ways = known**2 + sum(each**2 for each, _, _ in left)
        downward = both_ways + sum(less**2 for _, less, _ in left)
        # Mild days are windier, so wind hides a part of the slope.
        upward = both_ways + (_WIND_UPWARD * mean / spread) ** 2 + sum(more**2 for _, _, more in left)
        return float(np.sqrt(downward)), float(np.sqrt(upward))

    whole = sum(ends())
    narrower = {name: 1.0 - sum(ends(name)) / whole for name in missing}
    best = max(narrower, key=narrower.__getitem__, default="")
    advice = (
        f"; {best} would narrow the interval by {narrower[best]:.0%}"
        if best and narrower[best] >= _WORTH_SAYING
        else ""
    )
    return SlopeErrors(*ends(), advice)
