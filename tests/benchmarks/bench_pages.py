"""Server time and bytes of every page, and how long a year's trace takes to draw and to zoom.

    python -m tests.benchmarks.bench_pages

One simulated home with a year of minutes (14 points and more). Times are medians; each stands beside bare
work of the
same kind on the same machine: an empty page of the service, the library's own empty plot, the readings of a
    day read
from the store. Prints a table; --json FILE keeps it.
"""

from __future__ import annotations

import argparse
import gzip
import json
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.request import Request, urlopen

from fieldfare.analysis.plant.load import parse_site
from fieldfare.collector.simulated.plant import random_plant, simulate
from tests.dashboards.browser import DESKTOP, PASSWORD, Running, browser, running, sign_in

DAYS = 365
FIRST_DRAW_S, ZOOM_S = 1.0, 0.3
"""What is aimed at on a quiet machine of two processors."""
REPEATS = 5
PAGES = (
    "/",
    "/visits",
    "/winter",
    "/sites/alder-row",
    "/sites/alder-row/home",
    "/sites/alder-row/winter",
    "/sites/alder-row/figures/trace.json",
)


def fill(run: Running) -> None:
    """A home with a year of minutes, worked out once."""
    today = datetime.now(UTC).date()
    spec = replace(random_plant(7, meter_set="full"), id="alder-row", name="Alder Row")
    made = simulate(spec, today - timedelta(days=DAYS), DAYS)
    site = parse_site(made.site_toml)
    service = run.parts.service
    service.sites.add([(made.site_toml, site)])
    service.store.append(site.id, made.readings)
    service.results.rolling_result(service.sites.get(site.id), DAYS)
    person = run.parts.accounts.add("installer@heating.example", "Kim", "installer", [])
    run.parts.accounts.set_password(person.id, PASSWORD)


def timed(work: Callable[[], Any]) -> float:
    """Median seconds of some repeats, after one to warm up."""
    work()
    found = []
    for _ in range(REPEATS):
        began = time.perf_counter()
        work()
        found.append(time.perf_counter() - began)
    return statistics.median(found)


def page_rows(run: Running, cookie: str) -> list[dict[str, Any]]:
    def get(path: str) -> bytes:
        request = Request(run.address + path, headers={"Cookie": cookie, "Accept": "text/html"})
        with urlopen(request, timeout=60) as answer:
            body: bytes = answer.read()
        return body

    bare = timed(lambda: get("/sign-in"))
    rows = []
    for path in PAGES:
        body = get(path)
        took = timed(lambda path=path: get(path))  # type: ignore[misc]
        rows.append(
            {
                "what": path,
                "seconds": took,
                "bare": bare,
                "bytes": len(body),
                "packed": len(gzip.compress(body, 5)),
            }
        )
    return rows


def trace_rows(run: Running) -> list[dict[str, Any]]:
    with browser() as chromium:
        context = chromium.new_context(viewport=DESKTOP)  # type: ignore[arg-type]
        page = context.new_page()
        sign_in(page, run, "installer")
        first, plotted, zooms = [], [], []
        for _ in range(REPEATS):
            page.goto("about:blank")
            began = time.perf_counter()
            page.goto(f"{run.address}/sites/alder-row#trace", wait_until="commit")
            page.locator("[data-trace] .room svg").first.wait_for()
            first.append(time.perf_counter() - began)
            page.locator("[data-drawn-ms]").wait_for(timeout=60_000)
            plotted.append(float(page.locator("[data-trace]").get_attribute("data-drawn-ms") or 0) / 1000.0)
            page.get_by_role("button", name="Day", exact=True).click()
            page.locator("[data-zoom-ms]").wait_for(timeout=60_000)
            for _ in range(3):
                page.evaluate("document.querySelector('[data-trace]').removeAttribute('data-zoom-ms')")
                page.get_by_role("button", name="Earlier", exact=True).click()
                page.locator("[data-zoom-ms]").wait_for(timeout=60_000)
                zooms.append(float(page.locator("[data-trace]").get_attribute("data-zoom-ms") or 0) / 1000.0)
        empty = page.evaluate(
            """async () => {
                const d = document.createElement('div');
                document.body.append(d);
                const t = performance.now();
                await Plotly.newPlot(d, [{y: [1, 2]}], {height: 600}, {displayModeBar: false});
                return performance.now() - t;
            }"""
        )
        context.close()
    return [
        {
            "what": "year's trace first seen (drawn by the server)",
            "seconds": statistics.median(first),
            "bare": FIRST_DRAW_S,
        },
        {
            "what": "year's trace to zoom in (library fetched, started, drawn)",
            "seconds": statistics.median(plotted),
            "bare": FIRST_DRAW_S,
        },
        {"what": "zoom to a day of minutes", "seconds": statistics.median(zooms), "bare": ZOOM_S},
        {
            "what": "the same against an empty plot of the library",
            "seconds": statistics.median(zooms),
            "bare": empty / 1000.0,
        },
    ]


def measure() -> list[dict[str, Any]]:
    """All rows: what, seconds, bare [s, work or aim it stands beside], and a page's bytes."""
    with tempfile.TemporaryDirectory() as folder, running(Path(folder)) as run:
        fill(run)
        parts = run.parts
        person = parts.accounts.find("installer@heating.example")
        cookie = f"fieldfare={parts.sign_in.open_for_person(person.id)}"
        rows = page_rows(run, cookie)
        return rows + (trace_rows(run) if shutil.which("chromium") else [])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", type=Path, help="keep the rows in this file")
    chosen = parser.parse_args()
    rows = measure()
    print(f"{'what':58} {'seconds':>8} {'beside':>8} {'ratio':>6} {'kB':>7} {'kB packed':>9}")
    for r in rows:
        size = f"{r['bytes'] / 1000:7.0f} {r['packed'] / 1000:9.0f}" if "bytes" in r else ""
        print(f"{r['what']:58} {r['seconds']:8.3f} {r['bare']:8.3f} {r['seconds'] / r['bare']:6.2f} {size}")
    if chosen.json:
        chosen.json.write_text(json.dumps(rows, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
