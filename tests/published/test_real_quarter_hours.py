"""One real heat pump's quarter hours: energy, starts and days as published, and heat not assessed.

Source: Brudermueller, Kreft, Fleisch, Staake (2023), Large-scale monitoring of residential heat pump cycling
    using smart
meter data, Applied Energy 350, 121734; data published with the paper under the MIT licence. Counts of
repeated rows and the rule "on above 0.1 kWh a quarter hour" are worked out from that file. The folder stands
beside the project; without it these tests are skipped.
"""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.result import Result, analyse
from fieldfare.collector.csv import ingest_csv
from fieldfare.collector.store.local import LocalStore

FILE = Path(__file__).parents[3] / "shared" / "data" / "swiss-heat-pump-15min-2021.csv"
pytestmark = pytest.mark.skipif(
    not FILE.exists(), reason="the folder with open data is not beside the project"
)

SITE = """
[site]
id = "quarter-hours"
name = "Quarter hours"
timezone = "Europe/Zurich"
[heat_pump]
rated_output_kw = 10.0
[csv]
time_column = "Timestamp"
timezone = "Europe/Zurich"
[[point]]
id = "hp"
quantity = "heat_pump_electricity"
as = "interval"
unit = "kWh"
column = "Energy_kWh"
[[point]]
id = "outdoor"
quantity = "outdoor_temperature"
as = "gauge"
unit = "degC"
column = "daily_avgTmp"
[limits]
# The published rule: on above 0.1 kWh in a quarter hour, which is 400 W; the data have 0.001 kWh.
running_above_w = 400.4
"""


@pytest.fixture(scope="module")
def site() -> Site:
    return parse_site(SITE)


@pytest.fixture(scope="module")
def result(site: Site, tmp_path_factory: pytest.TempPathFactory) -> Result:
    folder = tmp_path_factory.mktemp("real")
    store = LocalStore(folder / "readings")
    ingest_csv(site, FILE, store, rejects_dir=folder, now=datetime(2026, 1, 1, tzinfo=UTC), progress=None)
    first, last = date(2021, 1, 1), date(2021, 12, 31)
    facts = build_facts(site, store.read(site.id), first, last)
    store.close()
    return analyse(site, facts, first, last)


@pytest.fixture(scope="module")
def once() -> dict[str, float]:
    """The file's energies by its own time text, the first row of each: what the published figures rest on."""
    with FILE.open() as file:
        rows = [(r["Timestamp"], float(r["Energy_kWh"])) for r in csv.DictReader(file)]
    return dict(reversed(rows))


def test_the_year_adds_up_with_the_repeated_hour_kept(result: Result, once: dict[str, float]) -> None:
    # Days written twice count once; the hour that the clocks repeat in October is a real one and counts too.
    total = result.as_dict()["energy"]["electricity_kwh"]["total"]
    assert (
        sum(once.values()) <= total <= sum(once.values()) + 4 * 1.9
    )  # the largest quarter hour published: 1.818


def test_january_is_as_in_the_file(result: Result, once: dict[str, float]) -> None:
    january = sum(v for k, v in once.items() if k.startswith("2021-01"))
    months = {m["month"]: m for m in result.as_dict()["performance"]["by_month"]}
    assert months["2021-01"]["electricity_kwh"] == pytest.approx(january, rel=1e-4)
    assert len(result.as_dict()["performance"]["by_day"]) == 365


def test_starts_are_those_of_the_published_rule(result: Result, once: dict[str, float]) -> None:
    on = [v > 0.1 for _, v in sorted(once.items())]
    starts = sum(b and not a for a, b in zip([False, *on], on, strict=False))
    # Only the repeated October hour and the very first slot may differ.
    assert result.as_dict()["cycling"]["starts"] == pytest.approx(starts, abs=3)


def test_days_of_the_clock_change_have_their_own_length(result: Result) -> None:
    days = result.facts.days
    minutes = dict(zip(np.datetime_as_string(days["day"], unit="D"), days["minutes_total"], strict=True))
    assert minutes["2021-03-28"] == 23 * 60
    assert minutes["2021-10-31"] == 25 * 60
    assert minutes["2021-07-01"] == 24 * 60


def test_what_needs_heat_is_not_assessed(result: Result) -> None:
    document = result.as_dict()
    assert document["performance"]["H2"] is None
    assert "heat" in document["performance"]["reasons"]["H2"]
    assert document["heat_loss"]["coefficient_w_per_k"] is None
    assert document["heat_loss"]["reason"]
    assert document["energy"]["heat_kwh"]["total"] is None
