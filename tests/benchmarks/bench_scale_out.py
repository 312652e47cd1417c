"""A night on a cluster of 1, 2 and 4 workers, one that loses a worker, and many writers on one PostgreSQL.

    python -m tests.benchmarks.bench_scale_out [--sites 200] [--workers 1,2,4] [--writers 1,20] [--rows 400]
    [--json FILE]

The cluster is Dask's own, scheduler and workers as processes of this machine; each night brings facts and
result of every site up to date after one more day of minutes. In the last night a worker is killed when a
quarter is done. Four plants are shared by all sites, so results of one plant must be equal. Writers are
threads of up to four processes: each claims pieces of work in an order of its own and keeps a result for each
that it got; every piece must be done once.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import multiprocessing
import os
import random
import shutil
import signal
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor, as_completed
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from sqlalchemy import func, select

from fieldfare.analysis.minutes.grid import local_midnight
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Readings
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.jobs.due import Due
from fieldfare.api.jobs.executors import ClusterExecutor
from fieldfare.api.jobs.leases import JobLeases
from fieldfare.api.jobs.work import work
from fieldfare.api.state.site_tables import KEPT_RESULTS
from fieldfare.collector.simulated.plant import random_plant, simulate
from tests.api.postgres import new_database, postgres
from tests.benchmarks.bench_sweep import collect
from tests.benchmarks.yardstick import Cost, measured, pace

FIRST, HISTORY, PLANTS = date(2024, 11, 1), 14, 4
WRITER_PROCESSES = 4


class Night(NamedTuple):
    """One site's night in a worker. mark : of its result but for the site's own name"""

    site: str
    cost: Cost
    mark: str
    worker: int


def one_night(settings: Settings, site: str) -> Night:
    cost, _ = measured(lambda: work(settings, "night", site, "bench"))
    with opened(settings) as service:
        document = service.results.newest(site)
    assert document is not None
    text = json.dumps(document, sort_keys=True).replace(site, "")
    return Night(site, cost, hashlib.blake2b(text.encode()).hexdigest(), os.getpid())


def warm(number: int) -> int:
    """Imports what a night needs, on each worker: none of them is idle for so long. Returns its process."""
    from fieldfare.analysis.facts import build  # noqa: F401
    from fieldfare.analysis.reports import result  # noqa: F401
    from fieldfare.dashboards.fleet import winter  # noqa: F401

    time.sleep(1.0 + 0 * number)
    return os.getpid()


class Fleet:
    """Sites on shared plants, of which one more day is collected at a time."""

    def __init__(self, folder: Path, sites: int, nights: int) -> None:
        self.settings, self.day = Settings(data=folder), FIRST + timedelta(HISTORY)
        plants = [random_plant(seed, meter_set="rich", every_s=60) for seed in range(PLANTS)]
        self._plants = [simulate(plant, FIRST, HISTORY + nights + 1) for plant in plants]
        self.sites = [f"site-{n:04d}" for n in range(sites)]
        with opened(self.settings) as service:
            for n, name in enumerate(self.sites):
                toml = self._plants[n % PLANTS].site_toml
                toml = toml.replace(f'id = "{parse_site(toml).id}"', f'id = "{name}"', 1)
                service.sites.add([(toml, parse_site(toml))])
                service.store.append(name, self._between(n, FIRST, self.day))

    def _between(self, number: int, first: date, end: date) -> Readings:
        plant = self._plants[number % PLANTS]
        site = parse_site(plant.site_toml)
        a, b = local_midnight(site, first), local_midnight(site, end)
        return {k: s.between(a, b) for k, s in plant.readings.items()}

    def next_day(self) -> None:
        with opened(self.settings) as service:
            for n, name in enumerate(self.sites):
                collect(service.store, name, self._between(n, self.day, self.day + timedelta(1)))
        self.day += timedelta(1)


def night(fleet: Fleet, workers: int, *, lose: bool = False) -> dict[str, Any]:
    """A night of every site on so many workers. lose : kill one of them when a quarter is done"""
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=workers, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, silence_logs=50
    ) as cluster:
        executor = ClusterExecutor(cluster.scheduler_address)
        workers_there = {f.result() for f in [executor.submit(warm, n) for n in range(4 * workers)]}
        begin = time.perf_counter()
        futures = [executor.submit(one_night, fleet.settings, site) for site in fleet.sites]
        nights: list[Night] = []
        for future in as_completed(futures):
            nights.append(future.result())
            if lose and len(nights) == len(futures) // 4:
                os.kill(min(workers_there), signal.SIGKILL)
        wall = time.perf_counter() - begin
        executor.shutdown(wait=True)
    plant_of = {site: n % PLANTS for n, site in enumerate(fleet.sites)}
    marks = {(plant_of[n.site], n.mark) for n in nights}
    spent = sum(n.cost.spent for n in nights)
    return {
        "workers": workers,
        "lost": int(lose),
        "sites": len({n.site for n in nights}),
        "wall_s": wall,
        "work_s": spent,
        "paces": sum(n.cost.spent / n.cost.pace for n in nights) / len(nights),
        "results_of_a_plant_equal": len(marks) == min(PLANTS, len(nights)),
    }


def scaled(sites: int, counts: list[int]) -> list[dict[str, Any]]:
    folder = Path(tempfile.mkdtemp(prefix="scale-out-"))
    try:
        fleet = Fleet(folder, sites, len(counts) + 2)
        night(fleet, max(counts))  # facts of the days before: not what is measured
        rows = []
        for count in counts:
            fleet.next_day()
            rows.append(night(fleet, count))
        fleet.next_day()
        return [*rows, night(fleet, max(counts), lose=True)]
    finally:
        shutil.rmtree(folder)


def write(settings: Settings, seeds: list[int], rows: int, document: bytes) -> list[float]:
    """What some writers of one process do, with its one book of work. Returns the time of each claim and
    write [s]."""
    day, now = date(2025, 1, 31), datetime.now(UTC)

    def one(service: Service, book: JobLeases, seed: int) -> list[float]:
        took, order = [], list(range(rows))
        random.Random(seed).shuffle(order)
        for n in order:
            begin = time.perf_counter()
            run = book.claim(Due("night", f"home-{n:04d}", "2025-02-01"), now)
            if run is None:
                continue
            service.results.keep(f"home-{n:04d}", FIRST, day, f"mark-{n}", document, rolling=False)
            book.finish(run, "done", f"writer {seed}")
            took.append(time.perf_counter() - begin)
        return took

    with opened(settings) as service, ThreadPoolExecutor(len(seeds)) as threads:
        found = threads.map(partial(one, service, JobLeases(service.database)), seeds)
        return [t for times in found for t in times]


def written(
    address: str, writers: int, rows: int, toml: str, document: bytes, folder: Path
) -> dict[str, Any]:
    settings = Settings(data=folder, database_url=new_database(address, f"writers_{writers}"))
    own = f'id = "{parse_site(toml).id}"'
    files = [toml.replace(own, f'id = "home-{n:04d}"', 1) for n in range(rows)]
    with opened(settings) as service:
        service.sites.add([(text, parse_site(text)) for text in files])
    processes = min(WRITER_PROCESSES, writers)
    seeds = [list(range(n, writers, processes)) for n in range(processes)]
    begin = time.perf_counter()
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        found = pool.starmap(write, [(settings, mine, rows, document) for mine in seeds])
    wall, took = time.perf_counter() - begin, [t for times in found for t in times]
    with opened(settings) as service, service.database.reading() as db:
        kept = db.scalar(select(func.count()).select_from(KEPT_RESULTS)) or 0
        states = JobLeases(service.database).counts()
    return {
        "writers": writers,
        "rows": rows,
        "claimed": len(took),
        "kept": kept,
        "done": states.get(("night", "done"), 0),
        "wall_s": wall,
        "p50_ms": float(np.median(took)) * 1000.0,
        "p95_ms": float(np.quantile(took, 0.95)) * 1000.0,
    }


def a_document() -> tuple[str, bytes]:
    """A site file, and a real result of a month."""
    plant = simulate(random_plant(1, meter_set="rich", every_s=60), FIRST, 30)
    site = parse_site(plant.site_toml)
    with tempfile.TemporaryDirectory() as folder, opened(Settings(data=Path(folder))) as service:
        service.sites.add([(plant.site_toml, site)])
        service.store.append(site.id, plant.readings)
        return plant.site_toml, service.results.rolling_document(service.sites.get(site.id), 365)


def numbers(text: str) -> list[int]:
    return [int(n) for n in text.split(",") if n]


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sites", type=int, default=200)
    parser.add_argument("--workers", type=numbers, default=[1, 2, 4])
    parser.add_argument("--writers", type=numbers, default=[1, 20])
    parser.add_argument("--rows", type=int, default=400)
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    rows = scaled(args.sites, args.workers) if args.workers else []
    for r in rows:
        r["load"] = os.getloadavg()[0]
        print("  ".join(f"{k} {v:.1f}" if isinstance(v, float) else f"{k} {v}" for k, v in r.items()))
    good = all(r["sites"] == args.sites and r["results_of_a_plant_equal"] for r in rows)
    if args.writers:
        toml, document = a_document()
        with postgres() as address, tempfile.TemporaryDirectory() as folder:
            for count in args.writers:
                rows.append(written(address, count, args.rows, toml, document, Path(folder)))
                r = rows[-1]
                print("  ".join(f"{k} {v:.1f}" if isinstance(v, float) else f"{k} {v}" for k, v in r.items()))
                good &= r["claimed"] == r["kept"] == r["done"] == args.rows
    if args.json:
        args.json.write_text(json.dumps({"pace_s": pace(), "figures": rows}, indent=1), encoding="utf-8")
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
