"""Disinfection by time at temperature, and the one temperature from which water scalds."""

import numpy as np
import pytest

from fieldfare.analysis import cautions
from fieldfare.analysis.physics import hot_water


@pytest.mark.parametrize(
    ("store_c", "minutes"),
    [
        (60.0, 60.0),  # HSG274 Part 2 (2014): the whole store at 60 C for an hour (from memory)
        (70.0, 3.0),  # DVGW W 551: 70 C for three minutes at each tap (from memory)
    ],
)
def test_holds_of_published_guidance(store_c, minutes):
    assert hot_water.hold_minutes(store_c) == pytest.approx(minutes, rel=1e-6)


def test_holds_lie_on_the_safe_side_of_published_death_rates():
    """WHO, Legionella and the prevention of legionellosis (2007), from memory: a tenfold reduction takes
    about 2 minutes at 60 C. An hour there is thirty of them; the hold at every temperature above keeps at
    least as many as the literature's z-value of about 5 K asks for the same kill."""
    for store_c in (62.0, 65.0, 68.0):
        tenfold = 2.0 * 10 ** (-(store_c - 60.0) / 5.0)
        assert hot_water.hold_minutes(store_c) > 25.0 * tenfold


def test_a_touch_is_no_hold():
    assert np.sum(hot_water.disinfection_rate(np.full(5, 59.0))) < 5.0
    assert np.sum(hot_water.disinfection_rate(np.full(1, 60.0))) == pytest.approx(1.0)
    assert np.sum(hot_water.disinfection_rate(np.full(600, 58.9))) == 0.0
    assert hot_water.hold_minutes(55.0) == np.inf


def test_what_is_not_known_does_not_disinfect():
    assert hot_water.disinfection_rate(np.array([np.nan, 60.0])).tolist() == [0.0, 1.0]


@pytest.mark.parametrize(
    ("at_tap_c", "can_scald"), [(48.0, False), (49.9, False), (50.0, True), (60.0, True)]
)
def test_scalding_begins_at_fifty(at_tap_c, can_scald):
    """Approved Document G3 (2010) holds baths to 48 C; above 50 C the project warns everywhere, as its
    README says."""
    assert cautions.can_scald(at_tap_c) is can_scald
    assert ("scalds" in cautions.of_setpoint(at_tap_c)) is can_scald


@pytest.mark.parametrize(
    ("stored_c", "grows"), [(15.0, False), (20.0, True), (45.0, True), (49.0, True), (50.0, False)]
)
def test_the_range_of_growth(stored_c, grows):
    """HSG274 Part 2 (2014): 20 to 45 C; to 50 C it lives on (WHO 2007, from memory)."""
    assert cautions.grows(stored_c) is grows


@pytest.mark.parametrize("disinfected", [True, False])
@pytest.mark.parametrize("reach_c", np.arange(40.0, 66.0, 1.0))
def test_no_advice_leads_into_the_range_of_growth(reach_c, disinfected):
    told = cautions.setpoint_advice(reach_c, disinfected=disinfected)
    if told.startswith("Set the hot-water setpoint"):
        assert reach_c >= (50.0 if disinfected else 60.0)
    else:
        assert told.startswith("Leave the setpoint where it is")
