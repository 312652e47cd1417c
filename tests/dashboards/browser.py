"""A real service on a free loopback port, and a real browser."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, Request, sync_playwright

from fieldfare.analysis.plant.load import parse_site
from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.http.app import create_app
from fieldfare.api.http.app_state import AppState
from fieldfare.api.running.serve import listen
from fieldfare.collector.simulated.faults.plant import with_fault
from fieldfare.collector.simulated.plant import random_plant, simulate
from tests.services import binary

OPTIONS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PASSWORD = "four odd words together"
DAYS = 75
PHONE, DESKTOP = {"width": 390, "height": 844}, {"width": 1280, "height": 900}


@dataclass
class Running:
    """A served installation."""

    address: str
    parts: AppState


@contextmanager
def running(folder: Path, **more: Any) -> Iterator[Running]:
    """Serve a data folder until the block ends. more : settings"""
    settings = Settings(data=folder, port=0, workers=1)
    listener = listen(settings)
    port = listener.getsockname()[1]
    with opened(Settings(data=folder, port=port, workers=1, **more)) as service:
        parts = AppState(service)
        server = uvicorn.Server(
            uvicorn.Config(create_app(parts), log_level="error", timeout_graceful_shutdown=1)
        )
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        address = f"http://127.0.0.1:{port}"
        for _ in range(200):
            try:
                urlopen(f"{address}/healthz", timeout=1)
                break
            except OSError:
                time.sleep(0.05)
        try:
            yield Running(parts.settings.address, parts)
        finally:
            parts.stopping.set()
            server.should_exit = True
            thread.join(10)


def fill(run: Running) -> None:
    """Two simulated homes up to this hour, one of which starts too often, and people of every role."""
    service, parts = run.parts.service, run.parts
    today = datetime.now(UTC).date()
    first = today - timedelta(days=DAYS)
    healthy = replace(random_plant(7, meter_set="full"), id="alder-row", name="Alder Row")
    busy = replace(random_plant(12, meter_set="full"), id="beech-end", name="Beech End")
    busy = with_fault(busy, "short_cycling", strength="gross")
    for spec in (healthy, busy):
        made = simulate(spec, first, DAYS + 1)
        site = parse_site(made.site_toml)
        service.sites.add([(made.site_toml, site)])
        now = round(datetime.now(UTC).timestamp() * 1000)
        service.store.append(site.id, {p: s.between(0, now) for p, s in made.readings.items()})
        service.results.rolling_result(service.sites.get(site.id), 365)
    for role, sites in (("installer", []), ("engineer", []), ("householder", ["alder-row"])):
        person = parts.accounts.add(f"{role}@heating.example", role.title(), role, sites)
        parts.accounts.set_password(person.id, PASSWORD)


@dataclass
class Watched:
    """What went on in a browser's pages: errors, and hosts that were asked."""

    errors: list[str] = field(default_factory=list)
    hosts: set[str] = field(default_factory=set)

    def watch(self, context: BrowserContext) -> None:
        context.on("page", self._page)
        context.on("request", self._request)

    def _page(self, page: Page) -> None:
        page.on("pageerror", lambda e: self.errors.append(str(e)))
        page.on("console", lambda m: self._said(m.type, m.text))

    def _said(self, kind: str, text: str) -> None:
        if kind == "error" and "status of 4" not in text:
            self.errors.append(text)

    def _request(self, request: Request) -> None:
        if not request.url.startswith(("data:", "blob:")):
            self.hosts.add(request.url.split("/")[2])


@contextmanager
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        made = play.chromium.launch(
            executable_path=binary("chromium-headless-shell"), headless=True, args=OPTIONS
        )
        try:
            yield made
        finally:
            made.close()


def sign_in(page: Page, run: Running, role: str) -> None:
    page.goto(f"{run.address}/sign-in")
    page.get_by_label("E-mail").fill(f"{role}@heating.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/sign-in" not in url)


def csv_export(days: int = 20) -> str:
    """A meter export as another system might write it: semicolons, decimal commas, running totals."""
    made = simulate(random_plant(9, meter_set="full"), date(2025, 1, 6), days)
    points = {
        "hp_elec": "P_el [W]",
        "hp_elec_kwh": "Electricity meter [kWh]",
        "heat": "Heat [W]",
        "flow_temp": "Flow temp [°C]",
        "return_temp": "Return temp [°C]",
        "outdoor": "Outside [°C]",
    }
    columns = {
        name: dict(zip(made.readings[p].time.tolist(), made.readings[p].value.tolist(), strict=True))
        for p, name in points.items()
    }
    lines = ["Time;" + ";".join(columns)]
    times = sorted(set.intersection(*(set(c) for c in columns.values())))
    for t in times[::2]:
        stamp = datetime.fromtimestamp(t / 1000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        lines.append(";".join([stamp, *(f"{c[t]:.3f}".replace(".", ",") for c in columns.values())]))
    return "\n".join(lines) + "\n"
