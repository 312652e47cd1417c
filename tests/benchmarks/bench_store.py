"""The local store and the CSV intake against the bare library work of the same run.

    python -m tests.benchmarks.bench_store [--repeat 3] [--json FILE]

A synthetic site-year of 14 points at one minute with gaps. Each figure is the least of some runs, as wall
time and as
processor time of this process: where others share the machine, read the second. Exit status 0.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import MS_PER_DAY, Readings, Samples
from fieldfare.collector.csv import ingest_csv
from fieldfare.collector.store.local import LocalStore

MINUTES = 525_600
POINTS = 14
START = int(datetime(2024, 1, 1, tzinfo=UTC).timestamp() * 1000)
SITE = parse_site(
    '[site]\nid = "ash-lane"\nname = "Ash"\ntimezone = "Europe/London"\n'
    + "".join(
        f'[[point]]\nid = "p{k:02d}"\nquantity = "heat_pump_electricity"\nas = "power"\n'
        for k in range(POINTS)
    )
)

Cost = tuple[float, float]
"""Wall time and processor time [s]."""


def cost(work: Callable[[], Any], repeat: int) -> Cost:
    """The least of some runs."""
    wall, cpu = [], []
    for _ in range(repeat):
        a, b = time.perf_counter(), time.process_time()
        work()
        wall.append(time.perf_counter() - a)
        cpu.append(time.process_time() - b)
    return min(wall), min(cpu)


def ratio(a: Cost, b: Cost) -> Cost:
    return round(a[0] / b[0], 2), round(a[1] / b[1], 2)


def year() -> Readings:
    rng = np.random.default_rng(1)
    time_of = START + np.arange(MINUTES, dtype=np.int64) * 60_000
    out: Readings = {}
    for k in range(POINTS):
        if k % 3:
            value = np.cumsum(rng.normal(0, 0.05, MINUTES)) + 40
        else:
            value = np.abs(rng.normal(0, 500, MINUTES)) * (rng.random(MINUTES) > 0.5)
        there = rng.random(MINUTES) > 0.005
        out[f"p{k:02d}"] = Samples(time_of[there], np.round(value, 1)[there])
    return out


def write_csv(readings: Readings, wide: Path, long: Path) -> None:
    frame = pd.DataFrame({p: pd.Series(s.value, s.time) for p, s in readings.items()}).sort_index()
    frame.index = pd.to_datetime(frame.index, unit="ms").strftime("%Y-%m-%dT%H:%M:%SZ")
    frame.index.name = "time"
    frame.to_csv(wide)
    frame.reset_index().melt("time", var_name="point").dropna().sort_values("time", kind="stable").to_csv(
        long, index=False
    )


def bare_write(readings: Readings, path: Path) -> None:
    which = np.concatenate([np.full(len(s.time), k, np.int32) for k, s in enumerate(readings.values())])
    table = pa.table(
        {
            "point": pa.DictionaryArray.from_arrays(which, list(readings)),
            "ts": np.concatenate([s.time for s in readings.values()]),
            "value": np.concatenate([s.value for s in readings.values()]),
        }
    )
    with path.open("wb") as file:
        pq.write_table(table, file)
        file.flush()
        os.fsync(file.fileno())


def fresh(folder: Path) -> LocalStore:
    shutil.rmtree(folder, ignore_errors=True)
    return LocalStore(folder)


def live(store: LocalStore, sites: int, rounds: int) -> int:
    """Rounds of ten minutes of each site, a durable append a site; returns the readings."""
    for k in range(rounds):
        at = START + 2 * 366 * MS_PER_DAY + (k * 10 + np.arange(10)) * 60_000
        batch = {f"p{p:02d}": Samples(at, np.round(np.sin(at + p) * 40, 1)) for p in range(POINTS)}
        for site in range(sites):
            store.append(f"site-{site}", batch)
    return sites * rounds * 10 * POINTS


def plain_log(path: Path, sites: int, rounds: int) -> None:
    path.unlink(missing_ok=True)
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("CREATE TABLE log (site INTEGER, ts INTEGER, point INTEGER, value REAL)")
    for k in range(rounds):
        for site in range(sites):
            rows = [
                (site, START + (k * 10 + m) * 60_000, p, m * 0.1) for m in range(10) for p in range(POINTS)
            ]
            db.execute("BEGIN")
            db.executemany("INSERT INTO log VALUES (?, ?, ?, ?)", rows)
            db.execute("COMMIT")
    db.close()


def keep_reading(folder: Path, stop: Any) -> None:
    store = LocalStore(folder)
    while not stop.is_set():
        store.read("site-0")


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        result = measure(Path(name), options.repeat)
    for key, value in result.items():
        print(f"{key}: {value}")
    if options.json:
        options.json.write_text(json.dumps(result, indent=1) + "\n")
    return 0


def measure(work: Path, repeat: int) -> dict[str, Any]:
    readings = year()
    wide, long = work / "wide.csv", work / "long.csv"
    write_csv(readings, wide, long)
    out: dict[str, Any] = {"readings": sum(len(s.time) for s in readings.values())}
    write = cost(lambda: bare_write(readings, work / "bare.parquet"), repeat)
    append = cost(lambda: fresh(work / "a").append("ash-lane", readings), repeat)
    out["append of a year to a bare durable write (wall, cpu)"] = ratio(append, write)
    store = fresh(work / "a")
    store.append("ash-lane", readings)
    folder = work / "a" / "sealed" / "ash-lane"
    size = sum(p.stat().st_size for p in folder.iterdir())
    out["bytes a reading"] = round(size / out["readings"], 2)
    again = cost(lambda: store.append("ash-lane", readings), repeat)
    out["the same year again to a bare durable write"] = ratio(again, write)
    bare = cost(lambda: pq.read_table(folder, columns=["ts", "value"]), 3 * repeat)
    whole = cost(lambda: store.read("ash-lane"), 3 * repeat)
    out["read of the year to a bare read of the same files' times and values"] = ratio(whole, bare)
    out["read of one point's year to all"] = ratio(
        cost(lambda: store.read("ash-lane", ["p03"]), 3 * repeat), whole
    )
    noon = START + 100 * MS_PER_DAY
    day = cost(lambda: store.read("ash-lane", None, noon, noon + MS_PER_DAY), 3 * repeat)
    out["read of a site-day [ms]"] = tuple(round(1000 * x, 1) for x in day)
    for k in range(72):
        at = START + 366 * MS_PER_DAY + (k * 60 + np.arange(60)) * 60_000
        store.append("ash-lane", {p: Samples(at, np.sin(at)) for p in readings})
    tail = cost(lambda: store.read("ash-lane"), 3 * repeat)
    out["read of the year and three hot days to the bare read"] = ratio(tail, bare)
    out |= intake(work, repeat)
    for path in (wide, long):
        parse = cost(lambda path=path: pacsv.read_csv(path), repeat)  # type: ignore[misc]

        def ingest(path: Path = path) -> None:
            ingest_csv(SITE, path, fresh(work / "c"), rejects_dir=work, now=datetime.now(UTC))

        both = (parse[0] + write[0], parse[1] + write[1])
        out[f"bare parse and durable write to ingest, {path.stem}"] = ratio(both, cost(ingest, repeat))
    return out


def intake(work: Path, repeat: int) -> dict[str, Any]:
    sites, rounds = 50, 20
    count = live(fresh(work / "b"), sites, rounds)
    alone = cost(lambda: live(fresh(work / "b"), sites, rounds), repeat)
    log = cost(lambda: plain_log(work / "log.sqlite", sites, rounds), repeat)
    context = multiprocessing.get_context("spawn")

    def beside() -> None:
        live(store, sites, rounds)

    store = fresh(work / "b")
    stop = context.Event()
    reader = context.Process(target=keep_reading, args=(work / "b", stop))
    reader.start()
    time.sleep(2)
    read_beside = cost(beside, 1)
    stop.set()
    reader.join()
    return {
        "live intake of 50 sites [readings/s]": tuple(round(count / t) for t in alone),
        "live intake to a plain log (rate)": ratio(log, alone),
        "live intake beside a reading process to alone (rate)": ratio(alone, read_beside),
    }


if __name__ == "__main__":
    raise SystemExit(main())
