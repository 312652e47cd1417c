"""Expectations about cylinder and circuit against published values and hand calculations."""

import math

import numpy as np
import pytest

from fieldfare.analysis.expectation import (
    charge_balance,
    cylinder_cooling,
    pressure,
    reheat,
)
from fieldfare.analysis.expectation.excess import Excess, Expected, excess

# Expansion and the vessel


@pytest.mark.parametrize(("to_c", "percent"), [(40.0, 0.75), (60.0, 1.68), (80.0, 2.87)])
def test_expansion_of_water_from_ten_degrees(to_c, percent):
    """EN 12828 Annex D and vessel makers' tables (from memory): 0.75 % to 40 C, 1.68 % to 60 C, 2.87 % to
    80 C."""
    assert 100.0 * pressure.expansion(10.0, to_c) == pytest.approx(percent, abs=0.03)


def test_antifreeze_expands_more_than_water():
    """Vessel makers add a third or so for 30 to 40 % glycol (common practice)."""
    mixed = pressure.expansion(10.0, 60.0, fluid="propylene_glycol", percent=35.0)
    assert 1.3 < mixed / pressure.expansion(10.0, 60.0) < 2.2


def test_vessel_by_hand():
    """EN 12828 Annex D (from memory): (1.68 % + 0.5 %) (2.5 + 1) / (2.5 - 1.0) of the circuit."""
    assert pressure.vessel_share(1.3, 60.0) == pytest.approx(0.0218 * 3.513 / 1.5, rel=0.01)


def test_a_full_fill_leaves_no_room():
    with pytest.raises(ValueError, match="no room"):
        pressure.vessel_share(2.9, 60.0)


def pressure_at(temperature_c, cold_bar, share):
    """Boyle's law for the gas of a vessel with a share of the circuit's volume, filled cold to `cold_bar`.

    Infinite where the water, as it grows, would fill the vessel.
    """
    cold = cold_bar + pressure.ATMOSPHERE_BAR
    gas = share * (cold_bar - pressure.ABOVE_CHARGE_BAR + pressure.ATMOSPHERE_BAR) / cold
    left = gas - float(pressure.expansion(pressure.COLD_C, temperature_c))
    return cold * gas / left - pressure.ATMOSPHERE_BAR if left > 0.0 else np.inf


def test_a_vessel_of_the_least_size_ends_near_the_final_pressure():
    """EN 12828: half a bar below the relief valve, here at 3 bar."""
    share = pressure.vessel_share(1.3, 60.0)
    assert pressure_at(60.0, 1.3, share) == pytest.approx(2.5, abs=0.35)
    assert pressure_at(10.0, 1.3, share) == pytest.approx(1.3, abs=1e-6)
    assert pressure_at(60.0, 1.3, 0.1 * share) == np.inf


def test_the_slope_is_that_of_the_pressure():
    share = pressure.vessel_share(1.3, 55.0)
    slope = pressure_at(40.5, 1.3, share) - pressure_at(39.5, 1.3, share)
    level = float(pressure_at(40.0, 1.3, share))
    told = pressure.slope_expected(level, 40.0, 55.0)
    assert told.value == pytest.approx(slope, rel=0.03)
    # Common practice: 25 K move a circuit with a sound vessel by about 0.3 bar, with one of the least size
    # by two to three times that.
    assert 0.02 < told.value < 0.04


def test_a_pressure_that_the_fault_raised_does_not_excuse_its_slope():
    """Boyle's law: with a third of the least vessel the slope is three times the expected
    one at any pressure."""
    share = pressure.vessel_share(1.3, 55.0) / 3.0
    for mean_c in (20.0, 25.0, 30.0):
        level = float(pressure_at(mean_c, 1.3, share))
        slope = pressure_at(mean_c + 0.5, 1.3, share) - pressure_at(mean_c - 0.5, 1.3, share)
        assert slope / pressure.slope_expected(level, mean_c, 55.0).value == pytest.approx(3.0, rel=0.05)


# Charges


def charge(**change):
    usual = {
        "litres": 200.0,
        "from_c": 40.0,
        "to_c": 50.0,
        "output_kw": 6.0,
        "coil_w_per_k": 800.0,
        "flow_limit_c": 70.0,
    }
    return reheat.Charge(**(usual | change))


def test_a_charge_at_full_output_by_hand():
    """200 l by 10 K are 2.326 kWh (1.163 Wh/(l K)); at 6 kW 23.3 minutes."""
    assert reheat.minutes(charge()) == pytest.approx(23.26, abs=0.01)


def test_a_charge_at_the_flow_limit_by_hand():
    """Knee at 55 - 6000/800 = 47.5 C; from there 232.6/800 h x ln(7.5/2) to 53 C."""
    told = reheat.minutes(charge(to_c=53.0, flow_limit_c=55.0))
    assert told == pytest.approx(
        60.0 * (232.6 * 7.5 / 6000.0 + 232.6 / 800.0 * math.log(7.5 / 2.0)), rel=1e-6
    )


def test_a_setpoint_at_the_limit_is_never_reached():
    assert reheat.minutes(charge(to_c=55.0, flow_limit_c=55.0)) == math.inf
    assert reheat.expected(charge(to_c=55.0, flow_limit_c=55.0)) == Expected(math.inf, math.inf)


@pytest.mark.parametrize("change", [{"output_kw": 0.0}, {"to_c": 40.0}, {"litres": 0.0}])
def test_a_charge_of_nothing_is_refused(change):
    with pytest.raises(ValueError, match="above zero"):
        reheat.minutes(charge(**change))


def test_doubt_grows_near_the_limit():
    far, near = reheat.expected(charge()), reheat.expected(charge(to_c=53.0, flow_limit_c=55.0))
    assert far.uncertainty / far.value < near.uncertainty / near.value


def test_a_usual_coil_by_hand():
    """Rated output at 7.5 K of mean water, and half of the water's own difference above it: 8 kW at 1.4
    m3/h."""
    water = 1.4 * 1155.0
    assert 8000.0 / reheat.coil_w_per_k(8.0, water) == pytest.approx(7.5 + 8000.0 / (2.0 * water), rel=1e-6)


# Charge against what the cylinder took up


def test_taken_up_by_hand():
    """1.163 Wh/(l K): 250 l by 12 K hold 3.489 kWh."""
    assert charge_balance.taken_up(250.0, 12.0, 3.489) == pytest.approx(1.0)
    assert np.isnan(charge_balance.taken_up(250.0, 12.0, 0.0))
    assert charge_balance.leaked_share(0.65) == pytest.approx(0.30, abs=0.01)
    assert charge_balance.leaked_share(1.2) == 0.0


# Standing loss


def test_cooling_of_a_class_c_cylinder():
    """Reg. (EU) 812/2013 Annex II Table 2: 250 l of class C lose 92.5 W at 45 K, 2.06 W/K; at 30 K over the
    room 0.21 K/h."""
    told = cylinder_cooling.expected(250.0, None)
    assert told.value == pytest.approx(92.5 / 45.0, rel=0.002)
    assert cylinder_cooling.cooling_k_per_h(250.0, told.value, 30.0) == pytest.approx(0.212, abs=0.002)


def test_how_long_a_disinfected_cylinder_stays_hot():
    """By hand: 250 l at 2.06 W/K have a time constant of 141 h; from 70 to 65 C in 20 C that is 141 h x
    ln(50/45)."""
    told = cylinder_cooling.cooling_minutes(250.0, 2.06, 70.0, 65.0)
    assert told == pytest.approx(60.0 * 250.0 * 1.163 / 2.06 * math.log(50.0 / 45.0))
    assert cylinder_cooling.cooling_minutes(250.0, 2.06, 60.0, 65.0) == 0.0


def test_a_rating_counts_its_fittings():
    """1.6 kWh a day at 45 K are 1.48 W/K; a quarter more as installed (common practice)."""
    assert cylinder_cooling.expected(250.0, 1.6).value == pytest.approx(1.25 * 1.6 / 0.024 / 45.0)


# Excess


def test_probability_of_an_excess():
    """Normal distribution: one and two standard uncertainties are 84.1 and 97.7 %."""
    assert Excess(1.0, 1.0).probability == pytest.approx(0.8413, abs=1e-4)
    assert excess(12.0, 3.0, Expected(2.0, 4.0)).probability == pytest.approx(0.9772, abs=1e-4)
    assert Excess(3.0, 1.0).probability_above(3.0) == pytest.approx(0.5)
    with pytest.raises(ValueError, match="without uncertainty"):
        excess(1.0, 0.0, Expected(1.0, 0.0))
