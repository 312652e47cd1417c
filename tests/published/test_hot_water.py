"""Hot water: energies, mixing (V40 of EN 16147), tapping profiles, standing losses, and facts of the
trade."""

import numpy as np
import pytest

from fieldfare.analysis.physics import hot_water


@pytest.mark.parametrize(
    ("litres", "cold", "hot", "kwh"),
    [(200, 10, 55, 10.467), (250, 10, 50, 11.630), (300, 10, 60, 17.445), (180, 10, 48, 7.955)],
)
def test_heat_at_1_163_wh_per_litre_and_kelvin(litres, cold, hot, kwh):
    """4.1868 kJ/(l K) = 1.163 Wh/(l K), exact conversion."""
    assert hot_water.heat_kwh(litres, cold, hot) == pytest.approx(kwh, abs=5e-4)


def test_annual_hot_water_of_a_published_calculation():
    """A heat-loss calculator's validation report: 200 l a day by 50 K: 4245 kWh a year."""
    assert hot_water.heat_kwh(200, 10, 60) * 365 == pytest.approx(4245, abs=0.1)


@pytest.mark.parametrize(("litres", "store", "mixed"), [(200, 55, 300), (250, 50, 333.3), (300, 60, 500)])
def test_v40_of_a_uniform_store(litres, store, mixed):
    """EN 16147, cold water at 10 C: V (T - 10) / 30."""
    assert hot_water.mixed_litres(litres, store) == pytest.approx(mixed, abs=0.05)


@pytest.mark.parametrize(("litres", "store", "mixed"), [(120, 54, 187.2), (180, 54, 280.8)])
def test_mixing_table_of_an_installers_guide(litres, store, mixed):
    """Printed (cut to whole tens or units) for cold water at 15 C: 187 and 280 l; 480 l need a store of 307
    l."""
    assert hot_water.mixed_litres(litres, store, cold_c=15) == pytest.approx(mixed, abs=0.05)
    assert hot_water.mixed_litres(307.7, 54, cold_c=15) == pytest.approx(480, abs=0.1)


@pytest.mark.parametrize(("profile", "kwh"), [("M", 5.845), ("L", 11.655)])
def test_tapping_profiles(profile, kwh):
    """Reg. (EU) 813/2013 Annex III Table 7."""
    assert hot_water.profile_kwh(profile) == pytest.approx(kwh)


def test_performance_on_profile_m():
    """5.845 kWh of hot water for 1.948 kWh: COP 3.00, 120 % at 2.5 primary (Reg. (EU) 812/2013)."""
    assert hot_water.profile_kwh("M") / 1.948 == pytest.approx(3.00, abs=0.001)
    assert hot_water.profile_kwh("M") / (2.5 * 1.948) * 100 == pytest.approx(120, abs=0.1)


@pytest.mark.parametrize(
    ("litres", "limits"),
    [
        (150, (28.9, 40.0, 56.0, 78.5, 97.7)),
        (200, (31.8, 43.9, 61.4, 86.0, 107.0)),
        (250, (34.3, 47.2, 66.0, 92.5, 115.0)),
        (300, (36.4, 50.1, 70.1, 98.2, 122.1)),
    ],
)
def test_standing_loss_classes(litres, limits):
    """Reg. (EU) 812/2013 Annex II Table 2, coefficients from memory: checks the arithmetic of the formula
    only."""
    got = [hot_water.loss_class_limit_w(litres, c) for c in ("A+", "A", "B", "C", "D")]
    assert got == pytest.approx(limits, abs=0.06)
    assert hot_water.loss_class(litres, limits[2] - 0.1) == "B"
    assert hot_water.loss_class(litres, limits[4] + 0.1) == "E"
    assert hot_water.loss_class(litres, 1000) == "G"


def test_standing_loss_at_another_temperature():
    """250 l, class B: 66.0 W (1.584 kWh a day) at 65/20 C is 44.0 W at 50/20."""
    assert hot_water.loss_class_limit_w(250, "B") * 0.024 == pytest.approx(1.584, abs=5e-4)
    assert hot_water.loss_at(66.0, 50) == pytest.approx(44.0)
    assert hot_water.loss_at(1.6, 65, room_c=15) == pytest.approx(1.6 * 50 / 45)


def test_common_practice_reheating_300_litres_by_10_k():
    """Common practice, no source: 300 l from 45 to 55 C is 3.49 kWh and takes 25 to 40 minutes with a 12 kW
    unit in the field.

    At the full 12 kW and nothing lost it is 17 minutes; 25 to 40 minutes mean that 5.2 to 8.4 kW reach the
    water.
    """
    assert hot_water.heat_kwh(300, 45, 55) == pytest.approx(3.49, abs=0.005)
    minutes = 60.0 * hot_water.heat_kwh(300, 45, 55) / np.array([12.0, 5.24, 8.37])
    assert minutes == pytest.approx([17.4, 40, 25], abs=0.1)


def test_common_practice_300_litres_at_55_c_serve_a_family():
    """Common practice, no source: 300 l at 55 C are 450 l at 40 C from 10 C mains."""
    assert hot_water.mixed_litres(300, 55) == pytest.approx(450)


def test_gaps_and_refusals():
    assert np.isnan(hot_water.mixed_litres(200, np.nan))
    assert hot_water.mixed_litres(200, 38) == 0
    with pytest.raises(ValueError, match="colder"):
        hot_water.mixed_litres(200, 55, cold_c=40)
    with pytest.raises(ValueError, match="class must be"):
        hot_water.loss_class_limit_w(200, "Z")
    with pytest.raises(ValueError, match="equal"):
        hot_water.loss_at(1, 50, rated_store_c=20)
    with pytest.raises(KeyError):
        hot_water.profile_kwh("XXS")
