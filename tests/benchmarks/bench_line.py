"""The whole line on a site-year of minutes, each step as a ratio to the bare library work of the same run.

    python -m tests.benchmarks.bench_line --json FILE

One synthetic year of about 14 points at a minute is written as a wide CSV, read in, analysed, analysed again,
and given
two weeks more, a day at a time: the first begins a month, the others lie within it. Read the ratios, not the
    seconds.
"""

from __future__ import annotations

import argparse
import json
import shutil
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq

from fieldfare.analysis.facts.build import MARGIN_DAYS, build_facts
from fieldfare.analysis.minutes.grid import local_midnight
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.quantities import MODES
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings
from fieldfare.analysis.reports.result import analyse
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.collector.csv import ingest_csv
from fieldfare.collector.simulated.plant import random_plant, simulate
from fieldfare.collector.store.local import LocalStore
from tests.benchmarks.yardstick import Cost, measured, peak_mb

YEAR = date(2024, 6, 1)
DAYS = 365
MORE_DAYS = 14
LANES = 2
ROUNDS = 5
WORDS = list(MODES)
LEFT_OUT = ("house_kwh", "fan_elec", "buffer", "dist_flow", "dist_return")


def timed(work: Callable[[], Any], repeat: int = 1) -> tuple[float, Any]:
    """Least processor time of this process over some runs [s], and the last answer."""
    best, answer = float("inf"), None
    for _ in range(repeat):
        begin = time.process_time()
        answer = work()
        best = min(best, time.process_time() - begin)
    return best, answer


def plant_year() -> tuple[str, Readings]:
    """A site file, and readings of a year and two weeks of up to 14 points at a minute."""
    sim = simulate(random_plant(7, meter_set="rich", hot_water=True, every_s=60), YEAR, DAYS + MORE_DAYS)
    points = [p for p in sim.readings if p not in LEFT_OUT][:14]
    return sim.site_toml, {p: sim.readings[p] for p in points}


def wide_csv(readings: Readings, path: Path) -> None:
    """Write readings as one wide CSV with ISO times in UTC."""
    tables = []
    for name, samples in readings.items():
        value = np.array(WORDS)[samples.value.astype(int)] if name == "mode" else samples.value
        tables.append(pa.table({"time": samples.time, name: value}))
    whole = tables[0]
    for table in tables[1:]:
        whole = whole.join(table, "time", join_type="full outer")
    whole = whole.sort_by("time")
    stamps = whole["time"].cast(pa.timestamp("ms", tz="UTC"))
    pa.csv.write_csv(whole.set_column(0, "time", stamps), path)


def cut(readings: Readings, start: int, end: int) -> Readings:
    return {k: v.between(start, end) for k, v in readings.items()}


def steps(folder: Path) -> list[tuple[str, float, float, str]]:
    """(what, seconds, seconds of the bare work, the target on the ratio)."""
    toml, readings = plant_year()
    site = parse_site(toml)
    new_day = local_midnight(site, YEAR + timedelta(DAYS))
    year, more = cut(readings, 0, new_day), cut(readings, new_day, 2**62)
    count = sum(len(s.time) for s in year.values())
    print(f"{len(year)} points, {count:,} readings")
    file = folder / "year.csv"
    wide_csv(year, file)
    now = datetime.now(UTC)
    bare_parse, table = timed(lambda: pa.csv.read_csv(file))
    bare_write, _ = timed(lambda: durable_parquet(year, folder / "bare.parquet"))
    store = LocalStore(folder / "data" / "readings")
    ingest, told = timed(lambda: ingest_csv(site, file, store, rejects_dir=folder, now=now, progress=None))
    again, _ = timed(lambda: ingest_csv(site, file, store, rejects_dir=folder, now=now, progress=None))
    assert told.readings == count, (told, count)
    sealed = sorted((folder / "data" / "readings").rglob("*.parquet"))
    first_point, last = next(iter(year)), YEAR + timedelta(DAYS - 1)
    read = one_point = build = figures = float("inf")

    def bare() -> list[pa.Table]:
        return [pq.read_table(f) for f in sealed]

    bare_read, _ = timed(bare, ROUNDS)  # at its best, with nothing between
    for _ in range(ROUNDS):  # by turns: the machine's pace changes while they run
        bare_read = min(bare_read, timed(bare)[0])
        took, kept = timed(lambda: store.read(site.id))
        read = min(read, took)
        one_point = min(one_point, timed(lambda: store.read(site.id, [first_point]))[0])
        took, facts = timed(lambda kept=kept: build_facts(site, kept, YEAR, last, LANES))
        build = min(build, took)
        took, _ = timed(lambda facts=facts: analyse(site, facts, YEAR, last).as_dict())
        figures = min(figures, took)
    size = sum(f.stat().st_size for f in sealed)
    rows = [
        ("CSV intake / bare parse and durable write", ingest, bare_parse + bare_write, "<= 2.0"),
        ("the same file again / bare parse", again, bare_parse, ""),
        ("store to frames / bare Parquet read", read, bare_read, "<= 2.0"),
        ("one point's year / all points", one_point, read, "<= 0.25"),
        ("facts of the year / bare Parquet read", build, bare_read, ""),
        ("store to result / bare Parquet read", read + build + figures, bare_read, "<= 8.0"),
        ("bytes a reading, sealed / 1 byte", size / count, 1.0, "<= 1.2"),
    ]
    store.close()
    rows += service_steps(folder, site, toml, more, bare_read)
    peak = peak_mb()
    rows.append(("peak memory of all this [MB] / 1", peak, 1.0, ""))
    del table
    return rows


def service_steps(
    folder: Path, site: Site, toml: str, more: Readings, bare_read: float
) -> list[tuple[str, float, float, str]]:
    """The same through the state database: kept facts, and one more day, many times."""
    last = YEAR + timedelta(DAYS - 1)
    settings = Settings(data=folder / "data")
    with opened(settings) as service:
        service.sites.add([(toml, site)])
        plant = service.sites.get(site.id)
        first, _ = timed(lambda: service.results.document(plant, YEAR, last))
        seasons = [measured(lambda: season_from_facts(service, site))[0] for _ in range(15)]
        days = [one_more_day(service, site, more, last + timedelta(n + 1)) for n in range(MORE_DAYS)]
    fastest = min(cost.pace for cost in [*seasons, *days])
    return [
        ("first result through the service / bare Parquet read", first, bare_read, ""),
        (
            "a season from kept facts, fastest pace [s] / 50 ms",
            min(c.at(fastest) for c in seasons),
            0.05,
            "<= 1.0",
        ),
        (
            f"one more day of facts, median of {MORE_DAYS}, fastest pace [s] / 25 ms",
            median(cost.at(fastest) for cost in days),
            0.025,
            "<= 1.0",
        ),
    ]


def one_more_day(service: Service, site: Site, readings: Readings, day: date) -> Cost:
    """What it costs to bring the facts up to date when a day's readings have come."""
    begin, end = local_midnight(site, day), local_midnight(site, day + timedelta(1))
    service.store.append(site.id, cut(readings, begin, end))
    cost, updated = measured(lambda: service.facts_cache.update(site, YEAR, day))
    assert 1 <= updated.days <= 1 + 2 * MARGIN_DAYS, updated
    return cost


def season_from_facts(service: Service, site: Site) -> dict[str, Any]:
    a, b = date(2024, 10, 1), date(2025, 4, 30)
    return analyse(site, service.facts_cache.stored(site.id, a, b), a, b).as_dict()


def durable_parquet(readings: Readings, path: Path) -> None:
    """The least a store must do: all readings in one Parquet file, on disk."""
    import os

    parts = [pa.table({"ts": s.time, "value": s.value}) for s in readings.values()]
    pq.write_table(pa.concat_tables(parts), path, compression="zstd")
    with path.open("rb") as file:
        os.fsync(file.fileno())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="line-"))
    try:
        rows = steps(folder)
    finally:
        shutil.rmtree(folder)
    print(f"{'step':<62}{'seconds':>9}{'bare':>9}{'ratio':>8}  target")
    for what, seconds, bare, target in rows:
        print(f"{what:<62}{seconds:>9.3f}{bare:>9.3f}{seconds / bare:>8.2f}  {target}")
    if args.json:
        args.json.write_text(
            json.dumps(
                [
                    {
                        "step": what,
                        "seconds": seconds,
                        "bare": bare,
                        "ratio": seconds / bare,
                        "target": target,
                    }
                    for what, seconds, bare, target in rows
                ]
            )
        )


if __name__ == "__main__":
    main()
