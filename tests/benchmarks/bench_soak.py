"""A fleet live at many times real time for hours, with nights and readers: does anything grow that should
not?

    python -m tests.benchmarks.bench_soak [--minutes 120] [--sites 200] [--speed 10] [--nightly-every 30]
    [--json FILE]

A real broker, `fieldfare serve` with the collector inside, and a gateway process that sends each site's
minute as one SenML pack of 14 readings. A few simulated plants are shared by all sites, each some days
further on. The fleet's clock begins so far back that it meets the real one at the end. Every night is what
the service does by itself at ten past three: its finished nights are given back in the book of work, and its
own scheduler takes them up within a minute. Pages are fetched every ten seconds; every thirty it is written
down what the processes hold. At the end each reading is compared.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import shutil
import signal
import subprocess
import tempfile
import threading
import time
from collections import defaultdict, deque
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import orjson
import paho.mqtt.client as paho
import psutil  # type: ignore[import-untyped]
from scipy import stats

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.quantities import MODES
from fieldfare.analysis.readings import MS_PER_DAY, Readings, Samples
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.jobs.leases import JobLeases
from fieldfare.collector.simulated.plant import Simulated, random_plant, simulate
from fieldfare.collector.store.local import LocalStore
from tests.api.test_serving import said, start
from tests.services import broker, end, free_port

SEEDS, POINTS, MINUTE = (3, 4, 7, 10), 14, 60_000
SAMPLE_S, PAGES_S, NIGHT_LOOK_S = 30.0, 10.0, 5.0
WORDS = list(MODES)
PAGES = {"fleet": "/", "site": "/sites/{site}", "result": "/api/v1/sites/{site}/result"}
# What may be added after the first quarter of a run: share of the middle, or at least so much of the unit.
LINES = {
    "service MB": (0.05, 10.0),
    "broker MB": (0.10, 2.0),
    "open files": (0.0, 5.0),
    "threads": (0.0, 3.0),
    "lag s": (0.0, 5.0),
    "behind": (0.0, 500.0),
    "set aside": (0.0, 0.0),
    "fleet ms": (0.5, 50.0),
    "site ms": (0.5, 50.0),
    "result ms": (0.5, 50.0),
    "metrics ms": (0.5, 100.0),
    "state MB": (0.20, 10.0),
}
SHOWN = ("service MB", "open files", "threads", "stored", "behind", "nights open", "readings MB", "hours")
MORE_BYTES = 1.25  # bytes a further reading takes in the second half of a run, over those in the first


@dataclass(frozen=True)
class Fleet:
    """Sites on shared plants; the same in every process that is given the same numbers. start : int [ms], a
    whole minute."""

    sites: int
    start: int
    minutes: int
    history_days: int

    @cached_property
    def plants(self) -> list[Simulated]:
        began = datetime.fromtimestamp(self.start / 1000, UTC).date() - timedelta(days=self.history_days + 1)
        days = self.history_days + self.minutes // 1440 + self.sites // len(SEEDS) + 4
        specs = [random_plant(seed, meter_set="rich", hot_water=True, every_s=60) for seed in SEEDS]
        return [simulate(spec, began, days) for spec in specs]

    def name(self, number: int) -> str:
        return f"soak-{number:04d}"

    def toml(self, number: int) -> str:
        text = self.plants[number % len(SEEDS)].site_toml
        return text.replace(f'id = "{parse_site(text).id}"', f'id = "{self.name(number)}"', 1)

    def readings(self, number: int, first: int, last: int) -> Readings:
        """Readings with first <= time < last: the plant's, moved by whole days so that no two sites have the
        same."""
        shift = number // len(SEEDS) * MS_PER_DAY
        plant = self.plants[number % len(SEEDS)].readings
        moved = {p: s.between(first + shift, last + shift) for p, s in list(plant.items())[:POINTS]}
        return {p: Samples(s.time - shift, s.value) for p, s in moved.items()}

    def pack(self, number: int, minute: int) -> tuple[bytes, int]:
        """One minute as SenML, and how many readings it holds; a reading that the meter lost is not in it."""
        at = self.start + minute * MINUTE
        records: list[dict[str, Any]] = []
        for point, samples in self.readings(number, at, at + MINUTE).items():
            for value in samples.value.tolist():
                base = {} if records else {"bt": at // 1000}
                told = {"vs": WORDS[int(value)]} if point == "mode" else {"v": value}
                records.append({**base, "n": point, **told})
        return orjson.dumps(records), len(records)


def publish(fleet: Fleet, port: int, speed: float, stop: Any, newest: Any, taken: Any, late: Any) -> None:
    """The gateways: every site's minute when it is due. newest : of each site, the last time [ms] the broker
    has taken."""
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="gateways", clean_session=False)
    client.max_queued_messages_set(0)
    waiting: deque[tuple[paho.MQTTMessageInfo, int, int, int]] = deque()
    client.connect("127.0.0.1", port)
    client.loop_start()
    step, began, sent, total = 60.0 / speed / fleet.sites, time.monotonic(), 0, fleet.minutes * fleet.sites
    until = began + total * step + 60.0
    while (sent < total and not stop.is_set()) or (waiting and time.monotonic() < until):
        while waiting and waiting[0][0].is_published():
            _, number, at, count = waiting.popleft()
            newest[number], taken.value = at, taken.value + count
        ahead = began + sent * step - time.monotonic()
        if sent == total or stop.is_set() or ahead > 0.0:
            time.sleep(min(max(ahead, 0.01), 0.5))
            continue
        late.value = -ahead
        minute, number = divmod(sent, fleet.sites)
        payload, count = fleet.pack(number, minute)
        if count:
            info = client.publish(f"fieldfare/{fleet.name(number)}/readings", payload, 1)
            waiting.append((info, number, fleet.start + minute * MINUTE, count))
        sent += 1
    client.disconnect()
    client.loop_stop()


@dataclass
class Readers:
    """Somebody who is signed in and looks at pages every ten seconds; also scrapes the metrics."""

    fleet: Fleet
    base: str
    first_user: str
    errors: list[str] = field(default_factory=list)
    took: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    turn: int = 0

    def __post_init__(self) -> None:
        self.http = httpx.Client(base_url=self.base, timeout=60.0)
        form = {"email": "soak@heating.example", "name": "Soak", "password": "four odd words together"}
        assert self.http.post(self.first_user, data=form).status_code == 303

    def get(self, kind: str, url: str) -> str:
        began = time.perf_counter()
        try:
            answer = self.http.get(url).raise_for_status().text
        except httpx.HTTPError as error:
            self.errors.append(f"{datetime.now(UTC):%H:%M:%S} {url}: {type(error).__name__} {error}"[:200])
            answer = ""
        self.took[kind].append((time.perf_counter() - began) * 1000.0)
        return answer

    def look(self, stop: threading.Event) -> None:
        while not stop.wait(PAGES_S):
            for kind, url in PAGES.items():
                self.get(kind, url.format(site=self.fleet.name(self.turn % self.fleet.sites)))
            self.turn += 1

    def metrics(self) -> tuple[dict[str, float], dict[str, int]]:
        """Sums by metric, and each site's newest reading [ms], which is a whole minute."""
        began = time.time()
        lines = [x for x in self.get("metrics", "/metrics").splitlines() if x.startswith("field")]
        middle = (began + time.time()) / 2.0
        sums: dict[str, float] = defaultdict(float)
        newest: dict[str, int] = {}
        for line in lines:
            name, _, value = line.rpartition(" ")
            metric, _, label = name.partition("{")
            sums[metric] += float(value)
            if metric == "fieldfare_lag_seconds":
                newest[label.split('"')[1]] = round((middle - float(value)) * 1000 / MINUTE) * MINUTE
        return sums, newest

    def middle_times(self) -> dict[str, float]:
        """Median of each kind since it was last asked."""
        took, self.took = self.took, defaultdict(list)
        return {f"{kind} ms": float(np.median(times)) for kind, times in took.items()}


@dataclass
class Nights:
    """Gives finished nights back when it is time, and knows when each round was through."""

    service: Service
    every_s: float
    next_at: float = 0.0
    rounds: list[dict[str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.book = JobLeases(self.service.database)
        self.count = len(self.service.sites.ids())

    def look(self, now: float) -> int:
        """How many nights wait or run; begins a round when none does and it is time."""
        rows = self.book.page(0, self.count, kind="night")[0]
        waiting = sum(r.state in ("waiting", "running") for r in rows)
        if waiting or len(rows) < self.count:
            return waiting
        begun, over = min(r.started for r in rows), max(r.ended or r.started for r in rows)
        if not self.rounds or self.rounds[-1]["begun"] != begun:
            failed = sum(r.state == "failed" for r in rows)
            self.rounds.append({"begun": begun, "seconds": (over - begun).total_seconds(), "failed": failed})
        if now >= self.next_at:
            self.next_at = now + self.every_s
            for row in rows:
                self.book.give_back(row.id)
        return 0


def held(process: psutil.Process, server: psutil.Process, data: Path) -> dict[str, float]:
    """What the processes and the folder hold."""
    workers = 0.0
    for child in process.children(recursive=True):
        with suppress(psutil.NoSuchProcess):  # a night's worker that ends meanwhile
            workers += child.memory_info().rss / 1e6
    bytes_of = dict.fromkeys(("readings", "state", "other"), 0)
    for file in data.rglob("*"):
        with suppress(FileNotFoundError):  # a log of SQLite's that was just folded in
            part = "readings" if "readings" in file.parts else "state" if "state" in file.name else "other"
            bytes_of[part] += file.stat().st_size if file.is_file() else 0
    return {
        "service MB": process.memory_info().rss / 1e6,
        "workers MB": workers,
        "broker MB": server.memory_info().rss / 1e6,
        "open files": process.num_fds(),
        "threads": process.num_threads(),
        "readings MB": bytes_of["readings"] / 1e6,
        "state MB": bytes_of["state"] / 1e6,
        "other MB": bytes_of["other"] / 1e6,
    }


def compared(fleet: Fleet, data: Path, newest: list[int]) -> dict[str, int]:
    """Every reading of every site against what was given: missing, not given, and of another value."""
    told = dict.fromkeys(("expected", "stored", "missing", "extra", "other_value"), 0)
    nothing = Samples(np.empty(0, np.int64), np.empty(0))
    store = LocalStore(data / "readings")
    for number in range(fleet.sites):
        given = fleet.readings(number, fleet.start - fleet.history_days * MS_PER_DAY, newest[number] + 1)
        kept = store.read(fleet.name(number))
        for point in given.keys() | kept.keys():
            want, got = given.get(point, nothing), kept.get(point, nothing)
            _, a, b = np.intersect1d(want.time, got.time, return_indices=True)
            other = int(np.sum(want.value[a] != got.value[b]))
            counts = (len(want.time), len(got.time), len(want.time) - len(a), len(got.time) - len(b), other)
            told = {key: told[key] + count for key, count in zip(told, counts, strict=True)}
    store.close()
    return told


def verdicts(series: list[dict[str, float]]) -> list[dict[str, Any]]:
    """Of each quantity: start, middle, end, and whether it grew after the first quarter beyond its line:
    whether even the low end of the 95 % interval of Theil and Sen's slope, times the time, is above it."""
    n, hours = len(series), np.array([r["hours"] for r in series])
    rows: list[dict[str, Any]] = []
    for name, (share, least) in LINES.items():
        values = np.array([r.get(name, np.nan) for r in series])
        later = np.isfinite(values) & (np.arange(n) >= n // 4)
        if later.sum() < 4:
            continue
        slope, _, low, high = stats.theilslopes(values[later], hours[later], 0.95)
        line = max(share * float(np.median(values[later])), least)
        known = values[np.isfinite(values)]  # no page has been fetched yet at the first look
        parts = np.array_split(known, max(3, min(9, len(known))))
        means = [float(np.mean(parts[at])) for at in (0, len(parts) // 2, -1)]
        rows.append(
            {
                "what": name,
                "means": means,
                "highest": float(np.nanmax(values)),
                "an_hour": [slope, low, high],
                "line": line,
                "grew": bool(low * float(np.ptp(hours[later])) > line),
            }
        )
    return rows


def bytes_a_reading(series: list[dict[str, float]]) -> tuple[float, float]:
    """Bytes that a further reading took on disk, in the first and the second half of a run."""
    known = [(r["stored"], r["readings MB"] * 1e6) for r in series if np.isfinite(r["stored"])]
    half = len(known) // 2
    parts = [np.array(part) for part in (known[: half + 1], known[half:])]
    slopes = [stats.theilslopes(p[:, 1], p[:, 0])[0] if len(p) > 1 else float("nan") for p in parts]
    return float(slopes[0]), float(slopes[1])


def soak(fleet: Fleet, folder: Path, speed: float, nightly_every: float) -> dict[str, Any]:
    series: list[dict[str, float]] = []
    before, oldest = 0, fleet.start - fleet.history_days * MS_PER_DAY
    with opened(Settings(data=folder)) as service, broker() as server:
        for number in range(fleet.sites):
            toml = fleet.toml(number)
            service.sites.add([(toml, parse_site(toml))])
            before += service.store.append(
                fleet.name(number), fleet.readings(number, oldest, fleet.start)
            ).stored
        os.environ["FIELDFARE_BROKER_URL"] = f"mqtt://127.0.0.1:{server.port}"
        port, log = free_port(), folder / "soak.log"
        process = start(log, "--data", str(folder), "serve", "--port", str(port))
        spawn = multiprocessing.get_context("spawn")
        stop, newest = spawn.Event(), spawn.Array("q", [fleet.start - MINUTE] * fleet.sites)
        taken, late = spawn.Value("q", 0), spawn.Value("d", 0.0)
        gateways = spawn.Process(target=publish, args=(fleet, server.port, speed, stop, newest, taken, late))
        over = threading.Event()
        try:
            said(log, "connected to")
            first_user = said(log, "first user").rpartition(" ")[2]
            readers = Readers(fleet, f"http://127.0.0.1:{port}", first_user)
            time.sleep(3.0)  # the collector has subscribed
            assert server.process is not None
            watched = psutil.Process(process.pid), psutil.Process(server.process.pid)
            nights = Nights(service, nightly_every * 60.0, time.monotonic() + nightly_every * 60.0)
            gateways.start()
            threading.Thread(target=readers.look, args=(over,), daemon=True).start()
            began = next_sample = time.monotonic()
            while gateways.is_alive() and process.poll() is None:
                time.sleep(NIGHT_LOOK_S)
                waiting = nights.look(time.monotonic())
                if time.monotonic() < next_sample:
                    continue
                next_sample += SAMPLE_S
                series.append(sample(readers, newest, taken, before, speed) | held(*watched, folder))
                hours = (time.monotonic() - began) / 3600.0
                series[-1] |= {"hours": hours, "nights open": waiting, "late s": late.value}
                print("  ".join(f"{k} {v:.1f}" for k, v in series[-1].items() if k in SHOWN), flush=True)
            for _ in range(8):
                if readers.metrics()[0]["fieldfare_readings"] >= before + taken.value:
                    break
                time.sleep(16.0)  # the service counts no oftener
        finally:
            stop.set()
            over.set()
            if gateways.pid:
                gateways.join(90)
            process.send_signal(signal.SIGINT)  # nothing happens where it has ended
            with suppress(subprocess.TimeoutExpired):
                process.wait(60)
            end(process)
    lines = log.read_text(errors="replace").splitlines()
    return {
        "series": series,
        "nights": nights.rounds,
        "errors": readers.errors,
        "exit": process.returncode,
        "published": taken.value,
        "check": compared(fleet, folder, newest[:]),
        "log_errors": [x for x in lines if " ERROR " in x or x.startswith("Traceback")],
    }


def sample(readers: Readers, newest: Any, taken: Any, before: int, speed: float) -> dict[str, float]:
    """What was published until a moment, and how much of it the service knows just after."""
    published, sent = taken.value, newest[:]
    sums, stored = readers.metrics()
    lags = [(at - stored.get(readers.fleet.name(n), at)) / 1000.0 / speed for n, at in enumerate(sent)]
    known = sums["fieldfare_readings"] - before if sums else float("nan")
    return {
        "published": published,
        "stored": known,
        "behind": max(0.0, published - known),
        "lag s": max(0.0, *lags),
        "set aside": sums.get("fieldfare_set_aside_total", 0.0),
        **readers.middle_times(),
    }


def show(told: dict[str, Any]) -> bool:
    """Print the tables. Returns whether nothing grew and nothing is missing."""
    print(f"\n{'':<14}{'start':>10}{'middle':>10}{'end':>10}{'highest':>10}{'an hour (95 %)':>34}{'line':>9}")
    for r in told["verdicts"]:
        slope = "{:+.2f} ({:+.2f} to {:+.2f})".format(*r["an_hour"])
        numbers = "".join(f"{v:>10.1f}" for v in (*r["means"], r["highest"]))
        print(f"{r['what']:<14}{numbers}{slope:>34}{r['line']:>9.1f}  {'GREW' if r['grew'] else 'level'}")
    first, second = told["bytes_a_reading"]
    print(f"bytes a further reading takes: {first:.1f} in the first half, {second:.1f} in the second")
    for n in told["nights"]:
        print(f"night begun {n['begun']:%H:%M:%S}: through in {n['seconds']:.1f} s, {n['failed']} failed")
    print(f"readings: {told['published']} published; with the days before {(check := told['check'])}")
    print("\n".join([*told["errors"][:5], *told["log_errors"][:5]]))
    wrong = check["missing"] or check["extra"] or check["other_value"] or told["exit"] or told["errors"]
    grew = any(r["grew"] for r in told["verdicts"]) or second > MORE_BYTES * max(first, 1.0)
    return not (wrong or grew or told["log_errors"])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=120.0)
    parser.add_argument("--sites", type=int, default=200)
    parser.add_argument("--speed", type=float, default=10.0)
    parser.add_argument("--nightly-every", type=float, default=30.0, help="minutes between nights")
    parser.add_argument("--history", type=int, default=7, help="days of readings before the first")
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    back = (args.speed - 1.0) * args.minutes * 60.0 + 600.0  # so far back that no reading lies in the future
    start = int((time.time() - back) // 60) * MINUTE
    fleet = Fleet(args.sites, start, round(args.minutes * args.speed), args.history)
    folder = Path(tempfile.mkdtemp(prefix="soak-"))
    try:
        told = soak(fleet, folder, args.speed, args.nightly_every)
    finally:
        shutil.rmtree(folder)
    told |= {"verdicts": verdicts(told["series"]), "bytes_a_reading": bytes_a_reading(told["series"])}
    if args.json:
        args.json.write_text(json.dumps({"when": datetime.now(UTC), **vars(args), **told}, default=str))
    return 0 if show(told) else 1


if __name__ == "__main__":
    raise SystemExit(main())
