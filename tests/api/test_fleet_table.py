"""The fleet table: written with results, ordered like the list in memory, never out of date."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import chain, product
from typing import Any

import numpy as np
import pytest
from sqlalchemy import func, select

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Samples
from fieldfare.api.alerts.decisions import HandlingRow
from fieldfare.api.alerts.handling import Handlings
from fieldfare.api.core.fleet_rows import fleet_rows
from fieldfare.api.core.fleet_table import Chosen
from fieldfare.api.core.results import Results
from fieldfare.api.core.service import Service
from fieldfare.api.people.access import COMMAND_LINE
from fieldfare.api.records.erasure import erase_site
from fieldfare.api.state.site_tables import FLEET_SUMMARIES
from fieldfare.dashboards.fleet.choice import SHOWS, SORTS, asked_of, counts_of, fitting
from fieldfare.dashboards.fleet.entries import worst_first
from tests.api.sites import site_text
from tests.api.test_fleet_screens import document, keep

HOMES = [f"home-{n}" for n in range(6)]
SEVERITIES = ("act", "watch", "urgent", "watch", "act")


@pytest.fixture
def fleet(either_service: Service) -> Service:
    """Six homes: five with a result, one of them silent for a day, the last without anything."""
    service = either_service
    service.sites.add([(t, parse_site(t)) for t in (site_text(site) for site in HOMES)])
    now = round(datetime.now(UTC).timestamp() * 1000)
    for n, (site, severity) in enumerate(zip(HOMES, SEVERITIES, strict=False)):
        heard = np.array([now - (86_400_000 if n == 1 else 60_000 * n)])
        service.store.append(site, {"outdoor": Samples(heard, np.array([5.0]))})
        made = document(severity)
        made["findings"][0]["cost_per_year"]["electricity_kwh"] = 100.0 * n
        made["performance"] = {"H4": {"value": 4.0 - 0.3 * n}} if n != 3 else {}
        keep(service, site, made)
    return service


def _listed(service: Service, **query: str) -> list[str]:
    service.fleet.refresh()
    return [row["id"] for row in service.fleet.rows(Chosen(asked_of(query)))]


def _in_hand(site: str, until: datetime, state: str = "in_hand") -> HandlingRow:
    now = datetime.now(UTC)
    return HandlingRow(site, "short_cycling", state, "urgent", "Kim", until, "", "Kim", now, None)


def test_the_database_lists_as_memory_does(fleet: Service) -> None:
    Handlings(fleet.database).decide(_in_hand("home-2", datetime.now(UTC) + timedelta(days=3)), COMMAND_LINE)
    fleet.fleet.refresh()
    entries = worst_first(fleet.fleet.rows(Chosen()), fleet.fleet.now())
    assert len(entries) == len(HOMES)
    assert fleet.fleet.counts() == counts_of(entries)
    for (sort, _), (show, _) in product(SORTS, SHOWS):
        asked = asked_of({"sort": sort, "show": show})
        expected = [e["id"] for e in fitting(entries, asked)]
        chosen = Chosen(asked)
        assert [row["id"] for row in fleet.fleet.rows(chosen)] == expected, (sort, show)
        assert fleet.fleet.total(chosen) == len(expected)
        parts = [[r["id"] for r in fleet.fleet.rows(chosen, offset=n, limit=2)] for n in (0, 2, 4)]
        assert list(chain(*parts)) == expected


def test_lists_open_no_results(fleet: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    fleet_rows(fleet)

    def opened(*args: Any) -> None:
        raise AssertionError("a list opened a result")

    for name in ("newest", "document"):
        monkeypatch.setattr(Results, name, opened)
    monkeypatch.setattr(type(fleet.fleet), "_of_newest", opened)
    assert next(row["id"] for row in fleet_rows(fleet)) == "home-2", "urgent"
    assert _listed(fleet, q="HOME-3") == ["home-3"]


def test_a_decision_moves_a_home_at_once_and_only_until_it_ends(fleet: Service) -> None:
    assert _listed(fleet)[0] == "home-2"
    handlings = Handlings(fleet.database)
    handlings.decide(_in_hand("home-2", datetime.now(UTC) + timedelta(days=3)), COMMAND_LINE)
    assert _listed(fleet)[0] != "home-2"
    assert _listed(fleet, show="dealt") == ["home-2"]
    handlings.undo("home-2", "short_cycling", COMMAND_LINE)
    assert _listed(fleet)[0] == "home-2"
    handlings.decide(_in_hand("home-2", datetime.now(UTC) - timedelta(seconds=1)), COMMAND_LINE)
    assert _listed(fleet)[0] == "home-2", "it has ended"


def test_a_row_is_good_until_its_home_falls_silent_or_a_decision_ends(fleet: Service) -> None:
    ends = datetime.now(UTC) + timedelta(hours=2)
    Handlings(fleet.database).decide(_in_hand("home-2", ends), COMMAND_LINE)
    fleet.fleet.refresh()
    with fleet.database.reading() as db:
        rows = select(FLEET_SUMMARIES.c.site, FLEET_SUMMARIES.c.good_until)
        until = {row.site: row.good_until for row in db.execute(rows)}
    assert until["home-2"] == ends
    left = (until["home-0"] - datetime.now(UTC)) / timedelta(hours=1)
    assert left == pytest.approx(6.0, abs=0.1), "the first limit of silence"
    left = (until["home-1"] - datetime.now(UTC)) / timedelta(hours=1)
    assert left == pytest.approx(24.0, abs=0.1), "48 hours, of which a day has passed"


def test_a_silent_home_that_is_heard_again_shows_at_once(fleet: Service) -> None:
    assert _listed(fleet, show="silent") == ["home-1"]
    now = np.array([round(datetime.now(UTC).timestamp() * 1000)])
    fleet.store.append("home-1", {"outdoor": Samples(now, np.array([5.0]))})
    assert _listed(fleet, show="silent") == []


def test_a_new_file_and_a_new_result_show_at_once(fleet: Service) -> None:
    text = site_text("home-0").replace('name = "', 'name = "Zeal ', 1)
    fleet.sites.add([(text, parse_site(text))])
    assert _listed(fleet, sort="name")[-1] == "home-0"
    keep(fleet, "home-5", document("act"))
    assert fleet.fleet.total(Chosen(waiting=True)) == 0


def test_removal_and_erasure_take_the_row(fleet: Service) -> None:
    _listed(fleet)
    fleet.sites.remove("home-4")
    erase_site(fleet, "home-3")
    with fleet.database.reading() as db:
        assert db.scalar(select(func.count()).select_from(FLEET_SUMMARIES)) == len(HOMES) - 2
    assert not {"home-3", "home-4"} & set(_listed(fleet))


def test_a_home_that_fails_keeps_its_reason(fleet: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*args: Any) -> None:
        raise OSError(5, "Input/output error", "kept")

    with monkeypatch.context() as m:
        m.setattr("fieldfare.api.core.fleet_table.pack_result", fails)
        text = site_text("home-0") + "\n"
        fleet.sites.add([(text, parse_site(text))])
        first = fleet_rows(fleet)[0]
        assert (first["id"], first["failed"], first["reason"]) == ("home-0", True, "kept: Input/output error")
    again = fleet_rows(fleet)[0]
    assert (again["id"], again["failed"]) == ("home-0", True), "kept"
