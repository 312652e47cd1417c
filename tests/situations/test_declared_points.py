"""Findings keep to the points that a site has declared, over random subsets of them."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from fieldfare.analysis.findings.model import Evidence, Finding
from tests.benchmarks.confusion import Case
from tests.situations.declared_points import Plant, subsets, undeclared, violations

DAYS, SUBSETS = 24, 2
CASES = (
    Case(500, None, None, "healthy", "full", DAYS),
    Case(501, "reheat_incomplete", "setpoint_above_reach", "gross", "full", DAYS),
    Case(502, "low_flow", "strainer_or_air", "gross", "full", DAYS),
)


@lru_cache
def plant_of(case: Case) -> Plant:
    return Plant.of(case)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.code or "healthy")
def test_no_finding_speaks_of_a_point_that_is_not_declared(case: Case) -> None:
    plant = plant_of(case)
    rng = np.random.default_rng(case.seed)
    for chosen in subsets(SUBSETS, len(plant.points), rng):
        assert violations(plant, chosen) == []


def test_the_search_finds_what_it_is_for() -> None:
    plant = plant_of(CASES[0])
    site = plant.site(np.arange(len(plant.points)) < 1)
    result = plant.result(site, plant.readings)
    names = Finding("low_flow", "note", "2025-11-01", 0.5, "The heat meter shows little.")
    unknown = replace(names, headline="It is low.", evidence=(Evidence("water", float("nan"), "m3"),))
    told = list(undeclared(site, replace(result, findings=(names, unknown), unreliable={"pv_output": names})))
    assert len(told) == 3
