"""The demo: simulate an invented fleet, analyse it in parallel, and serve it on this machine."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import as_completed
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

import click

from fieldfare.analysis.plant.load import parse_site
from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.jobs.executors import make_executor
from fieldfare.api.state.database import open_database
from fieldfare.collector.simulated import require_numba

if TYPE_CHECKING:
    from fieldfare.collector.simulated.fleet import DemoSystem

FIRM, CONTACT = "Example Heating", "+44 1632 960100"
"""The invented firm on the demo's papers, where none is set.
The number is one that is kept free for fiction."""
MADE = "demo-fleet"
"""File in the data folder with the date of its invented data; other folders are left alone."""


def run_demo(settings: Settings, announce: Callable[[str], None], *, once: bool, count: int | None) -> None:
    """Create the fleet (unless today's exists), analyse it, and serve it until Ctrl-C.

    once : exit instead of serving. count : only the first sites. Raises click.UsageError if the data folder
        holds other data than a demo's, InputError where the simulator is not installed
    """
    firm = settings.firm or FIRM
    settings = replace(settings, firm=firm, firm_contact=settings.firm_contact or CONTACT)
    today = datetime.now(UTC).date()
    _make(settings, today, announce, count)
    if once:
        announce(f"the demo's data are in {settings.data}")
        return
    from fieldfare.api.running.serve import serve

    serve(settings, announce)


def _make(settings: Settings, today: date, announce: Callable[[str], None], count: int | None) -> None:
    mark = settings.data / MADE
    label = f"{today} {count or 'all'}"
    if mark.exists() and mark.read_text(encoding="ascii") == label:
        return
    require_numba()
    if settings.data.exists() and not mark.exists() and any(settings.data.iterdir()):
        raise click.UsageError(
            f"{settings.data} holds data that are not a demo's; give another folder with --data."
        )
    shutil.rmtree(settings.data, ignore_errors=True)
    settings.data.mkdir(mode=0o700, parents=True)
    mark.write_text("unfinished", encoding="ascii")
    announce("making and analysing an invented fleet")
    make_fleet(settings, today, count)
    mark.write_text(label, encoding="ascii")


def make_fleet(settings: Settings, today: date, count: int | None = None) -> None:
    """Simulate, store and analyse every site of the demo fleet in parallel."""
    from fieldfare.collector.simulated.fleet import demo_fleet

    members = list(demo_fleet(today))[:count]
    open_database(settings.state_url).close()
    with opened(settings) as service:
        service.store.close()  # create it before several processes open it
    workers = settings.workers or os.cpu_count() or 1
    # Longest first, so that no processor idles at the end.
    order = sorted(members, key=lambda member: -member.days)
    with make_executor(settings, min(workers, len(members))) as pool:
        waiting = [pool.submit(make_site, settings, member) for member in order]
        for done in _shown(as_completed(waiting), len(waiting)):
            done.result()


def make_site(settings: Settings, member: DemoSystem) -> None:
    """Simulate one site, store its file and readings, and compute its findings; runs in a worker process."""
    made = member.simulate()
    site = parse_site(made.site_toml)
    with opened(settings) as service:
        service.sites.add([(made.site_toml, site)])
        service.store.append(site.id, made.readings)
        service.results.rolling_result(service.sites.get(site.id), settings.rolling_days)


def _shown(done: Iterable[Any], total: int) -> Iterable[Any]:
    """Show a progress bar on a terminal."""
    if not sys.stderr.isatty():
        return done
    from tqdm import tqdm

    return tqdm(done, total=total, unit="site", leave=False)
