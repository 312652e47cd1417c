"""Run due jobs: sites in parallel on worker processes; one failing site does not stop the others."""

from __future__ import annotations

import logging
import math
import os
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterable
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from fieldfare.analysis.errors import FieldfareError
from fieldfare.api.alerts.alerts import Alerts
from fieldfare.api.alerts.notices import Notices
from fieldfare.api.core.forecast import fetch_forecast
from fieldfare.api.core.service import Service
from fieldfare.api.core.settings import Settings
from fieldfare.api.core.site_guard import one_line
from fieldfare.api.jobs.due import (
    FIRM,
    Due,
    due_now,
    watch_now,
)
from fieldfare.api.jobs.executors import WorkFailed, contained, make_executor
from fieldfare.api.jobs.leases import JobLeases
from fieldfare.api.jobs.work import (
    ONLY_WATCHED,
    WATCHED,
    JobOutcome,
    work,
)
from fieldfare.api.records.retention import tidy

log = logging.getLogger(__name__)
LOOK_S, BEAT_S = 1.0, 60.0
WATCHES_A_WORKER = 30
"""A worker takes 1.3 s of a processor to start, as long as some 30 watches (bench_sweep, bench_live)."""
Work = Callable[[Settings, str, str, str], JobOutcome]


@dataclass
class Runner:
    """Runs jobs; `do` runs one site's job in a worker process.

    Once `stop` is set nothing new starts, and running jobs are released.
    """

    service: Service
    alerts: Alerts
    notices: Notices
    leases: JobLeases
    do: Work = work
    stop: threading.Event = field(default_factory=threading.Event)

    def tick(self, now: datetime | None = None) -> Counter[str]:
        """Run the due slow jobs. Return counts by end state."""
        moment = now or datetime.now(UTC)
        zones, firm = self._zones()
        settings = self.service.settings
        due = due_now(moment, zones, firm, settings.digest_hour, forecast=bool(settings.forecast_url))
        return self._run(due, moment)

    def watch(self, now: datetime | None = None) -> Counter[str]:
        """Run the watch, for findings that can't wait for the night."""
        moment = now or datetime.now(UTC)
        return self._run(watch_now(moment, self._zones()[0]), moment)

    def _run(self, due: Iterable[Due], now: datetime) -> Counter[str]:
        open_jobs = self.leases.open_of(due, now)
        ended: Counter[str] = Counter()
        of_sites = [d for d in open_jobs if d.site != FIRM]
        if of_sites:
            ended += self._run_sites(of_sites, now)
        for d in open_jobs:
            if d.site == FIRM and not self.stop.is_set() and (run := self.leases.claim(d, now)) is not None:
                ended[self._firm(run, d, now)] += 1
        return ended

    def _run_sites(self, open_jobs: list[Due], now: datetime) -> Counter[str]:
        ended: Counter[str] = Counter()
        most = self.service.settings.workers or os.cpu_count() or 1
        watches = sum(due.kind == "watch" for due in open_jobs)
        workers = min(most, len(open_jobs) - watches + math.ceil(watches / WATCHES_A_WORKER))
        suspects = self._side_by_side(list(reversed(open_jobs)), workers, now, ended)
        # One of the suspects killed its worker and the pool: run each in its own pool.
        for run, due in suspects:
            if self.stop.is_set():
                self.leases.give_back(run)
            else:
                ended[self._alone(run, due, now)] += 1
        return ended

    def _side_by_side(
        self, queue: list[Due], workers: int, now: datetime, ended: Counter[str]
    ) -> list[tuple[int, Due]]:
        """Run the queue on a pool, from its end. Return the running jobs when a worker died."""
        beaten = time.monotonic()
        running, suspects = dict[Future[JobOutcome], tuple[int, Due]](), list[tuple[int, Due]]()
        pool = make_executor(self.service.settings, workers)
        try:
            while queue or running:
                while queue and len(running) < workers:
                    due = queue.pop()
                    if (run := self.leases.claim(due, now)) is not None:
                        running[self._submit(pool, due)] = (run, due)
                done, _ = wait(running, timeout=LOOK_S, return_when=FIRST_COMPLETED)
                if self.stop.is_set():
                    break
                if time.monotonic() - beaten > BEAT_S:
                    self.leases.beat()
                    beaten = time.monotonic()
                broken = [f for f in done if isinstance(f.exception(), BrokenProcessPool)]
                for future in done:
                    run, due = running.pop(future)
                    if future in broken:
                        suspects.append((run, due))
                    else:
                        ended[self._finish(run, due, future, now)] += 1
                if broken:
                    pool.shutdown(wait=False)
                    pool = make_executor(self.service.settings, workers)
        finally:
            pool.shutdown(wait=not self.stop.is_set(), cancel_futures=True)
            for run, _ in running.values():
                self.leases.give_back(run)
        return suspects

    def _alone(self, run: int, due: Due, now: datetime) -> str:
        """Run one job on its own worker."""
        pool = make_executor(self.service.settings, 1)
        try:
            future = self._submit(pool, due)
            while not wait([future], timeout=BEAT_S).done:
                self.leases.beat()
            return self._finish(run, due, future, now)
        finally:
            pool.shutdown(wait=False, cancel_futures=True)

    def _submit(self, pool: Executor, due: Due) -> Future[JobOutcome]:
        try:
            return pool.submit(contained, self.do, self.service.settings, due.kind, due.site, due.key)
        except BrokenProcessPool as error:
            broken: Future[JobOutcome] = Future()
            broken.set_exception(error)
            return broken

    def _finish(self, run: int, due: Due, future: Future[JobOutcome], now: datetime) -> str:
        try:
            outcome = future.result()
            self._take_in(due, outcome, now)
        except WorkFailed as error:
            log.error("%s of %s failed: %s\n%s", due.kind, due.site, error, error.trace)
            self.leases.finish(run, "failed", str(error))
            return "failed"
        except Exception as error:  # the other sites must continue
            log.exception("%s of %s failed", due.kind, due.site)
            self.leases.finish(run, "failed", f"{type(error).__name__}: {one_line(error)}")
            return "failed"
        self.leases.finish(run, "done", outcome.summary)
        return "done"

    def _take_in(self, due: Due, outcome: JobOutcome, now: datetime) -> None:
        if not outcome.has_result:
            return
        if due.kind in ("night", "watch"):
            watched = due.kind == "watch"
            codes, spared = (WATCHED, frozenset[str]()) if watched else (None, ONLY_WATCHED)
            happened = self.alerts.look(due.site, outcome.findings, now, codes, spared)
            reported = {h.alert for h in happened if h.what in ("opened", "reopened", "worsened")}
            rows = [self.alerts.get(alert) for alert in sorted(reported)]
            if rows:
                self.notices.urgent(rows, now, self.service.sites.get(due.site).site.zone)
        elif due.kind == "month":
            site = self.service.sites.get(due.site).site
            self.notices.month(due.site, due.key, now, site.zone, site.site.language)

    def _firm(self, run: int, due: Due, now: datetime) -> str:
        try:
            if due.kind == "digest":
                happened = self.alerts.since(now - timedelta(days=1))
                live = self.alerts.page(0, 1, live=True)[1]
                count = self.notices.digest(due.key, happened, live, now, self._zones()[1])
                summary = f"{count} letters"
            elif due.kind == "forecast":
                summary = fetch_forecast(self.service, now).summary
            else:
                summary = tidy(self.service)
        except FieldfareError as error:
            log.warning("%s failed: %s", due.kind, error)
            self.leases.finish(run, "failed", str(error))
            return "failed"
        except Exception as error:
            log.exception("%s failed", due.kind)
            self.leases.finish(run, "failed", f"{type(error).__name__}: {error}")
            return "failed"
        self.leases.finish(run, "done", summary)
        return "done"

    def _zones(self) -> tuple[dict[str, ZoneInfo], ZoneInfo]:
        """Time zone of every site, and the firm's: that of most sites."""
        zones = {card.id: card.zone for card in self.service.sites.cards()}
        most = Counter(zone.key for zone in zones.values()).most_common(1)
        return zones, ZoneInfo(most[0][0]) if most else ZoneInfo("UTC")
