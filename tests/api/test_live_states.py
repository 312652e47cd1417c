"""Live states: rows survive a restart, continue, and end with their home."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from sqlalchemy import select, update

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Samples
from fieldfare.api.core import live_states
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.html.live_fleet import live_rows
from fieldfare.api.jobs.work import watch
from fieldfare.api.state.site_tables import LIVE_STATES, SITES
from tests.api.conftest import add_site
from tests.api.sites import site_text
from tests.api.web import OTHER, OWN


def minutes_of(site: str, start: int, count: int, power_w: float) -> dict[str, Samples]:
    """Minutes of the heat pump's electricity from a time on [ms]."""
    power = next(
        p
        for p in parse_site(site_text(site)).point
        if p.quantity == "heat_pump_electricity" and p.form == "power"
    )
    time = start + 60_000 * np.arange(count)
    return {power.id: Samples(time, np.full(count, power_w))}


@pytest.fixture
def two_homes(service: Service) -> Service:
    """Homes that ran in their last ten minutes."""
    for site in (OWN, OTHER):
        add_site(service, site)
        service.store.append(site, minutes_of(site, 1_800_000_000_000, 10, 1500.0))
    return service


def states_of(service: Service) -> dict[str, str]:
    return {row.id: row.state for row in service.live.rows()}


def test_kept_states_are_told_without_files_and_days(
    two_homes: Service, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert states_of(two_homes) == {OWN: "heating", OTHER: "heating"}
    with opened(settings) as later:
        monkeypatch.setattr(later.sites, "some", None)
        monkeypatch.setattr(later.store, "read", None)
        assert states_of(later) == {OWN: "heating", OTHER: "heating"}
        assert {row.name for row in later.live.rows()} == {"Alder Row", "Beech End"}


def test_a_state_goes_on_from_what_is_kept(two_homes: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    first = {row.id: row.told_at for row in two_homes.live.rows()}
    end = 1_800_000_000_000 + 25 * 60_000
    two_homes.store.append(OWN, minutes_of(OWN, end, 1, 8.0))
    starts: list[int] = []
    read = two_homes.store.read

    def watched(site: str, points: Any, start: int, stop: Any) -> Any:
        starts.append(start)
        return read(site, points, start, stop)

    monkeypatch.setattr(two_homes.store, "read", watched)
    assert states_of(two_homes) == {OWN: "rests", OTHER: "heating"}
    assert [end - s for s in starts] == [(15 + 16) * 60_000], "a quarter of an hour before what was read"
    assert {row.id: row.told_at for row in two_homes.live.rows()} == {**first, OWN: end}


def test_runs_that_came_late_end_a_stand_still(two_homes: Service) -> None:
    states_of(two_homes)
    start, day = 1_800_000_000_000, 86_400_000
    for time in (start + day // 2, start + day + 900_000):
        two_homes.store.append(OWN, minutes_of(OWN, time, 1, 8.0))
        states = states_of(two_homes)
    assert states[OWN] == "stands"
    two_homes.store.append(OWN, minutes_of(OWN, start + day - 600_000, 5, 1500.0))
    two_homes.store.append(OWN, minutes_of(OWN, start + day + 960_000, 1, 8.0))
    assert states_of(two_homes)[OWN] == "rests"


def test_a_view_ends_in_time_and_the_next_goes_on(
    two_homes: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live_states, "_AT_ONCE", 1)
    assert sorted(row.state for row in two_homes.live.rows(seconds=0.0)) == ["heating", "waiting"]
    assert [row.state for row in two_homes.live.rows(seconds=0.0)] == ["heating", "heating"]


def test_a_changed_site_file_is_read_anew(two_homes: Service) -> None:
    states_of(two_homes)
    text = site_text(OWN).replace("[heat_pump]", "[limits]\nrunning_above_w = 5000.0\n\n[heat_pump]", 1)
    two_homes.sites.add([(text, parse_site(text))])
    assert states_of(two_homes) == {OWN: "rests", OTHER: "heating"}


def test_the_watch_keeps_states_and_a_home_takes_its_own_along(two_homes: Service) -> None:
    watch(two_homes, two_homes.sites.get(OWN), datetime.fromtimestamp(1_800_000_600, UTC))
    chosen = select(LIVE_STATES.c.site, LIVE_STATES.c.state)
    with two_homes.database.reading() as db:
        assert [tuple(row) for row in db.execute(chosen)] == [(OWN, "heating")]
    two_homes.sites.remove(OWN)
    with two_homes.database.reading() as db:
        assert db.execute(chosen).all() == []


def test_a_site_file_that_can_t_be_read_is_told(two_homes: Service) -> None:
    with two_homes.database.writing() as db:
        db.execute(update(SITES).where(SITES.c.id == OWN).values(file="[site", updated=datetime.now(UTC)))
    assert states_of(two_homes) == {OWN: "unknown", OTHER: "heating"}
    told = {row["id"]: row["text"] for row in live_rows(AppState(two_homes))}
    assert "kept site file" in told[OWN]


def test_a_home_without_readings_is_named(service: Service) -> None:
    add_site(service, OWN)
    (row,) = service.live.rows()
    assert (row.name, row.state, row.time, row.told_at) == ("Alder Row", "unknown", None, None)
    service.store.append(OWN, minutes_of(OWN, 1_800_000_000_000, 10, 1500.0))
    assert states_of(service) == {OWN: "heating"}
