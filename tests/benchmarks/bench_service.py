"""Load on the running service: clients that read pages and the API while a collector writes.

python -m tests.benchmarks.bench_service [--clients 50] [--seconds 120] [--sites 14] [--think 4] [--out FILE]
Prints a table (p50, p95, worst, errors by kind of request; beside them the processor time of one request
and what one person alone waits for the same, so that a busy machine does not decide), the service's memory
each quarter of the time, and writes JSON. The exit code is 1 where an answer is broken.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import multiprocessing
import os
import random
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import httpx
import numpy as np
import psutil

ROOT = Path(__file__).parents[2]
SERVE = (
    "import sys; from pathlib import Path; from fieldfare.api.running.serve import serve; from"
    " fieldfare.api.core.settings import Settings; serve(Settings(data=Path(sys.argv[1]), demo=True,"
    " port=int(sys.argv[2])), announce=print)"
)
# Share of each kind of request in what people and programs ask for; `again` sends the tag of the last answer.
KINDS = {
    "fleet page": ("/", 12),
    "site page": ("/sites/{site}", 18),
    "home page": ("/sites/{site}/home", 10),
    "winter page": ("/sites/{site}/winter", 4),
    "result": ("/api/v1/sites/{site}/result", 6),
    "findings": ("/api/v1/sites/{site}/findings", 14),
    "a day's series": ("/api/v1/sites/{site}/series?max_points=1000", 16),
    "newest": ("/api/v1/sites/{site}/newest", 12),
    "facts": ("/api/v1/sites/{site}/facts/days?limit=60", 6),
    "fleet": ("/api/v1/fleet", 8),
    "alerts": ("/api/v1/alerts", 8),
}
THINK_S = 1.0
"""Mean pause of a client between two requests; each is drawn from half to one and a half times this."""


def write(folder: str, sites: list[str], stop: Any, written: Any, pace: float) -> None:
    """A collector: a reading a point and second for every site, until stopped.

    pace : seconds by which their times go on each second; at 60 a day ends, and every home is worked out
        anew, each 24 minutes
    """
    from fieldfare.analysis.readings import Samples
    from fieldfare.collector.store.local import LocalStore

    store = LocalStore(Path(folder))
    now = max(span[1] for site in sites if (span := store.span(site)))
    # Each point goes on saying what it said last: nothing steps back, nothing is invented.
    last = {
        site: {p: s.value[-1:] for p, s in store.read(site, None, now - 86_400_000).items()} for site in sites
    }
    while not stop.is_set():
        now += round(1000 * pace)
        began = time.perf_counter()
        for site in sites:
            time_ms = np.array([now], dtype=np.int64)
            store.append(site, {p: Samples(time_ms, value) for p, value in last[site].items()})
            written.value += len(last[site])
        stop.wait(max(0.0, 1.0 - (time.perf_counter() - began)))
    store.close()


async def client(
    base: str,
    sites: list[str],
    until: float,
    seed: int,
    took: dict[str, list[float]],
    bad: list[str],
    think: float,
) -> None:
    """One person or program: asks, thinks, asks again."""
    draw = random.Random(seed)
    names, weights = list(KINDS), [weight for _, weight in KINDS.values()]
    async with httpx.AsyncClient(base_url=base, timeout=60.0) as http:
        await asyncio.sleep(draw.uniform(0, 1.5 * think))
        while time.monotonic() < until:
            name = draw.choices(names, weights)[0]
            url = KINDS[name][0].format(site=draw.choice(sites))
            began = time.perf_counter()
            try:
                answer = await http.get(url)
                if answer.status_code != 200:
                    bad.append(f"{answer.status_code} {url}")
            except httpx.HTTPError as error:
                bad.append(f"{type(error).__name__} {url}")
            took[name].append(time.perf_counter() - began)
            await asyncio.sleep(draw.uniform(0.5 * think, 1.5 * think))


class Alone(NamedTuple):
    """What one person alone waits for a kind of request [s], and what of it is the service's processor time
    [s]."""

    waited: float
    processor: float


def warm(base: str, sites: list[str]) -> float:
    """Ask every home once, as the first people of a morning do. Returns the seconds it took."""
    began = time.perf_counter()
    with httpx.Client(base_url=base, timeout=120.0) as http:
        for site in sites:
            http.get(f"/sites/{site}").raise_for_status()
            http.get(f"/api/v1/sites/{site}/facts/days").raise_for_status()
    return time.perf_counter() - began


def alone(base: str, sites: list[str], process: int, times: int = 5) -> dict[str, Alone]:
    """What one person waits for each kind of request, the middle one of some, while the collector writes."""
    draw, out = random.Random(1), {}
    with httpx.Client(base_url=base, timeout=120.0) as http:
        for name, (url, _) in KINDS.items():
            took, before = [], processor_s(process)
            for _ in range(times):
                began = time.perf_counter()
                http.get(url.format(site=draw.choice(sites))).raise_for_status()
                took.append(time.perf_counter() - began)
            out[name] = Alone(statistics.median(took), (processor_s(process) - before) / times)
    return out


def processor_s(process: int) -> float:
    """Processor time that a process has used."""
    used = psutil.Process(process).cpu_times()
    return float(used.user + used.system)


async def watched(process: int, seconds: float, every: float) -> list[float]:
    """The service's memory [MB] at the start and each quarter of the time."""
    found = [memory_mb(process)]
    for _ in range(round(seconds / every)):
        await asyncio.sleep(every)
        found.append(memory_mb(process))
    return found


async def load(
    base: str, sites: list[str], clients: int, seconds: float, think: float, process: int
) -> tuple[dict[str, list[float]], list[str], list[float]]:
    took: dict[str, list[float]] = defaultdict(list)
    bad: list[str] = []
    until = time.monotonic() + seconds
    memory, *_ = await asyncio.gather(
        watched(process, seconds, seconds / 4),
        *(client(base, sites, until, n, took, bad, think) for n in range(clients)),
    )
    return took, bad, memory


def start(data: Path, port: int) -> subprocess.Popen[bytes]:
    log = (data / "bench.log").open("ab")
    process = subprocess.Popen(
        [sys.executable, "-c", SERVE, str(data), str(port)], stdout=log, stderr=log, cwd=ROOT
    )
    for _ in range(300):
        try:
            httpx.get(f"http://127.0.0.1:{port}/healthz").raise_for_status()
            return process
        except httpx.HTTPError:
            time.sleep(0.2)
    process.kill()
    raise SystemExit(f"the service did not start: {(data / 'bench.log').read_text(errors='replace')[-2000:]}")


def memory_mb(pid: int) -> float:
    """Resident memory of a process."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return round(int(next(line for line in lines if line.startswith("VmRSS")).split()[1]) / 1024, 1)


def table(took: dict[str, list[float]], single: dict[str, Alone], processor: float) -> list[dict[str, Any]]:
    """processor : what the service used of it under load [s]"""
    rows = [(name, took[name]) for name in KINDS if took[name]]
    rows.append(("all", [t for each in took.values() for t in each]))
    asked = max(len(rows[-1][1]), 1)
    waited = sum(alone.waited * len(took[name]) / asked for name, alone in single.items())
    single = {**single, "all": Alone(waited, processor / asked)}
    return [
        {
            "request": name,
            "count": len(times),
            "processor_ms": round(single[name].processor * 1000, 1),
            "alone_ms": round(single[name].waited * 1000, 1),
            "p50_ms": round(float(np.percentile(times, 50)) * 1000, 1),
            "p95_ms": round((p95 := float(np.percentile(times, 95))) * 1000, 1),
            "worst_ms": round(max(times) * 1000, 1),
            "p95_to_alone": round(p95 / max(single[name].waited, 1e-3), 1),
        }
        for name, times in rows
    ]


COLUMNS = {
    "count": "count",
    "processor_ms": "cpu ms",
    "alone_ms": "alone ms",
    "p50_ms": "p50 ms",
    "p95_ms": "p95 ms",
    "worst_ms": "worst ms",
    "p95_to_alone": "p95/alone",
}


def show(rows: list[dict[str, Any]]) -> None:
    print(f"{'request':<16}" + "".join(f"{word:>11}" for word in COLUMNS.values()))
    for row in rows:
        print(f"{row['request']:<16}" + "".join(f"{row[name]:>11}" for name in COLUMNS))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=120.0)
    parser.add_argument("--sites", type=int, default=None)
    parser.add_argument("--think", type=float, default=THINK_S, help="mean pause of a client in seconds")
    parser.add_argument("--pace", type=float, default=1.0, help="seconds of the plants' time in a second")
    parser.add_argument("--data", type=Path, help="a demo's data folder; made where there is none")
    parser.add_argument(
        "--json", "--out", dest="out", type=Path, default=ROOT / "bench-results" / "service.json"
    )
    args = parser.parse_args()
    from fieldfare.api.core.service import opened
    from fieldfare.api.core.settings import Settings
    from fieldfare.api.running.demo import run_demo
    from tests.services import free_port

    data = args.data or Path(tempfile.mkdtemp(prefix="bench-")) / "data"
    settings = Settings(data=data, demo=True)
    run_demo(settings, print, once=True, count=args.sites)
    with opened(settings) as service:
        sites = [s for s in service.sites.ids() if service.store.span(s)]
    port = free_port()
    service_process = start(data, port)
    spawn = multiprocessing.get_context("spawn")
    stop, written = spawn.Event(), spawn.Value("q", 0)
    writer = spawn.Process(target=write, args=(str(settings.readings_dir), sites, stop, written, args.pace))
    writer.start()
    try:
        warming = warm(f"http://127.0.0.1:{port}", sites)
        base = f"http://127.0.0.1:{port}"
        single = alone(base, sites, service_process.pid)
        before = processor_s(service_process.pid)
        took, bad, memory = asyncio.run(
            load(base, sites, args.clients, args.seconds, args.think, service_process.pid)
        )
        used = processor_s(service_process.pid) - before
    finally:
        stop.set()
        writer.join(30)
        service_process.send_signal(signal.SIGINT)
        service_process.wait(30)
    rows = table(took, single, used)
    show(rows)
    rate = rows[-1]["count"] / args.seconds
    print(
        f"{args.clients} clients, {rate:.0f} requests/s, {written.value} readings written meanwhile,"
        f" {len(bad)} errors"
    )
    print(
        f"the service's processor time {used:.0f} s of {args.seconds:.0f} s: {used / args.seconds:.2f} of a"
        " processor; one Python process can use 1"
    )
    print(
        f"memory {', '.join(f'{m:.0f}' for m in memory)} MB at each quarter; load of the machine"
        f" {os.getloadavg()[0]:.1f}"
    )
    for line in sorted(set(bad))[:10]:
        print(" ", line)
    args.out.parent.mkdir(parents=True, exist_ok=True)
    told = {
        "when": datetime.now(UTC).isoformat(timespec="seconds"),
        "processors": os.cpu_count(),
        "clients": args.clients,
        "pace": args.pace,
        "seconds": args.seconds,
        "sites": len(sites),
        "requests_per_s": round(rate, 1),
        "written": written.value,
        "errors": len(bad),
        "memory_mb": memory,
        "processor_s": round(used, 1),
        "warming_s": round(warming, 1),
        "load_before": os.getloadavg()[2],
        "rows": rows,
    }
    args.out.write_text(json.dumps(told, indent=1), encoding="utf-8")
    return 1 if bad else 0


if __name__ == "__main__":
    raise SystemExit(main())
