"""A broker away, a full disk, a jump of the clock, a time-series server away: what happened, and whether
anything was lost.

    python -m tests.benchmarks.bench_mqtt_outages [--away 600] [--json FILE]

The full disk is a small file system of its own (tmpfs where mounting is allowed; else a limit on file size).
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import paho.mqtt.client as paho

from fieldfare.analysis.readings import Samples
from fieldfare.collector.mqtt import dead_letters
from fieldfare.collector.mqtt.collect import Collector, collect
from fieldfare.collector.mqtt.journal import Journal
from fieldfare.collector.mqtt.settings import MqttSettings
from fieldfare.collector.store.influx import InfluxStore
from fieldfare.collector.store.local import LocalStore
from fieldfare.collector.store.recent_rows import fetch
from tests.services import broker, collecting, end, free_port, influx, make_site, wait_until

TOPIC = "fieldfare/alder-row/readings"
FLEET = [make_site()]


def gateway(port: int) -> paho.Client:
    """A gateway that keeps what it could not hand over, as paho's queue does."""
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="gateway", clean_session=False)
    client.max_inflight_messages_set(500)
    client.max_queued_messages_set(0)
    client.reconnect_delay_set(1, 2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    return client


def pack(step: int, start: int) -> str:
    return f'[{{"bt":{start + step},"n":"flow","v":{step % 50}}},{{"n":"rate","v":12}}]'


def held(store: Any, start: int) -> set[int]:
    found = store.read("alder-row").get("flow")
    return set() if found is None else {int(t) // 1000 - start for t in found.time.tolist()}


def broker_away(seconds: float) -> dict[str, Any]:
    """The broker is stopped for a while; the gateway goes on measuring and hands over when it is back."""
    start, sent = int(time.time()) - 7200, 0
    with tempfile.TemporaryDirectory() as name, broker(port=free_port()) as server:
        store = LocalStore(Path(name) / "readings")
        told = MqttSettings(f"mqtt://127.0.0.1:{server.port}", Path(name), client_id="away")
        with collecting(told, lambda: FLEET, store) as collector:
            wait_until(lambda: len(collector._link.filters) == 3)
            client = gateway(server.port)
            for _ in range(200):
                client.publish(TOPIC, pack(sent, start), 1)
                sent += 1
            wait_until(lambda: len(held(store, start)) == sent)
            server.stop()
            until = time.monotonic() + seconds
            while time.monotonic() < until:
                client.publish(TOPIC, pack(sent, start), 1)
                sent += 1
                time.sleep(0.25)
            server.start()
            back = time.monotonic()
            wait_until(lambda: len(held(store, start)) == sent, 180)
            took = time.monotonic() - back
            client.disconnect()
            client.loop_stop()
        return {
            "case": f"broker away {seconds:.0f} s",
            "published": sent * 2,
            "missing": sent - len(held(store, start)),
            "stored": sum(p.count for p in store.points("alder-row").values()),
            "seconds_until_all_stored": round(took, 1),
        }


@contextmanager
def small_disk(megabytes: int) -> Iterator[tuple[Path, str]]:
    """A folder on a file system of a few megabytes; without the right to mount, a plain folder and another
    means."""
    with tempfile.TemporaryDirectory() as name:
        mounted = (
            subprocess.run(
                ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", name], capture_output=True
            ).returncode
            == 0
            if os.geteuid() == 0
            else False
        )
        try:
            yield Path(name), "tmpfs" if mounted else "file size limit"
        finally:
            if mounted:
                subprocess.run(["umount", name], check=True)


def work(port: str, folder: str, limit: str) -> None:
    """A collector in a process of its own."""
    if int(limit):
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (int(limit), resource.RLIM_INFINITY))
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    signal.signal(
        signal.SIGUSR1, lambda *_: resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY,) * 2)
    )
    told = MqttSettings(
        f"mqtt://127.0.0.1:{port}",
        Path(folder),
        client_id="full",
        max_in_flight=200,
        back_off_seconds=(0.1, 1.0),
    )
    collect(told, lambda: FLEET, LocalStore(Path(folder) / "readings"), stop)


def count_of(folder: Path) -> int:
    """Readings of one point on disk, as another process sees them."""
    with closing(sqlite3.connect(f"file:{folder}/readings/hot.sqlite?mode=ro", uri=True)) as db:
        found = fetch(db, "alder-row", ["flow"])
    return len(found["flow"].time) if found else 0


def full_disk() -> dict[str, Any]:
    """The disk fills while readings come in, stays full, and is freed."""
    start, sent = int(time.time()) - 900_000, 0
    with small_disk(12) as (folder, means), broker() as server:
        limit = 0 if means == "tmpfs" else 3_000_000
        process = subprocess.Popen(
            [sys.executable, "-m", __spec__.name, "worker", str(server.port), str(folder), str(limit)]
        )
        try:
            wait_until(lambda: (folder / "intake.sqlite").exists(), 30)
            time.sleep(3)
            client = gateway(server.port)
            if means == "tmpfs":
                free = os.statvfs(folder).f_bavail * os.statvfs(folder).f_frsize
                (folder / "ballast").write_bytes(b"\0" * (free - 2_000_000))
            count = 60_000
            while sent < count:
                info = client.publish(TOPIC, pack(sent, start), 1)
                sent += 1
                if sent % 500 == 0:
                    info.wait_for_publish(60)
            time.sleep(8)
            alive = process.poll() is None
            if means == "tmpfs":
                full = (
                    os.statvfs(folder).f_bavail == 0
                    or len(held(LocalStore(folder / "readings"), start)) < sent
                )
                (folder / "ballast").unlink()
            else:
                full = count_of(folder) < sent
                process.send_signal(signal.SIGUSR1)
            freed = time.monotonic()
            wait_until(lambda: count_of(folder) == sent, 120)
            took = time.monotonic() - freed
            client.disconnect()
            client.loop_stop()
        finally:
            end(process, 30)
        with closing(LocalStore(folder / "readings")) as store:
            missing, stored = (
                sent - len(held(store, start)),
                sum(p.count for p in store.points("alder-row").values()),
            )
        return {
            "case": f"full disk ({means})",
            "published": sent * 2,
            "missing": missing,
            "stored": stored,
            "was_full": full,
            "collector_lived": alive,
            "seconds_until_all_stored": round(took, 1),
        }


def clock_jump(seconds: float) -> dict[str, Any]:
    """Our own clock jumps and comes back, with readings before, between and after."""
    start, ahead = int(time.time()) - 7200, [0.0]
    with tempfile.TemporaryDirectory() as name, broker() as server:
        folder = Path(name)
        store, stop = LocalStore(folder / "readings"), threading.Event()
        told = MqttSettings(f"mqtt://127.0.0.1:{server.port}", folder, client_id="jump")
        collector = Collector(told, lambda: FLEET, store, lambda: time.time() + ahead[0])
        thread = threading.Thread(target=collector.run, args=(stop,))
        thread.start()
        try:
            wait_until(lambda: len(collector._link.filters) == 3)
            client = gateway(server.port)
            sent = 0
            for jump in (0.0, seconds, 0.0):
                ahead[0] = jump
                time.sleep(0.6)
                for _ in range(100):
                    client.publish(TOPIC, pack(sent, start), 1)
                    sent += 1
                wait_until(lambda: collector.totals.messages == sent)  # noqa: B023
            client.disconnect()
            client.loop_stop()
        finally:
            stop.set()
            thread.join(30)
            collector.close()
        book = Journal(folder)
        aside = dead_letters.tally(book).messages
        replayed = dead_letters.replay(book, FLEET, store)
        return {
            "case": f"clock jumps {seconds:+.0f} s and back",
            "published": sent * 2,
            "jumps_noted": collector.totals.clock_jumps,
            "set_aside": aside,
            "replayed": replayed.readings,
            "missing": sent - len(held(store, start)),
            "stored": sum(p.count for p in store.points("alder-row").values()),
        }


def server_away(seconds: float) -> dict[str, Any]:
    """The time-series server is stopped while readings are appended; then everything follows."""
    with tempfile.TemporaryDirectory() as name, influx() as server:
        server.create("fleet")
        store = InfluxStore(server.url, "fleet", Path(name) / "spool")
        at, step = 1_767_225_600_000, 0

        def append() -> None:
            nonlocal step
            times = at + step * 1000 + np.arange(100) * 10
            store.append("alder-row", {"p": Samples(times, times % 97 * 1.0)})
            step += 1

        for _ in range(50):
            append()
        store.flush()
        server.server.stop()
        until, slowest = time.monotonic() + seconds, 0.0
        while time.monotonic() < until:
            began = time.monotonic()
            append()
            slowest = max(slowest, time.monotonic() - began)
            time.sleep(0.05)
        waiting = store.waiting()
        server.server.start()
        back = time.monotonic()
        store.flush(180)
        took = time.monotonic() - back
        got = store.read("alder-row")["p"]
        count = store.points("alder-row")["p"].count
        store.close()
        expected = np.sort(np.concatenate([at + s * 1000 + np.arange(100) * 10 for s in range(step)]))
        return {
            "case": f"time-series server away {seconds:.0f} s",
            "published": step * 100,
            "waited_on_disk": waiting,
            "missing": len(np.setdiff1d(expected, got.time)),
            "stored": count,
            "wrong": int((got.value != got.time % 97).sum()),
            "slowest_append_s": round(slowest, 3),
            "seconds_until_all_stored": round(took, 1),
        }


def main() -> None:
    if len(sys.argv) > 1 and sys.argv[1] == "worker":
        work(*sys.argv[2:])
        return
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--away", type=float, default=600.0, help="seconds that broker and server are away")
    parser.add_argument("--json", type=Path)
    given = parser.parse_args()
    rows = []
    for case in (
        full_disk,
        lambda: clock_jump(-86_400.0),
        lambda: clock_jump(86_400.0),
        lambda: server_away(given.away / 5),
        lambda: broker_away(given.away),
    ):
        rows.append(case())
        print(rows[-1], flush=True)
    if given.json:
        given.json.write_text(json.dumps(rows, indent=1))


if __name__ == "__main__":
    main()
