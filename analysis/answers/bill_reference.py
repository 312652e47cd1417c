"""Reference side of a bill comparison other than last year: the design, or similar homes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.answers.bill_game import Levels
from fieldfare.analysis.answers.bill_side import (
    DRAWS,
    Daily,
    House,
    Metering,
    UnitEfficiency,
    around,
    usual_performance,
)
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.cylinder_cooling import INSTALLED
from fieldfare.analysis.expectation.promise import (
    DESIGN_LOSS_SD,
    DESIGN_SPF_SD,
    GAINS_W_PER_M2,
    GAINS_W_PER_M2_SD,
    HOT_WATER_SD,
)
from fieldfare.analysis.expectation.reference_weather import reference_weather
from fieldfare.analysis.figures.design_use import USUAL_FLOOR_M2, USUAL_FLOOR_SD_M2
from fieldfare.analysis.physics.hot_water import loss_at
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.quantiles import robust_sd

if TYPE_CHECKING:
    from fieldfare.analysis.answers.bill import Alone

Floats = NDArray[np.float64]
_YEAR = 365.0
_ASIDE = 0.07  # share of a designed electricity that goes to pumps and standby: 5 to 10 % (common practice)
_MOST_LOST = 0.5  # of the hot-water heat that a design can mean by standing loss (common practice)


def design_side(site: Site, daily: Daily, days: int, metering: Metering, rng: np.random.Generator) -> Levels:
    """What the design expects of these days' weather.

    Raises NotAssessed where the design lacks what it takes, or the meters can't be set against it.
    """
    design = site.design
    needed = {
        "design.heat_loss_kw": design.heat_loss_kw,
        "design.outdoor_c": design.outdoor_c,
        "design.spf_space": design.spf_space,
    }
    missing = [name for name, value in needed.items() if value is None]
    if metering != "heat":
        raise NotAssessed(
            "needs a heat meter and a known use of each minute to be set against the design",
            "missing_quantity",
        )
    if missing or design.heat_loss_kw is None or design.outdoor_c is None or design.spf_space is None:
        raise NotAssessed(
            f"needs {', '.join(missing)} in the site file to be set against the design",
            "missing_in_site_file",
        )
    per_k = design.heat_loss_kw * 24.0 / (design.indoor_c - design.outdoor_c)
    # The area only sizes the free gains: a usual one, with its doubt, stands in for it.
    area = np.full(DRAWS, site.floor_area_m2 or USUAL_FLOOR_M2)
    if site.floor_area_m2 is None:
        area = np.maximum(around(USUAL_FLOOR_M2, USUAL_FLOOR_SD_M2, rng), 0.0)
    gains = around(GAINS_W_PER_M2, GAINS_W_PER_M2_SD, rng) * area * 0.024
    zero = np.zeros(DRAWS)
    house = House(around(per_k, DESIGN_LOSS_SD * per_k, rng), gains, zero, zero, True)
    weather = reference_weather(design.outdoor_c)
    need = np.maximum(design.indoor_c - 5.0 - weather.outdoor_c, 0.0) * weather.days
    middle = float(np.average(weather.outdoor_c, weights=need)) if need.sum() > 0 else 5.0
    drawn, loss, water = zero, zero, None
    if site.hot_water is not None:
        heat = (design.hot_water_kwh_per_year or 0.0) / _YEAR
        rated = site.hot_water.standing_loss_kwh_per_day or 0.0
        lost = min(float(loss_at(rated, site.hot_water.setpoint_c)) * INSTALLED, _MOST_LOST * heat)
        loss = np.full(DRAWS, lost)
        drawn = around(heat, HOT_WATER_SD * heat, rng) - loss
        water = usual_performance(
            (design.spf_hot_water or design.spf_space) / (1.0 - _ASIDE), middle, DESIGN_SPF_SD, rng
        )
    space = usual_performance(design.spf_space / (1.0 - _ASIDE), middle, DESIGN_SPF_SD, rng)
    room = np.full(DRAWS, design.indoor_c)
    # A designed performance counts pumps and standby; here they stand apart.
    used = house.need(daily.weather, room).mean(axis=1) / design.spf_space
    return Levels(
        daily.weather, daily, house, room, space, water, 0, drawn, loss, zero, zero, used * _ASIDE, None, zero
    )


def homes_side(
    site: Site,
    daily: Daily,
    homes: Sequence[tuple[Site, Alone]],
    metering: Metering,
    fewest: int,
    rng: np.random.Generator,
) -> Levels:
    """What the middle of homes alike would use in a home of this floor area, in these days' weather.

    Raises NotAssessed with too few homes alike. The spread between the homes is the uncertainty.
    """
    alike = [
        (s, a)
        for s, a in homes
        if a.metering == metering == "heat" and a.house.has_room and a.space is not None
    ]
    area = site.floor_area_m2
    if len(alike) < fewest or area is None:
        raise NotAssessed(
            f"needs at least {fewest} homes of like floor area with heat meters and the same "
            f"days, has {len(alike)}",
            "not_enough_data",
        )
    scale = np.array([area / (s.site.floor_area_m2 or area) for s, _ in alike])

    first = [a for _, a in alike]

    def middle(values: Sequence[float]) -> Floats:
        return _middle(values, rng)

    per_k, free, sun = (
        middle([float(getattr(a.house, n)[0]) * k for a, k in zip(first, scale, strict=True)])
        for n in ("per_k", "free", "sun")
    )
    house = House(per_k, free, sun, np.zeros(DRAWS), True)
    lost = [float(a.loss[0]) for a in first if a.loss is not None]
    loss = middle(lost) if len(lost) == len(first) else np.zeros(DRAWS)
    drawn = middle([float(a.daily.water.mean()) for a in first]) - loss
    backup, immersion, standby = (
        middle([float(getattr(a.daily, n).mean()) for a in first]) for n in ("backup", "immersion", "standby")
    )
    space = _middle_performance([a.space for a in first if a.space is not None], rng)
    water = _middle_performance([a.water for a in first if a.water is not None], rng)
    room = middle([float(a.room[0]) for a in first])
    return Levels(
        daily.weather,
        daily,
        house,
        room,
        space,
        water,
        0,
        drawn,
        loss,
        backup,
        immersion,
        standby,
        None,
        np.zeros(DRAWS),
    )


def _middle(values: Sequence[float], rng: np.random.Generator) -> Floats:
    """The median of homes, drawn with its own spread: 1.25 times a mean's."""
    array = np.asarray(values, dtype=np.float64)
    return around(float(np.median(array)), 1.25 * robust_sd(array) / len(array) ** 0.5, rng)


def _middle_performance(each: Sequence[UnitEfficiency], rng: np.random.Generator) -> UnitEfficiency | None:
    """The middle of performances, as a line about one outdoor temperature; None without any."""
    if not each:
        return None
    level = _middle([_at_middle(p, each[0].middle) for p in each], rng)
    slope = _middle([float(p.slope[0]) for p in each], rng)
    return replace(each[0], level=level, slope=slope, bend=np.zeros(DRAWS), step=np.zeros(DRAWS))


def _at_middle(performance: UnitEfficiency, outdoor_c: float) -> float:
    away = outdoor_c - performance.middle
    return float(performance.at((away, away**2), 0)[0])
