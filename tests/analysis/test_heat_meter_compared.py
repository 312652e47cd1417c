"""Heat meter beside flow and temperatures where readings are far apart or a register counts in steps."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.data.flow_product import blurred
from fieldfare.analysis.findings.data.heat_meter import heat_meter_disagrees
from tests.analysis.heat_tables import DAYS, context_of, day_index, days_of
from tests.analysis.small_plant import Small

WATER = ("flow_rate", "flow_temperature", "return_temperature")
SHORT_RUNS = 12.0


def context(apart: float, run_kwh: float, **columns: Any) -> Context:
    """Ten runs a day, some of them too short for readings so far apart."""
    spacing = {f"spacing.{q}": apart for q in WATER}
    found = context_of(days_of(**spacing, lift=5.0, **columns))
    runs = Table(
        {
            "day": np.repeat(day_index(), 10),
            "minutes": np.full(10 * DAYS, SHORT_RUNS),
            "pause": np.full(10 * DAYS, 60.0),
            "heat": np.full(10 * DAYS, run_kwh),
        }
    )
    facts = replace(found.all_days, runs=runs)
    return replace(found, facts=facts, all_days=facts)


def deep_in_runs(meter: float | np.ndarray, frosting: float = 0.0) -> Context:
    """Readings every 15 minutes: heat by the meter for each 20 kWh by flow and temperatures."""
    return context(
        15.0, 8.0, core_meter=meter, core_flow=20.0, core_volume=3.4, minutes_frosting=1000.0 * frosting
    )


@pytest.mark.parametrize(("step", "told"), [(0.1, False), (1.0, True)])
def test_a_register_of_whole_kilowatt_hours_tells_no_short_run(step: float, told: bool) -> None:
    """A run of 2.5 kWh ends up to one step before its heat is counted: the rest after it shows the heat."""
    words = blurred(context(1.0, 2.5, **{"step.heat_output": step}))
    assert (words is not None and "steps of 1 kWh" in words) == told


def test_long_runs_are_compared_in_spite_of_a_coarse_register() -> None:
    assert blurred(context(1.0, 25.0, **{"step.heat_output": 1.0})) is None


@pytest.mark.parametrize("frosting", [0.0, 1.0])
def test_defrosts_between_readings_explain_a_lower_meter(frosting: float) -> None:
    finding = heat_meter_disagrees(deep_in_runs(16.5, frosting))
    assert (finding is None) == (frosting > 0.0), finding


def test_no_defrost_explains_half_of_the_heat_or_too_much_of_it() -> None:
    for meter in (10.0, 26.0):
        finding = heat_meter_disagrees(deep_in_runs(meter, 1.0))
        assert finding is not None
        assert finding.severity in ("watch", "act")


def test_few_readings_a_run_scatter_and_are_no_disagreement() -> None:
    """Ratios of single days a quarter apart, whose middle is that of two honest instruments."""
    rng = np.random.default_rng(5)
    meter = 20.0 * np.exp(0.35 * rng.standard_normal(DAYS) + 0.1)
    try:
        finding = heat_meter_disagrees(deep_in_runs(meter))
    except NotAssessed:
        return
    assert finding is None or finding.severity == "note"


@pytest.mark.parametrize(("first_wrong", "misplaced"), [(0, True), (20, False)])
def test_a_meter_that_goes_wrong_later_has_no_wrong_pulse_value(first_wrong: int, misplaced: bool) -> None:
    """A pulse value is wrong from the first day; a sensor that leaves its pocket some day is not."""
    small = Small()
    for name in ("heat", "heat_kwh"):
        wrong = small.days_between(first_wrong, small.days - 1)
        change = np.diff(small.values[name], prepend=small.values[name][0]) if name == "heat_kwh" else None
        if change is None:
            small.values[name] = np.where(wrong, 2.5 * small.values[name], small.values[name])
        else:
            small.values[name] = small.values[name][0] + np.cumsum(np.where(wrong, 2.5 * change, change))
    codes = {f.code: f for f in small.judged().findings if f.severity != "note"}
    assert codes.keys() & {"implausible_efficiency", "heat_meter_disagrees"}
    assert ("meter_misplaced" in codes) == misplaced
