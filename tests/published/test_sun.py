"""Position of the sun, against almanac values."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from fieldfare.analysis.physics.sun import (
    clear_noon,
    daytime_temperature,
    declination,
    equation_of_time,
    half_day,
    solar_noon,
)


def n(month: int, day: int) -> int:
    return date(2025, month, day).timetuple().tm_yday


@pytest.mark.parametrize(
    ("month", "day", "minutes"), [(2, 11, -14.2), (5, 14, 3.7), (7, 26, -6.5), (11, 3, 16.4)]
)
def test_the_equation_of_time_at_its_four_extremes(month, day, minutes):
    assert equation_of_time(n(month, day)) == pytest.approx(minutes, abs=0.5)


def test_the_declination_at_solstices_and_equinox():
    assert np.degrees(declination(n(6, 21))) == pytest.approx(23.44, abs=0.05)
    assert np.degrees(declination(n(12, 21))) == pytest.approx(-23.44, abs=0.05)
    assert np.degrees(declination(n(3, 21))) == pytest.approx(0.0, abs=0.6)


@pytest.mark.parametrize("latitude", [-40.0, 0.0, 36.0, 52.0])
def test_day_and_night_are_equal_at_the_equinox(latitude):
    assert 2 * half_day(n(3, 21), latitude) / 60.0 == pytest.approx(12.0, abs=0.15)


def test_the_longest_and_the_shortest_day():
    """Without refraction and the sun's disc, which add about a quarter of an hour at 52 degrees."""
    assert 2 * half_day(n(6, 21), 51.5) / 60.0 == pytest.approx(16.4, abs=0.05)
    assert 2 * half_day(n(12, 21), 51.5) / 60.0 == pytest.approx(24.0 - 16.4, abs=0.05)
    assert half_day(n(6, 21), 70.0) == 720.0
    assert half_day(n(12, 21), 70.0) == 0.0


def test_noon_moves_by_four_minutes_a_degree_to_the_east():
    at = n(4, 15)  # the equation of time is nearly nothing
    assert solar_noon(at, 0.0) == pytest.approx(720.0, abs=1.0)
    assert solar_noon(at, 15.0) == pytest.approx(660.0, abs=1.0)
    assert solar_noon(at, -120.0) == pytest.approx(1200.0, abs=1.0)


def test_a_clear_noon_is_about_a_kilowatt_in_summer_and_little_in_winter():
    assert clear_noon(n(6, 21), 45.0) == pytest.approx(950.0, rel=0.08)
    assert clear_noon(n(12, 21), 52.0) == pytest.approx(215.0, rel=0.1)
    assert clear_noon(n(12, 21), 70.0) == 0.0


def test_air_is_warmest_its_lag_after_noon():
    share = np.linspace(0.0, 1.0, 1001)
    for hours in (8.0, 12.0, 16.0):
        warmest = share[np.argmax(daytime_temperature(share, hours))] * hours - hours / 2.0
        assert warmest == pytest.approx(1.86, abs=0.02)
