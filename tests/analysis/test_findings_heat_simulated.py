"""Findings about heat and water from readings on: a few simulated plants, one fault each."""

from __future__ import annotations

from datetime import date, timedelta
from functools import cache

import pytest

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.findings.excuses import FAMILY_OF
from fieldfare.analysis.findings.judge import PLANT_RULES
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import Result, analyse
from fieldfare.collector.simulated.plant import random_plant, simulate, with_fault

FIRST, DAYS = date(2023, 11, 20), 80
OURS = {r.code for r in PLANT_RULES if FAMILY_OF[r.code] not in ("running", "operation", "curve")}


@cache
def result(seed: int, code: str | None = None, cause: str | None = None) -> Result:
    spec = random_plant(seed, climate="continental", meter_set="full", hot_water=True)
    if code is not None:
        spec = with_fault(spec, code, cause, "plain")
    sim = simulate(spec, FIRST, DAYS)
    site, last = parse_site(sim.site_toml), FIRST + timedelta(DAYS - 1)
    return analyse(site, build_facts(site, sim.readings, FIRST, last), FIRST, last)


@pytest.mark.parametrize("seed", [410, 411])
def test_healthy_plants_are_left_alone(seed: int) -> None:
    above = [f for f in result(seed).findings if f.code in OURS and f.severity != "note"]
    assert above == []


@pytest.mark.parametrize(
    ("code", "cause"),
    [
        ("backup_heater_use", "bivalent_set_high"),
        ("room_below_target", "zone_not_opening"),
        ("slow_reheat", "coil_or_scale"),
        ("immersion_use", "setpoint_above_reach"),
        ("high_standing_loss", "secondary_circulation"),
        ("diverter_passing", None),
        ("capacity_short", None),
    ],
)
def test_a_plain_fault_is_found_with_its_cause(code: str, cause: str | None) -> None:
    found = next((f for f in result(412, code, cause).findings if f.code == code), None)
    assert found is not None
    assert found.severity != "note"
    if cause is not None:
        assert found.causes[0].cause == cause
