"""An outdoor sensor that reads too warm day and night is told by the house's balance and the curve
together."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Samples
from fieldfare.analysis.reports.result import Result, analyse
from fieldfare.collector.simulated.faults.plant import with_fault
from fieldfare.collector.simulated.plant import PlantSpec, random_plant, simulate

FIRST, DAYS = date(2023, 10, 10), 150


def result(spec: PlantSpec, offset_k: float) -> Result:
    sim = simulate(spec, FIRST, DAYS)
    site = parse_site(sim.site_toml)
    readings = dict(sim.readings)
    for point in site.points_of("outdoor_temperature"):
        readings[point.id] = Samples(readings[point.id].time, readings[point.id].value + offset_k)
    last = FIRST + timedelta(DAYS - 1)
    return analyse(site, build_facts(site, readings, FIRST, last), FIRST, last)


@pytest.mark.parametrize("seed", [3103, 3105])
def test_four_kelvin_too_warm_is_named_and_nothing_is_blamed_for_it(seed: int) -> None:
    above = [f for f in result(random_plant(seed), 4.0).findings if f.severity != "note"]
    assert [f.code for f in above] == ["outdoor_sensor_biased"]
    said = float(above[0].headline.split(" about ")[1].split(" K")[0])
    assert said == pytest.approx(4.0, abs=1.5)


def test_a_true_sensor_is_not_named() -> None:
    assert all(f.code != "outdoor_sensor_biased" for f in result(random_plant(3105), 0.0).findings)


def test_a_curve_set_high_is_the_curves_fault() -> None:
    spec = with_fault(random_plant(3105), "flow_temperature_above_curve", "curve_set_high")
    codes = [f.code for f in result(spec, 0.0).findings if f.severity != "note"]
    assert "flow_temperature_above_curve" in codes
    assert "outdoor_sensor_biased" not in codes
