"""How long a list of homes takes until it is painted, and until it is painted in another order, in a real
browser.

    python -m tests.benchmarks.bench_fleet_paint [--fleets 300,3000] [--lists live ...]
        [--repeats 5] [--json FILE]

The fleets are rows of the summary table, as in bench_lists: three simulated homes stand for all, and each
home has its last readings. First paint is the browser's own first contentful paint, from the click on; "all"
is the end of loading. The browser's cache is warm, as on any but the very first visit of a day; the service
is asked by somebody who signed in, and no nightly work runs meanwhile.
"""

from __future__ import annotations

import argparse
import json
import statistics
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Page

from fieldfare.analysis.readings import Samples
from tests.benchmarks.bench_fleets import home
from tests.benchmarks.bench_lists import DAYS, fill
from tests.dashboards.browser import DESKTOP, PASSWORD, PHONE, Running, browser, running, sign_in

PATIENCE_MS = 180_000
"""A machine that others use."""
PATHS = {
    "worst first": "/",
    "by cost": "/?sort=cost",
    "by name": "/?sort=name",
    "by area": "/?sort=area",
    "search": "/?q=starts+too+often",
    "filter": "/?verdict=act",
    "filter, search and sort": "/?verdict=act&q=starts&sort=cost",
    "page 2": "/?page=2",
    "live": "/live",
}
_TIMES = """async () => { const done = () => performance.getEntriesByName('first-contentful-paint').length
  && performance.getEntriesByType('navigation')[0].loadEventEnd > 0;
while (!done()) await new Promise((next) => setTimeout(next, 10));
const n = performance.getEntriesByType('navigation')[0];
const p = performance.getEntriesByName('first-contentful-paint')[0];
return [p.startTime, n.responseStart, n.loadEventEnd, n.encodedBodySize]; }"""


def painted(page: Page, address: str, repeats: int) -> tuple[float, ...]:
    """First paint, first byte and end of loading [ms], and bytes as sent: medians of some visits; and the
    end of loading of the visit before these [ms], which after a start is the service's first."""
    rows = []
    for _ in range(repeats + 1):
        page.goto(address, wait_until="load")
        rows.append(page.evaluate(_TIMES))
    first, byte, loaded, size = (statistics.median(r[i] for r in rows[1:]) for i in range(4))
    return first, byte, loaded, size, rows[0][2]


def put_in(run: Running, homes: list[Any], count: int) -> None:
    """So many homes with rows and last readings, and an installer."""
    service, parts = run.parts.service, run.parts
    fill(service, homes, count)
    now = np.array([round(datetime.now(UTC).timestamp() * 1000)])
    newest = [{p: Samples(now, s.value[-1:]) for p, s in each[2].items()} for each in homes]
    for n, site_id in enumerate(service.sites.ids()):
        service.store.append(site_id, newest[n % len(newest)])
    for site_id, span in ((s, service.store.span(s)) for s in service.sites.ids()):
        assert span is not None
        service.live.look(service.sites.get(site_id), span[1])  # as the watch does every quarter of an hour
    person = parts.accounts.add("installer@heating.example", "Installer", "installer", [])
    parts.accounts.set_password(person.id, PASSWORD)


def measure(count: int, homes: list[Any], repeats: int, lists: list[str]) -> Iterator[dict[str, Any]]:
    """A row for each list and width, of a fleet of so many homes."""
    with tempfile.TemporaryDirectory() as folder, running(Path(folder) / "data") as run:
        put_in(run, homes, count)
        with browser() as chromium:
            for width, size in (("laptop", DESKTOP), ("phone", PHONE)):
                page = chromium.new_context(viewport=size).new_page()  # type: ignore[arg-type]
                page.set_default_timeout(PATIENCE_MS)
                sign_in(page, run, "installer")
                for name, path in ((n, PATHS[n]) for n in lists):
                    first, byte, loaded, sent, cold = painted(page, run.address + path, repeats)
                    yield {
                        "homes": count,
                        "width": width,
                        "list": name,
                        "paint_ms": first,
                        "byte_ms": byte,
                        "all_ms": loaded,
                        "first_visit_ms": cold,
                        "kb": sent / 1000,
                    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fleets", default="300,3000")
    parser.add_argument("--lists", nargs="*", choices=PATHS, default=list(PATHS))
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    homes = [home(seed, DAYS) for seed in range(3)]
    print(
        f"{'homes':>6} {'width':<7}"
        f" {'list':<24}{'first byte ms':>14}{'first paint ms':>15}{'all ms':>8}"
        f"{'first visit':>12}{'kB sent':>9}"
    )
    rows = []
    for count in args.fleets.split(","):
        for r in measure(int(count), homes, args.repeats, args.lists):
            rows.append(r)
            print(
                f"{r['homes']:>6} {r['width']:<7}"
                f" {r['list']:<24}{r['byte_ms']:>14.0f}{r['paint_ms']:>15.0f}"
                f"{r['all_ms']:>8.0f}{r['first_visit_ms']:>12.0f}{r['kb']:>9.1f}",
                flush=True,
            )
    if args.json:
        args.json.write_text(json.dumps(rows, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
