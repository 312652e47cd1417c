"""The watch gives the same findings as the whole result for its codes."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.findings.judge import PLANT_RULES
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse, findings_of
from fieldfare.collector.simulated.plant import random_plant, simulate

FIRST, DAYS = date(2025, 1, 10), 8
CODES = sorted({rule.code for rule in PLANT_RULES})


@pytest.mark.parametrize("seed", [1011, 1012])
def test_chosen_findings_are_those_of_the_whole(seed: int) -> None:
    made = simulate(random_plant(seed, meter_set="rich", hot_water=True), FIRST, DAYS)
    site, last = parse_site(made.site_toml), FIRST + timedelta(DAYS - 1)
    facts = build_facts(site, made.readings, FIRST, last)
    whole = [f.as_dict() for f in analyse(site, facts, FIRST, last).findings]
    for codes in (CODES[::2], CODES[1::2]):
        chosen = frozenset(codes)
        found = [f.as_dict() for f in findings_of(site, facts, FIRST, last, chosen)]
        keep = ("code", "severity", "since", "until", "confidence", "evidence")
        wanted = [{k: f[k] for k in keep} for f in whole if f["code"] in chosen]
        assert [{k: f[k] for k in keep} for f in found] == wanted
