"""Share of a cylinder's heat drawn while its sensor was cold, and probability that it was all usable water.

Cold water enters below and its front rises as water is drawn, so that a cold sensor says only that the front
has passed it. Where the sensor sits nothing tells. What was drawn at the worst moment, D, as a share of a
full cylinder's heat, is known from

- the sensor's height, unknown, and the draws that pass it;
- the hours in which the sensor stayed cold and nothing was charged: the household went on drawing;
- the heat that the next charge put back: D itself where it filled the cylinder, else less than D;
- the heat charged while the sensor stayed cold: the water about it warms from the main's temperature to
  usable only once D x (40 - main) / (setpoint - main) has been put in.

Bayes' rule on a grid of D puts them together. Usable water ends at D of about 0.78.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.charge_balance import TAKEN_UP
from fieldfare.analysis.statistics.distributions import normal_probabilities

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Share of the volume below the sensor: EN 12897 leaves its place to the maker (from memory).
_HEIGHTS = np.linspace(0.2, 0.8, 13)
_DRAWN = np.linspace(0.0, 1.0, 101)
_LEAST_LEFT = 0.01
# Hours a day in which people draw water (common practice: nobody bathes for eight hours).
_WAKING_HOURS = 16.0
# A cold spell may hold the whole night, in which nobody draws, or none of it; and water is drawn in a few
# bursts: any number of its hours counts alike, from those that no night explains to all.
_NIGHT_HOURS = 24.0 - _WAKING_HOURS
_PARTS = np.linspace(0.0, 1.0, 5)
# A charge that warms a cold layer is drawn from and loses heat to pipes: its heat tells within so much
# (common practice).
_WARMING_ERROR = 0.2
_LEAST_ERROR = 0.03
# The main's water is 6 to 14 °C over the year (common practice); a full content is calculated from 10 °C;
# and a cylinder of a nominal size holds some litres more or less.
_CONTENT_ERROR = 0.08


@dataclass(frozen=True)
class ColdSpells:
    """One entry a day, float64 (n,), nan where not known; heat in shares of a full cylinder's [-].

    daily : drawn in the whole day. idle_hours : sensor cold and nothing charged [h]. put_back : by the
    greatest charge. filled : bool, that charge reached its setpoint. warming : charged in one go while the
    sensor stayed cold, over what warms a whole cold cylinder to usable
    """

    daily: Floats
    idle_hours: Floats
    put_back: Floats
    filled: Flags
    warming: Floats


def chance_of_emptied(spells: ColdSpells, share: float, error: float) -> Floats:
    """Probability that all usable water was drawn while the sensor was cold [0 to 1], by day.

    share, error : of a full cylinder's heat at which usable water ends, and its standard uncertainty [-]
    Returns float64 (n,).
    """
    weight = _prior(spells.daily, spells.idle_hours)
    known = np.isfinite(spells.put_back)
    back = np.clip(np.where(known, spells.put_back, 0.0), 0.0, 1.0)[:, np.newaxis]
    score = (_DRAWN - back) / np.maximum(np.hypot(TAKEN_UP.uncertainty, _CONTENT_ERROR) * back, _LEAST_ERROR)
    likelihood = np.where(spells.filled[:, np.newaxis], np.exp(-0.5 * score**2), _normal(score))
    weight = weight * np.where(known[:, np.newaxis], likelihood, 1.0)
    warmed = np.clip(np.nan_to_num(spells.warming), 0.0, 1.0)[:, np.newaxis]
    score = (_DRAWN - warmed) / np.maximum(_WARMING_ERROR * warmed, _LEAST_ERROR)
    # A cylinder that did not warm is no evidence; otherwise at least this much was drawn.
    weight = weight * np.where(warmed > 0.0, _normal(score), 1.0) + 1e-300
    ended = _normal((_DRAWN - share) / error)
    return np.asarray((weight * ended).sum(axis=1) / weight.sum(axis=1), dtype=np.float64)


def _prior(daily: Floats, idle_hours: Floats) -> Floats:
    """Weight of each drawn share, float64 (n, 101): any share between the front's least height and all.

    A household that draws nothing more leaves half of the sensors of any height with usable water above.
    """
    idle = np.nan_to_num(idle_hours)
    fewest, most = np.clip(idle - _NIGHT_HOURS, 0.0, None), np.minimum(idle, _WAKING_HOURS)
    hours = fewest[:, np.newaxis] + (most - fewest)[:, np.newaxis] * _PARTS
    since = (np.nan_to_num(daily) / _WAKING_HOURS)[:, np.newaxis] * hours
    least = np.minimum(_HEIGHTS[:, np.newaxis] + since[:, np.newaxis], 1.0 - _LEAST_LEFT)[..., np.newaxis]
    return np.asarray(np.where(least <= _DRAWN, 1.0 / (1.0 - least), 0.0).mean(axis=(1, 2)), dtype=np.float64)


def _normal(score: Floats) -> Floats:
    """Normal distribution function of every element, in the given shape."""
    return normal_probabilities(score.ravel()).reshape(score.shape)
