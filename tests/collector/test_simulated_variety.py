"""Varied plants stay healthy: they cover their design load, do not hide faults, and are reproducible."""

import numpy as np
import pytest

from fieldfare.collector.simulated.design.variety import varied
from fieldfare.collector.simulated.plant import random_plant
from fieldfare.collector.simulated.step.machine import derive, rating, steady

SEEDS = range(40, 70)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_varied_plant_carries_its_design_load(seed):
    spec = varied(random_plant(seed, meter_set="rich"))
    load = spec.house.htc_w_per_k * (spec.design.indoor_c - spec.climate.design_c)
    output = steady(spec.heat_pump, spec.climate.design_c, spec.control.curve[0][1])[0]
    assert 0.9 * output >= load
    assert spec == varied(random_plant(seed, meter_set="rich"))


def test_the_population_is_wide():
    plants = [varied(random_plant(seed, meter_set="rich")) for seed in SEEDS]
    approach = [p.heat_pump.air_approach_k for p in plants]
    coat = [p.heat_pump.coat_kg_per_kw for p in plants]
    damp = [p.climate.dew_depression_k for p in plants]
    assert np.ptp(approach) > 3.0
    assert max(coat) > 1.8 * min(coat)
    assert np.ptp(damp) > 2.0
    assert 0.2 < np.mean([p.heat_pump.pump_difference_k > 0.0 for p in plants]) < 0.7
    assert any(p.heat_pump.defrost_timed for p in plants)


def test_a_timer_is_not_given_to_a_plant_with_a_defrost_fault():
    for seed in SEEDS:
        assert not varied(random_plant(seed, meter_set="rich"), "excessive_defrost").heat_pump.defrost_timed


def test_a_colder_coil_meets_the_same_rating_point():
    """A7/W35 is what the unit is sold by, whatever its coil (EN 14511)."""
    spec = varied(random_plant(41, meter_set="rich"))
    hp = spec.heat_pump
    heat, power = steady(hp, 7.0, 35.0)
    assert heat / power == pytest.approx(hp.cop_a7w35, rel=0.01)
    assert derive(hp).tev_rated == pytest.approx(7.0 - hp.air_approach_k)
    # frosting weather costs some of it
    assert rating(hp, 2.0, 35.0)[1] < hp.cop_a7w35
