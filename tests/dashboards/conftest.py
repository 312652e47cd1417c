"""Two invented plants with facts and results, computed once for all tests of pages and papers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.findings.model import Cause, Evidence, Finding
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.result import Result, analyse
from fieldfare.collector.simulated.plant import random_plant, simulate

FIRST, DAYS = date(2024, 10, 1), 120
LAST = FIRST + timedelta(DAYS - 1)
NOW = datetime(2025, 1, 29, 6, 0, tzinfo=UTC)
INSTALLER = {"name": "Kim", "role": "installer", "csrf": "a-second-secret", "by_link": False}
HOUSEHOLDER = {"name": "Sam", "role": "householder", "csrf": "another", "by_link": True}

SHORT_CYCLING = Finding(
    code="short_cycling",
    severity="act",
    since="2024-11-02",
    confidence=0.91,
    headline="The compressor starts 31 times a day & runs <9 minutes.",
    evidence=(Evidence("median run", 8.2, "min", 10.0), Evidence("starts a day", 31.0, "1/day")),
    causes=(
        Cause("thermostat_chopping", 0.7, "the room's call ends most runs"),
        Cause("low_water_volume", 0.3, "water warms fast"),
    ),
    next_step="Open the room thermostats fully and lower the curve.",
    caution="Hot water under pressure.",
    home="Your heating starts often. Leave the thermostats open; we lower the water temperature on Monday.",
    cost_kwh=210.0,
    cost_money=61.0,
    visit="drive",
    bring=("clamp thermometer",),
)


@dataclass(frozen=True)
class Plant:
    """A plant as pages get it."""

    site: Site
    facts: Facts
    result: Result

    @property
    def document(self) -> dict[str, Any]:
        return self.result.as_dict()

    def row(self, **more: Any) -> dict[str, Any]:
        row = {
            "id": self.site.id,
            "name": self.site.name,
            "handed_over": self.site.handed_over,
            "site": self.site,
            "heard": NOW - timedelta(minutes=3),
            "result": self.document,
            "reason": None,
        }
        return row | more

    def with_findings(self, *findings: Finding) -> Plant:
        return replace(self, result=replace(self.result, findings=findings))


def plant_of(seed: int, meter_set: str, *, days: int = DAYS) -> Plant:
    """An invented plant from FIRST on."""
    made, last = simulate(random_plant(seed, meter_set=meter_set), FIRST, days), FIRST + timedelta(days - 1)
    site = parse_site(made.site_toml)
    facts = build_facts(site, made.readings, FIRST, last)
    return Plant(site, facts, analyse(site, facts, FIRST, last))


@pytest.fixture(scope="session")
def full() -> Plant:
    """A plant with every meter."""
    return plant_of(7, "full")


@pytest.fixture(scope="session")
def basic() -> Plant:
    """A plant with the heat pump's two meters and the weather, and nothing else."""
    return plant_of(44, "basic")


@pytest.fixture(scope="session")
def cycling(full: Plant) -> Plant:
    """The full plant with one finding that asks for a drive."""
    return full.with_findings(SHORT_CYCLING)
