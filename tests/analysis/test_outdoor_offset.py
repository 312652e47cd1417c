"""An outdoor sensor that reads too warm day and night is told by the house's balance and the curve
together."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from fieldfare.analysis.expectation.outdoor_offset import without_rooms
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Samples
from fieldfare.analysis.reports.result import Result, analyse
from fieldfare.collector.simulated.faults.plant import with_fault
from fieldfare.collector.simulated.plant import PlantSpec, random_plant, simulate

FIRST, DAYS = date(2023, 10, 10), 150


def rooms_days(influence: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Hundred days: flow half a kelvin above the curve, and more for rooms that lack up to 2 K."""
    rng = np.random.default_rng(7)
    outdoor, lacking = rng.normal(4.0, 4.0, 100), rng.uniform(0.0, 2.0, 100)
    return 0.5 + influence * lacking + rng.normal(0.0, 0.2, 100), lacking, outdoor


@pytest.mark.parametrize("influence", [0.0, 2.0])
def test_flow_raised_for_cold_rooms_is_told_from_flow_raised_for_the_weather(influence: float) -> None:
    above, lacking, outdoor = rooms_days(influence)
    left = without_rooms(above, lacking, outdoor)
    assert left.mean == pytest.approx(0.5, abs=0.15)
    assert left.sd < 0.15


def test_rooms_that_lack_the_same_every_day_leave_their_usual_influence_in_doubt() -> None:
    above, lacking, outdoor = rooms_days(0.0)
    left = without_rooms(above + 2.0, np.full_like(lacking, 1.5), outdoor)
    assert left.mean == pytest.approx(2.5 - 0.5 * 1.5, abs=0.15)
    assert left.sd == pytest.approx(1.5, abs=0.1)
    assert without_rooms(above + 2.0, np.zeros_like(lacking), outdoor).mean == pytest.approx(2.5, abs=0.1)


def result(spec: PlantSpec, offset_k: float) -> Result:
    sim = simulate(spec, FIRST, DAYS)
    site = parse_site(sim.site_toml)
    readings = dict(sim.readings)
    for point in site.points_of("outdoor_temperature"):
        readings[point.id] = Samples(readings[point.id].time, readings[point.id].value + offset_k)
    last = FIRST + timedelta(DAYS - 1)
    return analyse(site, build_facts(site, readings, FIRST, last), FIRST, last)


@pytest.mark.parametrize(("seed", "off"), [(3103, 4.0), (3105, 5.0)])
def test_kelvins_too_warm_are_named_and_nothing_is_blamed_for_them(seed: int, off: float) -> None:
    above = [f for f in result(random_plant(seed), off).findings if f.severity != "note"]
    assert [f.code for f in above] == ["outdoor_sensor_biased"]
    said = float(above[0].headline.split(" about ")[1].split(" K")[0])
    assert said == pytest.approx(off, abs=1.5)


def test_a_true_sensor_is_not_named() -> None:
    assert all(f.code != "outdoor_sensor_biased" for f in result(random_plant(3105), 0.0).findings)


def test_a_curve_set_high_is_the_curves_fault() -> None:
    spec = with_fault(random_plant(3105), "flow_temperature_above_curve", "curve_set_high")
    codes = [f.code for f in result(spec, 0.0).findings if f.severity != "note"]
    assert "flow_temperature_above_curve" in codes
    assert "outdoor_sensor_biased" not in codes
