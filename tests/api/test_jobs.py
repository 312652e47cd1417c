"""Jobs: due times, run once, made up once, taken over after a kill, and isolated by site."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fieldfare.analysis.readings import Samples
from fieldfare.api.alerts.alerts import Alerts
from fieldfare.api.alerts.notices import Notices
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.jobs.due import (
    Due,
    due_now,
    is_on_the_hour,
    month_of,
    night_of,
    watch_now,
    winter_of,
)
from fieldfare.api.jobs.leases import (
    AGAIN_AFTER,
    LOST_AFTER,
    MOST_ATTEMPTS,
    JobLeases,
)
from fieldfare.api.jobs.runner import Runner
from fieldfare.api.jobs.work import (
    JobOutcome,
    night,
    silence,
    watch,
)
from fieldfare.api.state.work_tables import JobRun
from tests.api.conftest import add_site
from tests.api.failing_work import pretend
from tests.api.sites import readings

LONDON, AUCKLAND = ZoneInfo("Europe/London"), ZoneInfo("Pacific/Auckland")
NOON = datetime(2026, 1, 12, 12, tzinfo=UTC)


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize(
    ("now", "zone", "night"),
    [
        ("2026-01-12T03:09", LONDON, "2026-01-11"),
        ("2026-01-12T03:10", LONDON, "2026-01-12"),
        ("2026-07-12T02:09", LONDON, "2026-07-11"),
        ("2026-07-12T02:10", LONDON, "2026-07-12"),
        ("2026-01-12T14:10", AUCKLAND, "2026-01-13"),
    ],
)
def test_a_night_comes_at_ten_past_three_where_the_site_is(now: str, zone: ZoneInfo, night: str) -> None:
    assert night_of(at(now), zone) == night


def test_every_night_of_a_year_with_its_clock_changes_comes_once() -> None:
    moments = [at("2026-01-01T00:00") + n * timedelta(minutes=20) for n in range(365 * 72)]
    seen = [night_of(m, LONDON) for m in moments]
    assert len(set(seen)) == 366
    assert seen == sorted(seen)


@pytest.mark.parametrize(
    ("now", "month"),
    [("2026-02-02T05:59", "2025-12"), ("2026-02-02T06:00", "2026-01"), ("2026-02-28T12:00", "2026-01")],
)
def test_a_month_is_told_on_the_second(now: str, month: str) -> None:
    assert month_of(at(now), LONDON) == month


def test_winter_checks_are_due_in_autumn() -> None:
    assert winter_of(at("2026-08-31T12:00"), LONDON) is None
    assert winter_of(at("2026-09-01T00:30"), LONDON) == "2026"
    assert winter_of(at("2026-12-01T12:00"), LONDON) is None


def test_the_digest_comes_after_the_nights() -> None:
    kinds = [d.kind for d in due_now(NOON, {"elm": LONDON}, LONDON, 7)]
    assert kinds.index("night") < kinds.index("digest")
    before = [d.kind for d in due_now(at("2026-01-12T06:59"), {"elm": LONDON}, LONDON, 7)]
    assert "digest" not in before


def test_the_watch_is_due_every_quarter_of_an_hour() -> None:
    keys = [next(watch_now(NOON + n * timedelta(minutes=5), {"elm": LONDON})).key for n in range(24)]
    assert len(dict.fromkeys(keys)) == 8
    assert keys[2:4] == ["2026-01-12T12:00Z", "2026-01-12T12:15Z"]


DUE = Due("night", "elm", "2026-01-12")


@pytest.fixture
def book(either_service: Service) -> JobLeases:
    return JobLeases(either_service.database)


def test_work_is_claimed_by_one_and_done_once(book: JobLeases) -> None:
    run = book.claim(DUE, NOON)
    assert run is not None
    assert book.claim(DUE, NOON + timedelta(minutes=1)) is None
    book.finish(run, "done", "all well")
    assert book.claim(DUE, NOON + timedelta(days=1)) is None
    assert book.open_of([DUE], NOON) == []


def test_failed_work_is_tried_again_later_and_then_given_up(either_service: Service) -> None:
    now = NOON
    book = JobLeases(either_service.database, lambda: now)
    for attempt in range(MOST_ATTEMPTS):
        run = book.claim(DUE, now)
        assert run is not None, attempt
        book.finish(run, "failed", "broken")
        assert book.open_of([DUE], now) == []
        now += AGAIN_AFTER + timedelta(minutes=1)
    assert book.open_of([DUE], now + timedelta(days=1)) == []


def test_another_machine_s_work_is_taken_over_when_it_falls_silent(
    book: JobLeases, either_service: Service
) -> None:
    book.worker = "elsewhere:1:abc"
    assert book.claim(DUE, NOON) is not None
    other = JobLeases(either_service.database)
    assert other.claim(DUE, NOON + LOST_AFTER - timedelta(seconds=1)) is None
    assert other.claim(DUE, NOON + LOST_AFTER + timedelta(seconds=1)) is not None


def test_work_that_was_given_back_is_open_again(book: JobLeases) -> None:
    run = book.claim(DUE, NOON)
    assert run is not None
    book.give_back(run)
    assert book.open_of([DUE], NOON) == [DUE]


NOW = datetime.now(UTC)


def runner(service: Service, do: object = pretend) -> Runner:
    database = service.database
    notices = Notices(database, service.settings)
    return Runner(service, Alerts(database), notices, JobLeases(database), do)  # type: ignore[arg-type]


def test_one_failing_site_never_stops_the_others(service: Service) -> None:
    for site in ("alder-row", "beech-end", "cedar-side", "elm"):
        add_site(service, site)
    made = runner(service)
    made.tick(NOW)
    nights = {r.site: r for r in made.leases.page(0, 100, kind="night")[0]}
    assert nights["alder-row"].state == nights["elm"].state == "done"
    assert nights["beech-end"].state == "failed"
    assert "the file is torn" in nights["beech-end"].told
    assert nights["cedar-side"].state == "failed"
    (alert,) = made.alerts.page(0, 10)[0]
    assert (alert.site, alert.code, alert.state) == ("alder-row", "frost_risk", "open")


def test_missed_nights_are_caught_up_once(service: Service) -> None:
    add_site(service, "elm")
    made = runner(service)
    before = NOW - timedelta(days=9)
    made.tick(before)
    assert made.tick(before) == Counter()
    made.tick(NOW)
    keys = [r.due for r in made.leases.page(0, 100, kind="night")[0]]
    assert keys == [night_of(NOW, LONDON), night_of(before, LONDON)]


def test_nothing_new_begins_once_the_service_stops(service: Service) -> None:
    add_site(service, "elm")
    made = runner(service)
    made.stop.set()
    made.tick(NOW)
    assert made.leases.page(0, 10, kind="digest")[1] == 0


def test_the_night_of_a_real_site(plant_here: Service) -> None:
    outcome = night(plant_here, plant_here.sites.get("alder-row"))
    assert outcome.has_result
    assert outcome.summary.startswith("2026-01-05 to 2026-01-08")
    kept = plant_here.results.newest("alder-row")
    assert kept is not None
    assert kept["period"]["to"] == "2026-01-08"


def test_a_site_without_readings_has_a_quiet_night(service: Service) -> None:
    add_site(service, "elm")
    assert night(service, service.sites.get("elm")) == JobOutcome("no readings yet")


def test_silence_is_found_by_the_hour(plant_here: Service) -> None:
    plant = plant_here.sites.get("alder-row")
    heard = datetime(2026, 1, 8, 23, 59, tzinfo=UTC)
    assert [f["code"] for f in watch(plant_here, plant, heard + timedelta(hours=5)).findings] != ["silence"]
    (found,) = watch(plant_here, plant, heard + timedelta(hours=7)).findings
    assert (found["code"], found["severity"]) == ("silence", "watch")
    (found,) = watch(plant_here, plant, heard + timedelta(days=3)).findings
    assert found["severity"] == "act"
    assert silence(timedelta(hours=5)) is None


def test_between_the_hours_only_a_unit_that_may_have_stopped_is_checked(plant_here: Service) -> None:
    plant = plant_here.sites.get("alder-row")
    found = plant_here.store.read("alder-row")
    end = max(int(s.time[-1]) for s in found.values())
    heard = datetime.fromtimestamp(end / 1000, UTC)

    def told(drawn_w: float, minutes: int, later: timedelta = timedelta(0)) -> JobOutcome:
        time = np.arange(end - minutes * 60_000 + 60_000, end + 1, 60_000)
        plant_here.store.append("alder-row", {"elec": Samples(time, np.full(len(time), drawn_w))})
        return watch(plant_here, plant, heard + later, whole=False)

    works = told(1800.0, 40)
    assert (works.summary.split(",")[0], works.has_result) == ("the unit works", False)
    assert told(8.0, 25).summary.startswith("the unit works")
    stopped = told(8.0, 31)
    assert stopped.has_result, stopped
    nothing_new = told(8.0, 31, timedelta(minutes=31))
    assert (nothing_new.summary.split(",")[0], nothing_new.has_result) == ("nothing new", False)
    silent = told(8.0, 31, timedelta(hours=7))
    assert [f["code"] for f in silent.findings] == ["silence"]


@pytest.mark.parametrize(("minute", "whole"), [(0, True), (4, True), (15, False), (59, False)])
def test_the_first_watch_of_an_hour_checks_everything(minute: int, whole: bool) -> None:
    (due,) = watch_now(NOON + minute * timedelta(minutes=1), {"elm": LONDON})
    assert is_on_the_hour(due.key) == whole


SERVE = """
import sys
from pathlib import Path
from fieldfare.api.running.serve import serve
from fieldfare.api.core.settings import Settings
serve(Settings(data=Path(sys.argv[1]), port=0, workers=1), announce=print)
"""


def start_service(data: Path, log: Path) -> subprocess.Popen[bytes]:
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    with log.open("ab") as out:
        return subprocess.Popen(
            [sys.executable, "-c", SERVE, str(data)], stdout=out, stderr=out, env=environment
        )


def nights_in(settings: Settings) -> list[JobRun]:
    with opened(settings) as service, service.database.read() as session:
        return list(session.query(JobRun).filter(JobRun.kind == "night"))


def wait_until(found: object, seconds: float, log: Path) -> None:
    until = time.monotonic() + seconds
    while not found():  # type: ignore[operator]
        assert time.monotonic() < until, log.read_text(errors="replace")[-3000:]
        time.sleep(0.1)


def test_a_killed_night_is_complete_once_after_the_restart(settings: Settings, tmp_path: Path) -> None:
    sites = [f"home-{n}" for n in range(6)]
    with opened(settings) as service:
        for site in sites:
            add_site(service, site)
            service.store.append(site, readings(20))
    log = tmp_path / "log"
    process = start_service(settings.data, log)
    try:
        wait_until(lambda: Counter(r.state for r in nights_in(settings))["done"] >= 2, 60, log)
        process.send_signal(signal.SIGKILL)
        process.wait(10)
        left = {r.site: r.state for r in nights_in(settings)}
        assert Counter(left.values())["done"] < len(sites), "the kill came too late to show anything"
        process = start_service(settings.data, log)
        wait_until(lambda: Counter(r.state for r in nights_in(settings))["done"] == len(sites), 60, log)
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(30)
    runs = nights_in(settings)
    assert sorted(r.site for r in runs) == sites
    done_before = {site for site, state in left.items() if state == "done"}
    assert all(r.attempts == 1 for r in runs if r.site in done_before)
    assert all(r.attempts <= 2 for r in runs)
    with opened(settings) as service:
        assert all(service.results.newest(site) is not None for site in sites)
    assert process.returncode == 0
