"""`kill -9` of collector and broker at random moments while a million readings come in.

    python -m tests.benchmarks.bench_kills [--readings 1000000] [--collector 70] [--broker 35] [--seed 1]
    [--remember 8] [--json FILE]

A gateway publishes at QoS 1: SenML packs of 40 readings with their time; beside them single values with a
time and bare values without one, each value published once, so that losing or doubling one shows. First the
collector is killed, again and again, then the broker.

What the broker has not acknowledged the gateway keeps and sends again, as QoS 1 asks. A broker that is killed
loses besides what it acknowledged and had not written yet; so the gateway keeps packs and singles for
`--remember` seconds after their acknowledgement, and sends them again when it reconnects. That has to be
longer than the broker takes from one write to the next, which is measured too: on a machine with no processor
to spare a write takes many times `autosave_interval`. Bare values are not kept:
sent again they would take the time of a second arrival. What of them is missing or twice after the broker's
kills is what leaving out the time costs. At the end every reading is compared. The exit code is 1 where one
is wrong.
"""

from __future__ import annotations

import argparse
import json
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import deque
from pathlib import Path
from typing import Any

import numpy as np
import paho.mqtt.client as paho

from fieldfare.collector.mqtt import dead_letters
from fieldfare.collector.mqtt.collect import collect
from fieldfare.collector.mqtt.journal import Journal
from fieldfare.collector.mqtt.settings import MqttSettings
from fieldfare.collector.store.local import LocalStore
from tests.services import broker, end, free_port, make_site

RECORDS, PLACES = 40, 8
SITE = "kill-row"
REMEMBER_S = 8.0
"""The broker begins to write what it holds each second (`autosave_interval` of the tests' broker)."""
SETTLE_S = 600.0
QUIET_S = 30.0


def site() -> Any:
    points = {f"p{k}": 'quantity = "room_temperature"' for k in range(PLACES)}
    power = 'quantity = "heat_pump_electricity"\nas = "power"\nunit = "W"'
    return make_site(SITE, {**points, "single": power, "bare": power, "probe": power})


def pack(number: int, start: int) -> str:
    """Five times of eight points."""
    rows = [
        f'{{"n":"p{k}","t":{start + number * 5 + step},"v":{value(number * 5 + step, k)}}}'
        for step in range(RECORDS // PLACES)
        for k in range(PLACES)
    ]
    return f"[{','.join(rows)}]"


def value(step: int, point: int) -> float:
    return (step * 7 + point * 13) % 400 / 10


class Gateway:
    """Publishes steadily, over the broker's deaths."""

    def __init__(self, port: int, packs: int, start: int, remember_s: float) -> None:
        self.port, self.packs, self.start, self.remember_s = port, packs, start, remember_s
        self.sent = self.extras = self.lost_connections = self.sent_again = 0
        self._waiting: dict[int, tuple[str, str]] = {}
        self._answers: deque[tuple[float, int]] = deque()
        self._acknowledged: deque[tuple[float, tuple[str, str]]] = deque()
        self._again = threading.Event()
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="gateway", clean_session=False)
        self._client.max_inflight_messages_set(200)
        self._client.max_queued_messages_set(0)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_disconnect = self._gone
        self._client.on_publish = self._taken
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def _gone(self, *_: Any) -> None:
        self.lost_connections += 1
        self._again.set()

    def _taken(self, _client: Any, _user: Any, mid: int, *_: Any) -> None:
        """The broker acknowledged a message. On the client's thread, which holds a lock: nothing may wait
        here."""
        self._answers.append((time.monotonic(), mid))

    def publish(self, topic: str, payload: str) -> None:
        """Publish without keeping: the client itself sends again what is not acknowledged."""
        self._client.publish(topic, payload, 1)

    def publish_kept(self, topic: str, payload: str) -> None:
        self._waiting[self._client.publish(topic, payload, 1).mid] = (topic, payload)

    def resend(self) -> None:
        """Count the time from each acknowledgement. After the broker came back send what it acknowledged in
        its last seconds once more; nothing is forgotten while it is away."""
        while self._answers:
            when, mid = self._answers.popleft()
            if (message := self._waiting.pop(mid, None)) is not None:
                self._acknowledged.append((when, message))
        if not self._again.is_set():
            while self._acknowledged and time.monotonic() - self._acknowledged[0][0] > self.remember_s:
                self._acknowledged.popleft()
        elif self._client.is_connected():
            self._again.clear()
            recent = [message for _, message in self._acknowledged]
            self._acknowledged.clear()
            for message in recent:
                self.publish_kept(*message)
                self.sent_again += 1

    def step(self) -> None:
        topic = f"fieldfare/{SITE}/readings"
        self.publish_kept(topic, pack(self.sent, self.start))
        if self.sent % 4 == 0:
            self.publish_kept(f"{topic}/single", f'{{"t":{self.start + self.extras},"v":{self.extras}}}')
            self.publish(f"{topic}/bare", str(self.extras))
            self.extras += 1
        self.sent += 1

    @property
    def waiting(self) -> int:
        """Messages that the broker has not acknowledged."""
        return len(self._client._out_messages)

    def settle(self, seconds: float) -> bool:
        """Until the broker has acknowledged everything. Returns whether it did."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            self.resend()
            if self._client.is_connected() and not self._again.is_set() and not self.waiting:
                return True
            time.sleep(0.1)
        return False

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def worker(port: int, folder: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-m", __spec__.name, "worker", str(port), str(folder)])


def work(port: str, folder: str) -> None:
    stop, fleet = threading.Event(), [site()]
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    settings = MqttSettings(
        f"mqtt://127.0.0.1:{port}",
        Path(folder),
        client_id="killed",
        max_in_flight=500,
        back_off_seconds=(0.05, 0.3),
    )
    collect(settings, lambda: fleet, LocalStore(Path(folder) / "readings"), stop)


def run(
    readings: int, collector_kills: int, broker_kills: int, seed: int, remember_s: float
) -> dict[str, Any]:
    rng, packs = random.Random(seed), readings // RECORDS
    kills = collector_kills + broker_kills
    start = int(time.time()) - packs * 5 - 3600
    result: dict[str, Any] = {"readings_published": packs * RECORDS}
    with tempfile.TemporaryDirectory() as name, broker(port=free_port()) as server:
        folder = Path(name)
        process = worker(server.port, folder)
        gateway = Gateway(server.port, packs, start, remember_s)
        killed, unwritten_s = {"collector": 0, "broker": 0}, 0.0
        began = time.monotonic()
        await_collector(gateway, folder)
        next_kill = time.monotonic() + 1.0
        extras_before_broker = None
        while gateway.sent < packs or sum(killed.values()) < kills:
            due = sum(killed.values()) * packs / kills  # publishing and killing keep step
            if gateway.sent < packs and gateway.sent <= due + packs / kills:
                for _ in range(10):
                    if gateway.sent < packs:
                        gateway.step()
            else:
                time.sleep(0.005)
            gateway.resend()
            unwritten_s = max(unwritten_s, since_written(server.folder))
            if time.monotonic() < next_kill:
                continue
            if killed["collector"] < collector_kills:
                process.kill()
                process.wait(10)
                process = worker(server.port, folder)
                killed["collector"] += 1
                next_kill = time.monotonic() + rng.uniform(0.6, 2.4)
            elif killed["broker"] < broker_kills:
                if not killed["broker"]:  # what was published before is to be whole, timed or not
                    if not gateway.settle(SETTLE_S):
                        raise SystemExit(
                            f"the broker took nothing for {SETTLE_S:g} s: {gateway.waiting} wait"
                        )
                    await_all(LocalStore(folder / "readings"), gateway.extras)
                    time.sleep(4)  # the broker has written what was acknowledged
                    extras_before_broker = gateway.extras
                server.kill()
                time.sleep(rng.uniform(0.0, 0.3))
                server.start()
                killed["broker"] += 1
                next_kill = time.monotonic() + rng.uniform(1.2, 3.0)
            else:
                next_kill = float("inf")
        gateway.settle(SETTLE_S)
        result["never_acknowledged"] = gateway.waiting
        gateway.close()
        store = LocalStore(folder / "readings")
        settle(store)
        end(process, 30)
        result |= {"seconds": round(time.monotonic() - began), **{f"{k}_kills": n for k, n in killed.items()}}
        result |= {"messages_sent_again": gateway.sent_again}
        result |= {"remembered_s": remember_s, "broker_longest_between_writes_s": round(unwritten_s, 1)}
        before = gateway.extras if extras_before_broker is None else extras_before_broker
        result |= compare(store, packs, start, gateway.extras, before)
        result["set_aside"] = dead_letters.tally(Journal(folder)).kept
    return result


def since_written(folder: Path) -> float:
    """Time since the broker wrote what it holds, its restarts included [s]; 0 before the first time."""
    return max((time.time() - file.stat().st_mtime for file in folder.glob("mosquitto.db")), default=0.0)


def await_collector(gateway: Gateway, folder: Path) -> None:
    """Wait until the broker knows the collector's session: before that it keeps no message for it."""
    for n in range(600):
        gateway.publish(f"fieldfare/{SITE}/readings/probe", str(n))
        time.sleep(0.5)
        if (folder / "readings").is_dir() and "probe" in LocalStore(folder / "readings").points(SITE):
            return
    raise SystemExit("the collector did not begin within five minutes")


def await_all(store: LocalStore, extras: int) -> None:
    """Wait until every bare value is stored, else a killed broker loses also what a killed collector had
    left with it: on a busy machine that takes up to half a minute to begin again."""
    until = time.monotonic() + SETTLE_S
    while time.monotonic() < until:
        if len(np.unique(store.read(SITE, ["bare"])["bare"].value)) >= extras:
            return
        time.sleep(0.5)
    print(f"not every bare value was stored within {SETTLE_S:g} s", file=sys.stderr)


def settle(store: LocalStore) -> None:
    """Wait until nothing more arrives for QUIET_S, ten minutes at most: a collector that was killed last
    takes a while to begin again on a busy machine."""
    before, since, until = -1, time.monotonic(), time.monotonic() + 600
    while time.monotonic() < min(since + QUIET_S, until):
        now = sum(p.count for p in store.points(SITE).values())
        if now != before:
            before, since = now, time.monotonic()
        time.sleep(0.5)


def compare(store: LocalStore, packs: int, start: int, extras: int, before_broker: int) -> dict[str, Any]:
    """What is missing, doubled or changed."""
    held = store.read(SITE)
    steps = np.arange(packs * 5)
    missing = wrong = 0
    for k in range(PLACES):
        times, values = held[f"p{k}"]
        expected = (start + steps) * 1000
        at = np.searchsorted(times, expected)
        found = (at < len(times)) & (times[np.minimum(at, len(times) - 1)] == expected)
        missing += int((~found).sum())
        wrong += (
            int((values[at[found]] != (steps[found] * 7 + k * 13) % 400 / 10).sum())
            + len(times)
            - int(found.sum())
        )
    out = {"pack_readings_missing": missing, "pack_readings_wrong_or_twice": wrong}
    for name in ("single", "bare"):
        counts = np.bincount(held[name].value.astype(int), minlength=extras)
        out[f"{name}_published"] = extras
        for what, is_so in (("missing", counts == 0), ("twice", counts > 1)):
            out[f"{name}_{what}_after_collector_kills"] = int(is_so[:before_broker].sum())
            out[f"{name}_{what}_after_broker_kills"] = int(is_so[before_broker:].sum())
    return out


def faults(found: dict[str, Any]) -> dict[str, int]:
    """What must not be: all but bare values that a killed broker lost or took twice."""
    cost = ("bare_missing_after_broker_kills", "bare_twice_after_broker_kills")
    wrong = ("missing", "twice", "wrong", "never")
    return {k: n for k, n in found.items() if n and k not in cost and any(word in k for word in wrong)}


def main() -> int:
    if len(sys.argv) > 1 and sys.argv[1] == "worker":
        work(*sys.argv[2:])
        return 0
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--readings", type=int, default=1_000_000)
    parser.add_argument("--collector", type=int, default=70)
    parser.add_argument("--broker", type=int, default=35)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--remember", type=float, default=REMEMBER_S, help="seconds of the gateway's memory")
    parser.add_argument("--json", type=Path)
    given = parser.parse_args()
    result = run(given.readings, given.collector, given.broker, given.seed, given.remember)
    for key, found in result.items():
        print(f"{key:40} {found}")
    if given.json:
        given.json.write_text(json.dumps(result, indent=1))
    return 1 if faults(result) else 0


if __name__ == "__main__":
    sys.exit(main())
