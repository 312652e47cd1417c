"""Moist air against PsychroLib 2.5 (ASHRAE Fundamentals 2017, chapter 1) and printed values computed with it
at 101325 Pa."""

import numpy as np
import psychrolib
import pytest

from fieldfare.analysis.physics import air

psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize(
    ("t", "pascal"),
    [(-20, 103.26), (-10, 259.90), (-5, 401.76), (0.01, 611.657), (5, 872.49), (20, 2338.80), (35, 5627.82)],
)
def test_saturation_pressure_of_hyland_and_wexler(t, pascal):
    assert air.saturation_pressure(t, over="ice") == pytest.approx(pascal, rel=2e-5)


# air [C], relative humidity [%] (over ice below 0 C, as PsychroLib has it), dew or frost point [C], wet bulb
# [C], humidity ratio [g/kg]
STATES = [
    (20, 50, 9.272, 13.783, 7.262),
    (7, 87, 4.987, 6.014, 5.397),
    (5, 90, 3.498, 4.302, 4.858),
    (2, 85, -0.222, 1.073, 3.705),
    (0, 90, -1.273, -0.572, 3.395),
    (-5, 80, -7.585, -5.884, 1.979),
]


@pytest.mark.parametrize(("t", "rh", "frost", "wet", "ratio"), STATES)
def test_states_of_moist_air(t, rh, frost, wet, ratio):
    assert air.frost_point(t, rh, over="ice") == pytest.approx(frost, abs=0.002)
    assert air.wet_bulb(t, rh, over="ice") == pytest.approx(wet, abs=0.002)
    assert air.humidity_ratio(t, rh, over="ice") * 1000 == pytest.approx(ratio, abs=0.001)


@pytest.mark.parametrize("t", [-15.0, -7.0, -2.0, 1.0, 4.0, 12.0, 25.0])
@pytest.mark.parametrize("rh", [40.0, 70.0, 95.0])
def test_against_psychrolib_itself(t, rh):
    assert air.frost_point(t, rh, over="ice") == pytest.approx(
        psychrolib.GetTDewPointFromRelHum(t, rh / 100), abs=0.003
    )
    assert air.wet_bulb(t, rh, over="ice") == pytest.approx(
        psychrolib.GetTWetBulbFromRelHum(t, rh / 100, 101325), abs=0.003
    )


# Rating points of EN 14511, dry bulb (wet bulb), and the relative humidity and dew or frost point they stand
# for
@pytest.mark.parametrize(
    ("t", "wet", "rh", "frost"),
    [
        (12, 11, 88.9, 10.23),
        (7, 6, 86.8, 4.96),
        (2, 1, 83.8, -0.39),
        (-7, -8, 74.6, -10.34),
        (-15, -16, 56.2, -21.09),
    ],
)
def test_en_14511_rating_air(t, wet, rh, frost):
    assert air.wet_bulb(t, rh, over="ice") == pytest.approx(wet, abs=0.01)
    assert air.frost_point(t, rh, over="ice") == pytest.approx(frost, abs=0.03)


@pytest.mark.parametrize(
    ("t", "rh", "over_water", "over_ice"), [(0, 90, -1.45, -1.27), (-5, 80, -7.92, -7.59)]
)
def test_humidity_below_zero_over_water_is_not_over_ice(t, rh, over_water, over_ice):
    """Weather services state relative humidity below 0 C over water (WMO No. 8); Magnus over water gives the
    first, PsychroLib the second."""
    assert air.dew_point(t, rh) == pytest.approx(over_water, abs=0.02)
    assert air.frost_point(t, rh, over="ice") == pytest.approx(over_ice, abs=0.02)
    assert air.frost_point(t, rh, over="water") > air.dew_point(t, rh, over="water")


@pytest.mark.parametrize(
    ("t", "rh", "coil_c", "frosts"),
    [
        (2, 84, -0.2, False),
        (2, 84, -0.6, True),
        (7, 87, 1.0, False),
        (7, 87, -0.5, True),
        (2, 40, -4.0, False),
        (12, 90, 3.0, False),
    ],
)
def test_frost_needs_a_coil_below_zero_and_below_the_frost_point(t, rh, coil_c, frosts):
    """At A2/84 % any coil below -0.4 C frosts, at A7/87 % only one at least 7 K colder than the air
    (psychrometrics)."""
    assert (air.frost_rate_index(t, rh, coil_difference_k=t - coil_c) > 0) == frosts


def test_frost_is_worst_a_little_above_zero_and_small_in_deep_cold():
    """Frosting is most severe near 0 C and wanes with the air's moisture (Energies 2026, 19(12), 2787,
    abstract)."""
    t = np.arange(-20.0, 12.0, 1.0)
    index = air.frost_rate_index(t, 88.0)
    assert 0 <= t[np.argmax(index)] <= 7
    assert index[t == -20][0] < 0.3 * index.max()
    assert index[-1] == 0


def test_gaps_and_shares():
    t, rh = np.array([1.0, np.nan, 1.0, 20.0]), np.array([90.0, 90.0, np.nan, 50.0])
    assert np.isnan(air.frost_rate_index(t, rh)).tolist() == [False, True, True, False]
    assert air.frost_share(t, rh) == 0.5
    assert np.isnan(air.frost_share([np.nan], [80.0]))
    assert np.isnan(air.wet_bulb(t, rh)).tolist() == [False, True, True, False]
    with pytest.raises(ValueError, match="water or ice"):
        air.saturation_pressure(1.0, over="snow")
