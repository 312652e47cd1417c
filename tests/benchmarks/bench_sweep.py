"""The nightly pass over a fleet: its cost a site as the fleet grows, on a process pool and on a Dask cluster.

    python -m tests.benchmarks.bench_sweep --fleets 10,30,100,300,1000 [--days 14] --json FILE

Every site has a fortnight of minutes, or as many days as are asked for, and facts up to yesterday; one new
day arrives, hour by hour as collection brings it, and is not sealed yet; the pass brings facts and result up
to date. The day after has the watches of some hours. The cost is processor time of all workers: as it was,
and as it would have been at the fastest pace of the machine seen in the run (`yardstick`). The cluster's
answers are compared with the pool's to the bit. Beside the JSON file a page of the same
name shows the growth.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import shutil
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import Executor
from contextlib import AbstractContextManager, nullcontext
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

from fieldfare.analysis.minutes.grid import local_midnight
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Readings
from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.jobs.due import WATCHES_AN_HOUR
from fieldfare.api.jobs.executors import make_executor
from fieldfare.api.jobs.work import watch, work
from fieldfare.collector.simulated.plant import random_plant, simulate
from fieldfare.collector.store.protocol import Store
from tests.benchmarks.yardstick import Cost, measured, peak_mb

NEW_DAY, DAYS = date(2024, 11, 15), 14
MS_PER_HOUR = 3_600_000
HOURS = (3, 9, 15, 21)
"""Hours of the day after, in which the watch looks four times."""
HOT_MS = 3 * MS_PER_HOUR
"""Besides the new day, what the night's hour finds unsealed."""
NIGHT_MS, MEMORY_MB = 60.0, 600.0
"""Targets: 1,000 sites in 30 s on two cores, and memory whatever the size of the fleet."""


class Night(NamedTuple):
    """The night of one site: what it cost, a mark of the result kept, and the most memory of the worker so
    far [MB]."""

    site: str
    cost: Cost
    mark: str
    memory: float


def one_site(settings: Settings, site: str) -> Night:
    """The night of one site in a worker."""
    cost, _ = measured(lambda: work(settings, "night", site, "bench"))
    with opened(settings) as service:
        document = service.results.newest(site)
    assert document is not None
    mark = hashlib.blake2b(json.dumps(document, sort_keys=True).encode()).hexdigest()
    return Night(site, cost, mark, peak_mb())


def one_watch(settings: Settings, site: str, whole: bool) -> Cost:
    """A watch of one site in a worker, at the time of its last reading."""
    with opened(settings) as service:
        span = service.store.span(site)
        assert span is not None
        plant, now = service.sites.get(site), datetime.fromtimestamp(span[1] / 1000, UTC)
        service.fleet.now = lambda: now  # type: ignore[method-assign]  # the clock stands at the readings
        return measured(lambda: watch(service, plant, now, whole=whole))[0]


def day_of_watches(
    executor: Executor, settings: Settings, new: dict[str, Readings], midnight: int
) -> dict[str, list[Cost]]:
    """The watches of some hours of the day that begins at `midnight` [ms]: the whole ones, those between."""
    costs: dict[str, list[Cost]] = {"whole": [], "between": []}
    quarter, seen = MS_PER_HOUR // WATCHES_AN_HOUR, midnight
    with opened(settings) as service:
        for at in [midnight + h * MS_PER_HOUR + n * quarter for h in HOURS for n in range(WATCHES_AN_HOUR)]:
            for site, readings in new.items():
                collect(service.store, site, {k: s.between(seen, at) for k, s in readings.items()})
            seen, whole = at, (at - midnight) % MS_PER_HOUR == 0
            futures = [executor.submit(one_watch, settings, site, whole) for site in new]
            costs["whole" if whole else "between"] += [f.result() for f in futures]
    return costs


def fleet(folder: Path, count: int, days: int = DAYS) -> tuple[Settings, dict[str, Readings]]:
    """A fleet of so many sites with readings of so many days; and each site's new day."""
    first = NEW_DAY - timedelta(days)
    sims = [simulate(random_plant(seed, meter_set="rich", every_s=60), first, days + 2) for seed in range(4)]
    settings = Settings(data=folder)
    new: dict[str, Readings] = {}
    with opened(settings) as service:
        for n in range(count):
            sim = sims[n % len(sims)]
            own = f"site-{n:04d}"
            toml = sim.site_toml.replace(f'id = "{parse_site(sim.site_toml).id}"', f'id = "{own}"', 1)
            site = parse_site(toml)
            cut = local_midnight(site, NEW_DAY)
            service.sites.add([(toml, site)])
            service.store.append(own, {k: v.between(0, cut - HOT_MS) for k, v in sim.readings.items()})
            collect(service.store, own, {k: v.between(cut - HOT_MS, cut) for k, v in sim.readings.items()})
            new[own] = {k: v.between(cut, 2**62) for k, v in sim.readings.items()}
    return settings, new


def collect(store: Store, site: str, readings: Readings) -> None:
    """Append hour by hour: so few at once are not sealed on the spot."""
    first = min(int(s.time[0]) for s in readings.values())
    last = max(int(s.time[-1]) for s in readings.values())
    for hour in range(first, last + 1, MS_PER_HOUR):
        part = {k: s.between(hour, hour + MS_PER_HOUR) for k, s in readings.items()}
        store.append(site, {k: s for k, s in part.items() if len(s.time)})


def sweep(executor: Executor, settings: Settings, sites: list[str]) -> tuple[float, list[Night]]:
    """Wall time [s], and the nights."""
    begin = time.perf_counter()
    futures = [executor.submit(one_site, settings, site) for site in sites]
    nights = [future.result() for future in futures]
    return time.perf_counter() - begin, nights


def night_of(count: int, executor: Callable[[], AbstractContextManager[Any]], days: int) -> dict[str, Any]:
    """The nightly pass over a fleet of so many sites."""
    folder = Path(tempfile.mkdtemp(prefix="sweep-"))
    try:
        settings, new = fleet(folder, count, days)
        # The service has its databases open while its workers work, and so has this.
        with executor() as pool, opened(settings) as service:
            assert len(service.sites.ids()) == count
            sweep(pool, settings, list(new))  # facts of the days before: not what is measured
            cut = local_midnight(service.sites.get("site-0000").site, NEW_DAY + timedelta(1))
            for site, readings in new.items():
                collect(service.store, site, {k: s.between(0, cut) for k, s in readings.items()})
            wall, nights = sweep(pool, settings, list(new))
            watches = day_of_watches(pool, settings, new, cut)
        size = sum(f.stat().st_size for f in folder.rglob("*") if f.is_file())
        return {
            "sites": count,
            "days": days,
            "wall_s": wall,
            "work_s_per_site": sum(n.cost.spent for n in nights) / count,
            "bytes_per_site": size / count,
            "worker_peak_mb": max(n.memory for n in nights),
            "costs": [n.cost for n in nights],
            "watches": watches,
            "marks": {n.site: n.mark for n in nights},
        }
    finally:
        shutil.rmtree(folder)


def on_pool() -> AbstractContextManager[Executor]:
    return make_executor(Settings(), os.cpu_count() or 1)


def on_cluster() -> AbstractContextManager[Executor]:
    from distributed import Client, LocalCluster

    cluster = LocalCluster(n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None)
    return nullcontext(Client(cluster).get_executor())


def growth_page(rows: list[dict[str, Any]], path: Path) -> None:
    """The cost of a site's night, and the largest worker's memory, against the size of the fleet."""
    import plotly.graph_objects as go
    from plotly.subplots import make_subplots

    sites = [r["sites"] for r in rows]
    figure = make_subplots(
        rows=2,
        cols=1,
        shared_xaxes=True,
        subplot_titles=(
            "processor time of a site's night at the fastest pace [ms]",
            "memory of the largest worker [MB]",
        ),
    )
    for row, values, most in (
        (1, [r["at_fastest_s_per_site"] * 1000 for r in rows], NIGHT_MS),
        (2, [r["worker_peak_mb"] for r in rows], MEMORY_MB),
    ):
        figure.add_trace(go.Scatter(x=sites, y=values, mode="lines+markers"), row=row, col=1)
        figure.add_hline(y=most, line_dash="dot", annotation_text=f"target {most:g}", row=row, col=1)
        figure.update_yaxes(rangemode="tozero", row=row, col=1)
    figure.update_xaxes(type="log", tickvals=sites)
    figure.update_xaxes(title="sites in the fleet", row=2, col=1)
    figure.update_layout(showlegend=False, title="The nightly pass as the fleet grows")
    figure.write_html(path, include_plotlyjs="directory")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fleets", default="10,30,100,300,1000")
    parser.add_argument(
        "--cluster", type=int, default=10, help="sites in the comparison with a cluster, 0 for none"
    )
    parser.add_argument("--days", type=int, default=DAYS, help="days of readings before the new one")
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    rows = [night_of(int(n), on_pool, args.days) for n in args.fleets.split(",")]
    fastest = min(cost.pace for row in rows for cost in row["costs"])
    for row in rows:
        kinds = {"at_fastest": row["costs"]} | {f"watch_{k}": costs for k, costs in row["watches"].items()}
        for name, costs in kinds.items():
            row[f"{name}_s_per_site"] = sum(cost.at(fastest) for cost in costs) / len(costs)
            row[f"{name}_paces"] = sum(cost.spent / cost.pace for cost in costs) / len(costs)
        between = (WATCHES_AN_HOUR - 1) * row["watch_between_s_per_site"]
        row["watch_hour_s_per_site"] = row["watch_whole_s_per_site"] + between
    first = rows[0]["at_fastest_s_per_site"]
    print(
        f"{'sites':>6}{'wall s':>9}{'ms a site':>11}{'at fastest pace':>17}"
        f"{'to smallest':>13}{'kB':>7}{'MB':>6}"
    )
    for r in rows:
        each, fast = r["work_s_per_site"] * 1000, r["at_fastest_s_per_site"] * 1000
        print(
            f"{r['sites']:>6}{r['wall_s']:>9.1f}{each:>11.1f}{fast:>17.1f}{fast / first / 1000:>13.2f}"
            f"{r['bytes_per_site'] / 1000:>7.0f}{r['worker_peak_mb']:>6.0f}"
        )
    most = rows[-1]
    print(
        f"a night of 1,000 sites on two cores: {most['work_s_per_site'] * 500:.0f} s of work each, "
        f"{most['at_fastest_s_per_site'] * 500:.0f} s at the fastest pace; target {NIGHT_MS / 2:g} s; "
        f"an hour's watches of a site {most['watch_hour_s_per_site'] * 1000:.0f} ms "
        f"({most['watch_whole_s_per_site'] * 1000:.0f} on the hour, "
        f"{most['watch_between_s_per_site'] * 1000:.0f} each between)"
    )
    if args.cluster:
        pool, cluster = (night_of(args.cluster, on, args.days) for on in (on_pool, on_cluster))
        same = pool["marks"] == cluster["marks"]
        print(
            f"two Dask workers: {cluster['sites']} sites, answers {'equal to the bit' if same else 'DIFFER'}"
        )
        rows.append(cluster)
    if args.json:
        growth_page(rows[: len(args.fleets.split(","))], args.json.with_suffix(".html"))
        args.json.write_text(
            json.dumps(
                [{k: v for k, v in r.items() if k not in ("marks", "costs", "watches")} for r in rows],
                indent=1,
            )
        )


if __name__ == "__main__":
    main()
