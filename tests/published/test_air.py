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


# air [C], relative humidity [%] (over ice below 0 C, as PsychroLib has it), humidity ratio [g/kg]
STATES = [
    (20, 50, 7.262),
    (7, 87, 5.397),
    (5, 90, 4.858),
    (2, 85, 3.705),
    (0, 90, 3.395),
    (-5, 80, 1.979),
]


@pytest.mark.parametrize(("t", "rh", "ratio"), STATES)
def test_states_of_moist_air(t, rh, ratio):
    assert air.humidity_ratio(t, rh, over="ice") * 1000 == pytest.approx(ratio, abs=0.001)


@pytest.mark.parametrize("t", [-15.0, -7.0, -2.0, 1.0, 4.0, 12.0, 25.0])
@pytest.mark.parametrize("rh", [40.0, 70.0, 95.0])
def test_against_psychrolib_itself(t, rh):
    assert air.humidity_ratio(t, rh, over="ice") == pytest.approx(
        psychrolib.GetHumRatioFromRelHum(t, rh / 100, 101325), rel=1e-4
    )
    assert air.vapour_pressure(t, rh, over="ice") == pytest.approx(
        psychrolib.GetVapPresFromRelHum(t, rh / 100), rel=1e-4
    )


@pytest.mark.parametrize(("t", "rh", "over_water"), [(0, 90, -1.45), (-5, 80, -7.92)])
def test_humidity_below_zero_over_water_is_not_over_ice(t, rh, over_water):
    """Weather services state relative humidity below 0 C over water (WMO No. 8).

    The pressure is that at the dew point by Magnus over water.
    """
    vapour = air.vapour_pressure(t, rh)
    assert vapour == pytest.approx(air.saturation_pressure(over_water), rel=2e-3)
    assert vapour >= air.vapour_pressure(t, rh, over="ice")


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
    with pytest.raises(ValueError, match="water or ice"):
        air.saturation_pressure(1.0, over="snow")
