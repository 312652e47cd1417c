"""A day's electricity where space heating and hot water are mixed."""

from __future__ import annotations

import numpy as np
import pytest

from fieldfare.analysis.expectation.mixed import (
    USUAL_HOT_WATER_KWH,
    mixed_electricity,
    usual_curve,
    usual_hot_water,
)
from fieldfare.analysis.physics.heat_pump import RatedPerformance, generic_cop


def test_a_winters_day_of_an_average_unit():
    """Staffell et al. (2012) at A2: 3.12 at 40 °C and 2.17 at 55 °C (reference 8): 42 kWh of house, 8 kWh of
    hot water."""
    rating = RatedPerformance()
    day = mixed_electricity(
        np.array([50.0]), np.array([2.0]), np.array([40.0]), rating, np.array([2.0]), hot_water_kwh=8.0
    )
    assert day.electricity[0] == pytest.approx(
        42.0 / generic_cop(2.0, 40.0) + 8.0 / generic_cop(2.0, 55.0), rel=0.02
    )
    assert day.hot_share[0] == pytest.approx(0.16)


def test_a_summers_day_is_hot_water_alone_and_its_mix_moves_nothing():
    rating = RatedPerformance()
    heat = np.array([6.0, 60.0])
    outdoor = np.array([18.0, 0.0])
    days = mixed_electricity(heat, outdoor, usual_curve(outdoor), rating, outdoor, hot_water_kwh=8.0)
    assert days.hot_share[0] == 1.0
    assert days.spread[1] < days.spread[0] < 0.2


def test_a_household_draws_a_tapping_profile_and_the_cylinder_its_loss():
    """M is 5.845, L 11.655 kWh a day (Reg. (EU) 813/2013 Table 7)."""
    assert 5.845 < USUAL_HOT_WATER_KWH < 11.655
    warm = np.r_[np.full(20, 60.0), np.full(10, 7.0)]
    outdoor = np.r_[np.full(20, 3.0), np.full(10, 20.0)]
    assert usual_hot_water(warm, outdoor, no_heating_above_c=17.0, designed=None) == 7.0
    assert usual_hot_water(warm[:20], outdoor[:20], no_heating_above_c=17.0, designed=9.0) == 9.0
