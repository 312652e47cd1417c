"""The weather of a design year: an EN 14825 reference season moved to the place's design temperature."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.physics.bins import (
    AVERAGE,
    COLDER,
    WARMER,
    ReferenceSeason,
)

Floats = NDArray[np.float64]


class ReferenceWeather(NamedTuple):
    """season : the reference season used. outdoor_c : bin temperatures [°C]. days : days of a year in each
    bin"""

    season: ReferenceSeason
    outdoor_c: Floats
    days: Floats


def reference_weather(design_outdoor_c: float) -> ReferenceWeather:
    """Outdoor temperatures of a design year's heating season.

    design_outdoor_c : float [°C]
    Returns ReferenceWeather. Source: EN 14825 seasons (`physics.bins`): the one whose design temperature is
        nearest, its coldest bin moved to this place's, its mildest left where it is.
    """
    season = min((AVERAGE, WARMER, COLDER), key=lambda s: abs(s.design_c - design_outdoor_c))
    hours = np.array(season.hours, dtype=np.float64)
    shift = (design_outdoor_c - season.design_c) * np.linspace(1.0, 0.0, len(hours))
    return ReferenceWeather(season, season.temperatures_c + shift, hours / 24.0)
