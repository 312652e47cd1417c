"""The pages and lists of a whole fleet as it grows: memory of the service, and time a home.

    python -m tests.benchmarks.bench_fleets [--fleets 100,1000,10000] [--json FILE]

A few simulated homes stand for all: each site has its own file, its own kept result and readings of its own,
    taken over from
one of them. The service is a process of its own; of it counts the most memory it has had. Read how the time a
home and the memory grow, not the seconds.
"""

from __future__ import annotations

import argparse
import json
import signal
import statistics
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import httpx
import orjson

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Readings
from fieldfare.analysis.reports.result import analyse
from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from fieldfare.collector.simulated.plant import random_plant, simulate
from tests.benchmarks.bench_service import start
from tests.benchmarks.yardstick import peak_mb
from tests.services import free_port

FIRST, DAYS, HOMES = date(2024, 10, 1), 200, 6
MEMORY_MB = 600.0
LISTS = {
    "the round": "/",
    "by cost": "/?sort=cost",
    "live": "/live?part=1",
    "visits": "/visits",
    "before winter": "/winter",
    "lessons": "/learning",
    "fleet": "/api/v1/fleet",
    "sites": "/api/v1/sites?limit=100",
    "counts": "/metrics",
}


def home(seed: int, days: int = DAYS) -> tuple[str, dict[str, Any], Readings]:
    """Site file, result document and the last readings of a simulated home."""
    made = simulate(random_plant(seed, meter_set="rich", hot_water=True), FIRST, days)
    site, last = parse_site(made.site_toml), FIRST + timedelta(days - 1)
    result = analyse(site, build_facts(site, made.readings, FIRST, last), FIRST, last).as_dict()
    newest = {p: s.between(int(s.time[-1]), 2**62) for p, s in made.readings.items() if len(s.time)}
    return made.site_toml, orjson.loads(orjson.dumps(result, option=orjson.OPT_SERIALIZE_NUMPY)), newest


def fill(settings: Settings, homes: list[tuple[str, dict[str, Any], Readings]], count: int) -> None:
    last, files = FIRST + timedelta(DAYS - 1), []
    ids = [f"home-{n:06d}" for n in range(count)]
    with opened(settings) as service:
        for n, site_id in enumerate(ids):
            toml, result, _ = homes[n % len(homes)]
            text = toml.replace(f'"{result["site"]}"', f'"{site_id}"', 1)
            files.append((text, parse_site(text)))
        service.sites.add(files)
        assert service.sites.ids() == ids
        for n, site_id in enumerate(ids):
            _, result, newest = homes[n % len(homes)]
            service.store.append(site_id, newest)
            document = orjson.dumps(result | {"site": site_id})
            service.results.keep(site_id, FIRST, last, "", document, rolling=True)


def asked(address: str, path: str) -> tuple[float, float, int]:
    """The first answer's time and the middle one of the next three [s], and its bytes."""
    took = []
    with httpx.Client(base_url=address, timeout=300.0, headers={"Accept": "text/html"}) as http:
        for _ in range(4):
            began = time.perf_counter()
            answer = http.get(path)
            took.append(time.perf_counter() - began)
            answer.raise_for_status()
    return took[0], statistics.median(took[1:]), len(answer.content)


def lists_of(homes: list[tuple[str, dict[str, Any], Readings]], count: int) -> dict[str, Any]:
    """Of a fleet of so many: memory [MB] of the service at its start and at most, and each list's times and
    bytes."""
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data"
        fill(Settings(data=data), homes, count)
        port = free_port()
        service = start(data, port)
        try:
            row: dict[str, Any] = {"sites": count, "start_mb": peak_mb(service.pid), "lists": {}}
            for name, path in LISTS.items():
                first, again, size = asked(f"http://127.0.0.1:{port}", path)
                row["lists"][name] = {
                    "first_s": first,
                    "again_s": again,
                    "bytes": size,
                    "mb": peak_mb(service.pid),
                }
            row["peak_mb"] = peak_mb(service.pid)
        finally:
            service.send_signal(signal.SIGINT)
            service.wait(60)
    return row


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fleets", default="100,1000,10000")
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    homes = [home(seed) for seed in range(HOMES)]
    rows = [lists_of(homes, int(count)) for count in args.fleets.split(",")]
    print(f"{'sites':>7} {'list':<14}{'first s':>9}{'again s':>9}{'ms a site':>11}{'kB a site':>11}{'MB':>7}")
    for row in rows:
        print(f"{row['sites']:>7} {'(start)':<14}{'':>40}{row['start_mb']:>7.0f}")
        for name, told in row["lists"].items():
            each = told["again_s"] / row["sites"] * 1000
            print(
                f"{row['sites']:>7} {name:<14}{told['first_s']:>9.2f}{told['again_s']:>9.2f}{each:>11.2f}"
                f"{told['bytes'] / row['sites'] / 1000:>11.2f}{told['mb']:>7.0f}"
            )
        print(f"{row['sites']:>7} most memory / {MEMORY_MB:g} MB: {row['peak_mb'] / MEMORY_MB:.2f}")
    if args.json:
        args.json.write_text(json.dumps(rows, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
