"""Part load: bounds by the second law, EN 14825's fixed-speed unit, and learning from a unit's own days."""

from __future__ import annotations

import numpy as np
import pytest

from fieldfare.analysis.expectation.part_load import USUAL_STRENGTH, learned_strength, part_load_gain
from fieldfare.analysis.physics.heat_pump import RatedPerformance
from fieldfare.analysis.physics.second_law import PLAUSIBLE_SHARE_OF_CARNOT, carnot_cop

# EN 14825:2018 Annex H: T, Pdh, COPd (reference 3.3).
ANNEX_H = [
    (-7.0, 35.0, 9.55, 3.26),
    (2.0, 35.0, 11.17, 4.00),
    (7.0, 35.0, 12.66, 4.91),
    (12.0, 35.0, 14.3, 5.50),
]


def test_no_gain_at_full_output_nor_beyond_two_fifths():
    """Inverter units gain some 20 to 30 % at part load (common practice, no source)."""
    outdoor, flow = np.meshgrid([-7.0, 2.0, 7.0, 12.0], [35.0, 45.0, 55.0])
    assert part_load_gain(1.0, outdoor, flow) == pytest.approx(1.0)
    for load in (0.3, 0.5, 0.7):
        gain = part_load_gain(load, outdoor, flow)
        assert np.all((gain > 1.04) & (gain < 1.4))


def test_a_small_lift_gains_more_than_a_great_one():
    """The approaches of coil and condenser weigh more where the lift is small (second law)."""
    assert part_load_gain(0.5, 7.0, 30.0) > part_load_gain(0.5, -7.0, 55.0)


def test_the_gain_of_the_exchangers_alone_is_the_carnot_ratio():
    """Half the output over 30 K: (30 + 10) / (30 + 5) of the lift is saved; the compressor adds some per
    cent."""
    assert part_load_gain(0.5, 5.0, 35.0) == pytest.approx(40.0 / 35.0, rel=0.06)


def test_no_gain_lifts_annex_h_above_what_is_plausible():
    """Nothing may exceed 0.65 of Carnot over an hour (reference 8)."""
    rating = RatedPerformance(ANNEX_H)
    for outdoor in (-7.0, 2.0, 7.0):
        cop = rating.cop(outdoor, 35.0) * part_load_gain(0.4, outdoor, 35.0)
        assert cop < PLAUSIBLE_SHARE_OF_CARNOT * carnot_cop(outdoor, 35.0)


def test_a_fixed_speed_unit_gains_nothing():
    """It runs at its full output or not at all, so there is nothing to gain while it runs."""
    assert part_load_gain(1.0, 7.0, 35.0) == pytest.approx(1.0)


@pytest.mark.parametrize("fault", [1.0, 1.2, 1.35])
@pytest.mark.parametrize("true", [0.2, 0.8, 1.2])
def test_a_fault_of_the_first_day_is_not_learned_away(fault, true):
    rng = np.random.default_rng(3)
    gain = np.log(part_load_gain(rng.uniform(0.2, 0.9, 150), 5.0, 38.0))
    level = true * gain - np.log(fault) + 0.02 * rng.standard_normal(150)
    found = learned_strength(level, gain, np.ones(150))
    assert abs(found.middle - true) < 2.0 * found.spread
    left = float(np.exp(np.mean(level - found.middle * gain)))
    assert left == pytest.approx(1.0 / fault, abs=0.07)


def test_without_days_the_usual_strength_stands():
    assert learned_strength(np.full(5, np.nan), np.full(5, np.nan), np.ones(5)) == USUAL_STRENGTH
