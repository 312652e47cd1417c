"""Frost and defrosts: psychrometric facts of rating air, and what field and laboratory tests found (reference
9)."""

from __future__ import annotations

import numpy as np
import pytest

from fieldfare.analysis.expectation.defrost import (
    LENGTH_MIN,
    coat_share,
    defrosts_due,
    one_defrost,
    too_long,
    too_often,
)
from fieldfare.analysis.expectation.frost import (
    LEAST,
    MOST,
    USUAL,
    Coil,
    frost_mass,
    frost_rate,
)


def test_rating_air_at_7_degrees_frosts_only_a_coil_7_k_colder():
    """A7(6) is 87 % with a frost point of 5 °C: the coil must be below 0 °C (reference 9.2, computed with
    psychrolib)."""
    colder = np.array([6.0, 6.9, 7.1, 8.0])
    coils = colder / USUAL.difference_k
    assert list(frost_rate(7.0, 86.8, coils) > 0.0) == [False, False, True, True]


def test_rating_air_at_2_degrees_frosts_any_coil_below_its_frost_point():
    """A2(1) is 83.8 % with a frost point of -0.39 °C (reference 9.1, computed with psychrolib)."""
    coils = np.array([2.2, 2.35, 2.45, 4.0]) / USUAL.difference_k
    bare = Coil(USUAL.difference_k, 0.0, USUAL.transfer, USUAL.humidity, 0.0)
    assert list(frost_rate(2.0, 83.8, coils, bare) > 0.0) == [False, False, True, True]


def test_frosting_is_worst_about_freezing():
    """Energies 2026, 19(12), 2787, abstract: most severe at 0 °C in tests of an inverter unit."""
    outdoor = np.arange(-15.0, 10.0, 0.5)
    # The load falls with the weather, from all at -10 °C to nothing at 16 °C (EN 14825).
    load = np.clip((16.0 - outdoor) / 26.0, 0.0, 1.0)
    rate = frost_rate(outdoor, 88.0, load)
    # A flat hill: freezing is within a tenth of its top, hard frost and mild air are well below.
    assert rate[outdoor == 0.0] > 0.9 * rate.max()
    assert rate[outdoor == -15.0] < 0.8 * rate.max()
    assert rate[outdoor == 6.0] == 0.0


def test_a_clean_coil_at_work_in_frosting_air_defrosts_every_half_to_one_and_a_half_hours():
    """Typical spacing 30 to 90 minutes in frosting weather (reference 9.2, from memory): common practice."""
    for outdoor, load in ((2.0, 1.0), (1.0, 0.8), (0.0, 0.7), (-2.0, 0.8)):
        an_hour = float(frost_rate(outdoor, 85.0, load))
        due = defrosts_due(frost_mass(0.5 * an_hour, an_hour, 2.0 * an_hour))
        assert due.low < 60.0 / 30.0
        assert due.high > 60.0 / 90.0
        assert 20.0 < 60.0 / due.middle < 120.0


def test_five_minutes_clear_a_coil():
    """5 min cleared the coil of an 8 kW unit in all conditions tested (abstract, reference 9.2)."""
    assert LENGTH_MIN.middle < 5.0 < LENGTH_MIN.high
    assert too_long(10.0, 0.2) > 2.0
    assert too_long(3.0, 0.6) < 0.0


def test_the_guesses_enclose_the_usual_one_everywhere():
    outdoor, load = np.meshgrid(np.arange(-15.0, 12.0), [0.2, 0.5, 1.0])
    for humidity in (np.nan, 60.0, 95.0):
        least, usual, most = (frost_rate(outdoor, humidity, load, c) for c in (LEAST, USUAL, MOST))
        assert np.all(least <= usual + 1e-9)
        assert np.all(usual <= most + 1e-9)


def test_ice_and_coil_in_one_defrost():
    """165 g of ice at 334 J/g are 15.3 Wh, the coil 11 Wh, a fifth of the heat is lost: 33 Wh/kW."""
    assert one_defrost().middle == pytest.approx((165 * 334 / 3600 + 11) / 0.8, rel=0.01)
    assert coat_share(one_defrost().middle) == pytest.approx(1.0, abs=0.01)
    assert coat_share(5.0) == 0.0


def test_twice_the_defrosts_on_thin_coats_are_surer_than_twice_the_defrosts():
    frost = frost_mass(600.0, 1650.0, 4500.0)
    assert too_often(20.0, frost, 18.0) > too_often(20.0, frost) > 0.5
    assert too_often(10.0, frost, 33.0) == pytest.approx(0.0, abs=0.05)
    assert too_often(45.0, frost, 34.0) > 2.0
