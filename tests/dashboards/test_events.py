"""Links from a finding to its event, and to the next event."""

from __future__ import annotations

import re
from datetime import datetime
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest

from fieldfare.analysis.minutes.operating_state import HOT_WATER
from fieldfare.dashboards import pages
from fieldfare.dashboards.rows.events import (
    DAY,
    event_of_finding,
    events_of,
    kinds_of,
    marked,
    step_from,
    view_of,
)
from tests.dashboards.conftest import INSTALLER, NOW, Plant
from tests.dashboards.test_pages import sound

FINDING = {"code": "short_cycling", "since": "2024-11-02", "until": None}


def test_a_finding_leads_to_an_event_of_its_days(full: Plant) -> None:
    zone = full.site.zone
    event = event_of_finding(full.facts, zone, FINDING)
    runs = events_of(full.facts, "run")
    row = int(np.searchsorted(runs["start"], event.start))
    assert runs["start"][row] == event.start
    assert runs["use"][row] != HOT_WATER
    inside = runs["day"] >= np.datetime64("2024-11-02")
    assert event.minutes <= np.median(runs["minutes"][inside]), "a short run shows short cycling"
    ended = event_of_finding(full.facts, zone, FINDING | {"until": "2024-11-20"})
    assert datetime.fromtimestamp(ended.start / 1000, zone).date().isoformat() <= "2024-11-20"


def test_a_finding_without_events_leads_to_its_first_day(full: Plant) -> None:
    zone = full.site.zone
    event = event_of_finding(full.facts, zone, FINDING | {"code": "high_standby"})
    assert event.kind == DAY
    assert datetime.fromtimestamp(event.start / 1000, zone).isoformat()[:16] == "2024-11-02T00:00"


def test_an_address_leads_back_to_the_same_event(full: Plant) -> None:
    zone = full.site.zone
    event = event_of_finding(full.facts, zone, FINDING)
    query = {k: v[0] for k, v in parse_qs(urlsplit(event.address(zone)).query).items()}
    found = marked(full.facts, zone, query["mark"])
    assert found == event
    first, last = view_of(query["view"]) or (None, None)
    begin = datetime.fromtimestamp(event.start / 1000, zone).replace(tzinfo=None)
    assert first is not None
    assert last is not None
    assert first < begin < last


@pytest.mark.parametrize("bad", ["", "run", "run.", "run.x", "run.1", "sun.5", "run.99999999999999", "day.²"])
def test_a_mark_that_names_nothing_marks_nothing(full: Plant, bad: str) -> None:
    assert marked(full.facts, full.site.zone, bad) is None


@pytest.mark.parametrize(
    "bad", ["", "x--y", "2024-11-02T10:00--2024-11-02T09:00", "0001-01-01T00:00--9999-01-01T00:00"]
)
def test_a_view_that_is_none_is_left_out(bad: str) -> None:
    assert view_of(bad) is None


def test_stepping_visits_every_event_once_in_order(full: Plant) -> None:
    zone = full.site.zone
    assert {"run", "reheat"} <= set(kinds_of(full.facts))
    for kind in kinds_of(full.facts):
        table, seen, at = events_of(full.facts, kind), [], 0
        while (event := step_from(full.facts, zone, kind, at, 1)) is not None:
            seen.append(event.start)
            at = event.start
            assert event.place == len(seen)
        assert seen == table["start"].tolist()
        back = step_from(full.facts, zone, kind, at, -1)
        assert back is not None
        assert back.start == seen[-2]
        assert step_from(full.facts, zone, kind, seen[0], -1) is None


def test_the_page_of_a_shared_address_marks_the_event(cycling: Plant) -> None:
    event = event_of_finding(cycling.facts, cycling.site.zone, FINDING)
    plain = sound(pages.site_page(cycling.row(), cycling.facts, [], INSTALLER, {}, NOW))
    link = re.search(r'<a href="([^"]+)" data-event-of=', plain)
    assert link is not None
    assert event.mark in link[1]
    query = {"mark": event.mark, "view": event.view(cycling.site.zone)}
    page = sound(pages.site_page(cycling.row(), cycling.facts, [], INSTALLER, query, NOW))
    assert f'data-view="{query["view"]}"' in page
    assert f"{event.words}." in page


def test_point_ids_stay_off_the_page(full: Plant) -> None:
    page = sound(pages.site_page(full.row(), full.facts, [], INSTALLER, {}, NOW))
    told = re.sub(r"<[^>]+>", " ", page)
    for point in full.site.point:
        if "_" in point.id:
            assert point.id not in told
    quality = page.split('id="data"')[1].split("<h2")[0]
    names = re.findall(r'<th scope="row">([^<]+)</th>', quality)
    assert len(names) == len(set(names)) == len(full.site.point)
