"""Remaining hours of the newest day are not a gap."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.unfinished import gap_minutes, minutes_to_come
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated.plant import random_plant, simulate
from fieldfare.dashboards.rows.days import day_rows

FIRST = date(2025, 1, 6)


@pytest.mark.parametrize("hours", [24, 9, 0.5])
def test_a_day_that_is_not_over_is_no_gap(hours: float) -> None:
    made = simulate(random_plant(7, meter_set="full"), FIRST, 12)
    site = parse_site(made.site_toml)
    last = FIRST + timedelta(days=11)
    midnight = datetime.combine(last, datetime.min.time(), site.zone)
    cut = int((midnight + timedelta(hours=hours)).timestamp() * 1000)
    readings = {p: s.between(0, cut) for p, s in made.readings.items()}
    facts = build_facts(site, readings, FIRST, last)
    to_come = minutes_to_come(facts, site.zone)
    if hours == 24:
        assert to_come == 0
    else:
        assert to_come == pytest.approx(1440 - 60 * hours, abs=16)
    gaps = gap_minutes(facts, site.zone)[facts.notices["day"] == facts.days["day"][-1]]
    assert gaps.sum() <= 60.0
    result = analyse(site, facts, FIRST, last).as_dict()
    assert result["coverage"]["share"] > 0.98
    newest = day_rows(facts, site.zone)[-1]
    assert newest["so_far"] is (hours < 24)
    if hours == 9:
        assert newest["known"] > 0.95
