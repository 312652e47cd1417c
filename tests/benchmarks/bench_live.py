"""How late the newest readings are: from arrival at the broker to the disk, to the page, to an alert.

    python -m tests.benchmarks.bench_live [--sites 1000] [--seconds 60] [--watched 20] [--stopped 12]
        [--json FILE]

A real broker and the service with its collector, in processes of their own. Every site sends a pack of 14
readings each minute, evenly spread. Of the watched sites a page listens to the live readings as a browser
does, and the store is looked at from outside. A reading has arrived when the broker has acknowledged it.

An alert comes with the watch, which is due each quarter of an hour. Measured is one pass of it over homes
whose units stopped, on the pool that the service uses, from its start to the last alert; and the next pass
over the same homes.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import paho.mqtt.client as paho

from fieldfare.analysis.plant.load import parse_site
from fieldfare.api.alerts.alerts import Alerts
from fieldfare.api.alerts.notices import Notices
from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.jobs.leases import JobLeases
from fieldfare.api.jobs.runner import Runner
from fieldfare.collector.store.local import LocalStore
from tests.benchmarks.bench_service import ROOT
from tests.services import broker, end, free_port, wait_for_port
from tests.situations.house import USUAL, House
from tests.situations.live import lose_supply, within_a_run

POINTS = 14
LOOK_S = 0.02
SETTLE_S = 6.0
"""Pages connect and the collector subscribes before anything is measured; at the end the last arrive."""
HISTORY_DAYS, STOPPED_MIN = 7, 46
SERVE = (
    "import sys; from pathlib import Path; from fieldfare.api.running.serve import serve; from"
    " fieldfare.api.core.settings import Settings; serve(Settings(data=Path(sys.argv[1]), demo=True,"
    " port=int(sys.argv[2]), broker_url=sys.argv[3]), announce=print)"
)
SITE = '[site]\nid = "{id}"\nname = "{id}"\ntimezone = "Europe/London"\n[heat_pump]\nrated_output_kw = 8.0\n'
POINT = '[[point]]\nid = "p{k}"\nquantity = "room_temperature"\nzone = "z{k}"\n'

Seen = dict[tuple[str, int], float]
"""(site, second of a reading) -> when it was there [s]."""


def site_text(site: str) -> str:
    return SITE.format(id=site) + "".join(POINT.format(k=k) for k in range(POINTS))


@contextmanager
def serving(folder: Path, port: int) -> Iterator[str]:
    """The service with its collector. Yields its address."""
    own = free_port()
    process = subprocess.Popen(
        [sys.executable, "-c", SERVE, str(folder), str(own), f"mqtt://127.0.0.1:{port}"],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
    )
    try:
        wait_for_port(own, process)
        yield f"http://127.0.0.1:{own}"
    finally:
        end(process)


def send(port: int, sites: list[str], seconds: float, sent: Seen) -> None:
    """Packs of all sites in turn, a minute for each round. Fills sent: when the broker had them."""
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="gateways")
    waiting: dict[int, tuple[str, int]] = {}
    held = threading.Lock()

    def on_publish(_c: Any, _u: Any, number: int, *_: Any) -> None:
        with held:
            sent[waiting.pop(number)] = time.monotonic()

    client.on_publish = on_publish
    client.connect("127.0.0.1", port)
    client.loop_start()
    begin, apart = time.monotonic(), 60.0 / len(sites)
    for n in range(int(seconds / apart)):
        time.sleep(max(0.0, begin + n * apart - time.monotonic()))
        site, second = sites[n % len(sites)], int(time.time())
        rest = ",".join(f'{{"n":"p{k}","v":{20 + (n * 7 + k) % 50 / 10}}}' for k in range(1, POINTS))
        pack = f'[{{"bt":{second},"n":"p0","v":{20 + n % 9}}},{rest}]'
        with held:  # the answer may come before the number is known
            waiting[client.publish(f"fieldfare/{site}/readings", pack, 1).mid] = site, second
    time.sleep(SETTLE_S)
    client.disconnect()
    client.loop_stop()


def listen(address: str, site: str, seconds: float, shown: Seen) -> None:
    """The live readings of a site, as its page takes them."""
    url = f"{address}/api/v1/sites/{site}/live?seconds={int(seconds)}"
    with httpx.stream("GET", url, timeout=seconds + 30) as answer:
        answer.raise_for_status()
        event = ""
        for line in answer.iter_lines():
            if line.startswith("event: "):
                event = line.removeprefix("event: ")
            elif line.startswith("data: ") and event == "readings":
                newest = max(r["time"] for r in json.loads(line.removeprefix("data: ")).values())
                shown.setdefault((site, newest // 1000), time.monotonic())


def look(folder: Path, sites: list[str], until: float, kept: Seen) -> None:
    """When the readings of some sites are on disk, seen by another process than the service."""
    store = LocalStore(folder / "readings")
    while time.monotonic() < until:
        for site in sites:
            if span := store.span(site):
                kept.setdefault((site, span[1] // 1000), time.monotonic())
        time.sleep(LOOK_S)
    store.close()


def delays(count: int, seconds: float, watched: int) -> dict[str, Any]:
    """p50 and p95 [s] of the delay to disk and page."""
    sent, shown, kept = Seen(), Seen(), Seen()
    with tempfile.TemporaryDirectory(prefix="live-") as name, broker() as server:
        folder, sites = Path(name), [f"site-{n:04d}" for n in range(count)]
        chosen = sites[:: max(1, count // watched)][:watched]
        with opened(Settings(data=folder)) as service:
            texts = [site_text(site) for site in sites]
            service.sites.add([(text, parse_site(text)) for text in texts])
        with serving(folder, server.port) as address:
            time.sleep(SETTLE_S)
            whole = seconds + 2 * SETTLE_S
            threads = [threading.Thread(target=listen, args=(address, s, whole, shown)) for s in chosen]
            threads.append(
                threading.Thread(target=look, args=(folder, chosen, time.monotonic() + whole, kept))
            )
            for thread in threads:
                thread.start()
            send(server.port, sites, seconds, sent)
            for thread in threads:
                thread.join(whole + 60)
    mine = [key for key in sent if key[0] in chosen]
    out: dict[str, Any] = {"sites": count, "packs": len(sent), "watched_packs": len(mine)}
    for name, found in (("disk", kept), ("page", shown)):
        late = [found[key] - sent[key] for key in mine if key in found]
        assert len(late) >= 0.9 * len(mine), f"{name}: only {len(late)} of {len(mine)} packs were seen"
        out[name] = {"p50_s": float(np.quantile(late, 0.5)), "p95_s": float(np.quantile(late, 0.95))}
    return out


def alerts(count: int) -> dict[str, Any]:
    """A pass of the watch over homes whose units lost their supply, and one over them when nothing is new."""
    now = int(time.time()) // 60 * 60_000
    today = datetime.fromtimestamp(now / 1000, UTC).date()
    house = House(first=today - timedelta(HISTORY_DAYS - 1), days=HISTORY_DAYS, mean_c=3.0, points=USUAL)
    lose_supply(house, house.time >= within_a_run(house, now - STOPPED_MIN * 60_000))
    readings = {p: s.between(0, now) for p, s in house.made().readings.items()}
    quarter = datetime.fromtimestamp(now / 1000, UTC).replace(minute=15, second=0)
    with tempfile.TemporaryDirectory(prefix="live-") as name, opened(Settings(data=Path(name))) as service:
        for n in range(count):
            text = house.site_text.replace('id = "test-house"', f'id = "house-{n:03d}"', 1)
            service.sites.add([(text, parse_site(text))])
            service.store.append(f"house-{n:03d}", readings)
        told = Alerts(service.database)
        notices, book = Notices(service.database, service.settings), JobLeases(service.database)
        runner = Runner(service, told, notices, book)
        first, second = (
            timed(lambda at=at: runner.watch(at)) for at in (quarter, quarter.replace(minute=30))
        )
        found = [a for a in told.page(0, 1000, live=True)[0] if a.code == "unit_stopped"]
    assert len(found) == count, f"{len(found)} alerts of {count} stopped units"
    return {"homes": count, "first_pass": first, "later_pass": second, "alerts": len(found)}


def timed(work: Any) -> dict[str, float]:
    """Wall time of a pass, and the processor time of its workers [s]."""
    began, before = time.monotonic(), resource.getrusage(resource.RUSAGE_CHILDREN)
    work()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return {"wall_s": time.monotonic() - began, "processor_s": used}


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sites", type=int, default=1000)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--watched", type=int, default=20)
    parser.add_argument("--stopped", type=int, default=12)
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    found = {"delays": delays(args.sites, args.seconds, args.watched), "alerts": alerts(args.stopped)}
    late = found["delays"]
    print(f"{late['sites']} sites a minute, {late['packs']} packs:")
    for place in ("disk", "page"):
        print(f"  arrival to {place}: p50 {late[place]['p50_s']:.2f} s, p95 {late[place]['p95_s']:.2f} s")
    for name in ("first_pass", "later_pass"):
        one = found["alerts"][name]
        took = f"{one['wall_s']:.1f} s, {one['processor_s']:.1f} s of processors"
        print(f"  {name} of {args.stopped} homes: {took}")
    if args.json:
        args.json.write_text(json.dumps(found, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
