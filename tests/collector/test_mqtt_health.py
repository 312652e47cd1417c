"""Silence is judged against each point's own rhythm."""

import numpy as np
import pytest

from fieldfare.analysis.readings import Samples
from fieldfare.collector.mqtt.decode import StatusSeen
from fieldfare.collector.mqtt.health import (
    Arrivals,
    forget,
    reporting_interval,
    site_health,
    write_statuses,
)
from fieldfare.collector.mqtt.journal import Journal
from fieldfare.collector.store.local import LocalStore
from tests.services import make_site

NOW = 1_767_225_600_000
MINUTE = 60_000


@pytest.fixture
def book(tmp_path):
    opened = Journal(tmp_path)
    yield opened
    opened.close()


@pytest.fixture
def store(tmp_path):
    opened = LocalStore(tmp_path / "readings")
    yield opened
    opened.close()


def every(step, count, end=NOW):
    times = end - np.arange(count)[::-1] * step
    return Samples(times.astype(np.int64), np.zeros(count))


@pytest.mark.parametrize(
    ("step", "usual", "silent_after"),
    [
        (10_000, 10_000, 10 * MINUTE),  # never before ten minutes
        (5 * MINUTE, 5 * MINUTE, 25 * MINUTE),
        (60 * MINUTE, 60 * MINUTE, 300 * MINUTE),
    ],
)
def test_a_steady_point(step, usual, silent_after):
    assert reporting_interval(every(step, 100)) == (usual, silent_after)


def test_a_point_that_speaks_on_change_is_used_to_long_pauses():
    gaps = np.tile([MINUTE, MINUTE, 600 * MINUTE], 30)
    times = NOW - np.cumsum(gaps)[::-1]
    usual, after = reporting_interval(Samples(times, np.zeros(len(times))))
    assert usual == MINUTE
    assert after == 1200 * MINUTE


def test_too_few_readings_have_no_rhythm():
    assert reporting_interval(every(MINUTE, 2)) == (None, None)
    assert reporting_interval(None) == (None, None)


def test_each_point_of_a_site_is_judged_by_its_own(book, store):
    site = make_site()
    quiet = NOW + 30 * MINUTE
    store.append(
        "alder-row", {"flow": every(MINUTE, 2000), "rate": every(60 * MINUTE, 50), "energy": every(MINUTE, 2)}
    )
    health = site_health(book, store, site, quiet)
    by_point = {p.point: p for p in health.points}
    assert health.silent == ("flow",)
    assert by_point["rate"].silent_for == 30 * MINUTE
    assert by_point["energy"].silent is False
    assert by_point["mode"].last is None
    assert health.last == NOW
    assert health.online is None


def test_births_and_wills_move_since_only_when_they_change(book, store):
    for online, arrived in [(True, 1000), (True, 2000), (False, 3000), (False, 4000)]:
        with book.writing() as db:
            write_statuses(db, [StatusSeen("alder-row", online, arrived)])
    health = site_health(book, store, make_site(), NOW)
    assert (health.online, health.since) == (False, 3000)


def test_late_readings_are_counted_for_their_days_and_lag_shows_a_fast_clock(book, store):
    arrivals = Arrivals()
    day = NOW // 86_400_000
    late = Samples(np.array([NOW - 86_400_000, NOW - 86_400_000 + MINUTE, NOW - MINUTE]), np.zeros(3))
    arrivals.record("alder-row", {"flow": late}, NOW)
    arrivals.record("alder-row", {"rate": every(MINUTE, 1, NOW + 5 * MINUTE)}, NOW)
    with book.writing() as db:
        arrivals.write(db, NOW)
    arrivals.record("alder-row", {"flow": every(MINUTE, 1, NOW - 86_400_000)}, NOW)
    with book.writing() as db:
        arrivals.write(db, NOW)
    health = site_health(book, store, make_site(), NOW)
    by_point = {p.point: p for p in health.points}
    assert health.late_days == {day - 1: 3}
    assert by_point["flow"].late == 3
    assert by_point["rate"].lag == -5 * MINUTE


def test_a_forgotten_site_leaves_nothing(book, store):
    arrivals = Arrivals()
    arrivals.record("alder-row", {"flow": every(MINUTE, 3)}, NOW)
    with book.writing() as db:
        arrivals.write(db, NOW)
        write_statuses(db, [StatusSeen("alder-row", True, NOW)])
    forget(book, "alder-row")
    for table in ("seen", "late_days", "status", "aside"):
        assert book.db.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)
