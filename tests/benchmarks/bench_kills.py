"""`kill -9` of collector and broker at random moments while a million readings come in.

    python -m tests.benchmarks.bench_kills [--readings 1000000] [--collector 70] [--broker 35] [--seed 1]
    [--json FILE]

A gateway publishes at QoS 1: SenML packs of 40 readings with their time; beside them single values with a
    time and bare
values without one, each value published once, so that losing or doubling one shows. First the collector is
killed, again and again, then the broker. When the broker is gone the gateway sends the packs of the last
seconds again, as one with a memory does (a broker that is killed loses what it took and had not written).
Singles and bare values are not sent again: what of them is missing after a broker's kill is what that costs.
At the end every reading is compared.
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
RESEND_S = 8.0
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

    def __init__(self, port: int, packs: int, start: int) -> None:
        self.port, self.packs, self.start = port, packs, start
        self.sent = self.extras = self.lost_connections = self.sent_again = 0
        self.pause = 0.0
        self._recent: deque[tuple[float, int]] = deque()
        self._again = threading.Event()
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="gateway", clean_session=False)
        self._client.max_inflight_messages_set(200)
        self._client.max_queued_messages_set(0)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_disconnect = self._gone
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def _gone(self, *_: Any) -> None:
        self.lost_connections += 1
        self._again.set()

    def publish(self, topic: str, payload: str) -> paho.MQTTMessageInfo:
        return self._client.publish(topic, payload, 1)

    def resend(self) -> None:
        """After the broker came back: the packs of the last seconds once more."""
        if self._again.is_set() and self._client.is_connected():
            self._again.clear()
            for _, number in list(self._recent):
                self.publish(f"fieldfare/{SITE}/readings", pack(number, self.start))
                self.sent_again += 1

    def step(self) -> None:
        now = time.monotonic()
        self.publish(f"fieldfare/{SITE}/readings", pack(self.sent, self.start))
        self._recent.append((now, self.sent))
        while self._recent and now - self._recent[0][0] > RESEND_S:
            self._recent.popleft()
        if self.sent % 4 == 0:
            self.publish(
                f"fieldfare/{SITE}/readings/single", f'{{"t":{self.start + self.extras},"v":{self.extras}}}'
            )
            self.publish(f"fieldfare/{SITE}/readings/bare", str(self.extras))
            self.extras += 1
        self.sent += 1

    def close(self) -> None:
        for _ in range(600):
            self.resend()
            if (
                self._client.is_connected()
                and not self._client._out_messages
                and not self._client._out_packet
            ):
                break
            time.sleep(0.1)
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


def run(readings: int, collector_kills: int, broker_kills: int, seed: int) -> dict[str, Any]:
    rng, packs = random.Random(seed), readings // RECORDS
    kills = collector_kills + broker_kills
    start = int(time.time()) - packs * 5 - 3600
    result: dict[str, Any] = {"readings_published": packs * RECORDS}
    with tempfile.TemporaryDirectory() as name, broker(port=free_port()) as server:
        folder = Path(name)
        process = worker(server.port, folder)
        gateway = Gateway(server.port, packs, start)
        killed = {"collector": 0, "broker": 0}
        began = time.monotonic()
        await_collector(gateway, folder)
        next_kill = time.monotonic() + 1.0
        extras_before_broker = 0
        while gateway.sent < packs or sum(killed.values()) < kills:
            due = sum(killed.values()) * packs / kills  # publishing and killing keep step
            if gateway.sent < packs and gateway.sent <= due + packs / kills:
                for _ in range(10):
                    if gateway.sent < packs:
                        gateway.step()
            else:
                time.sleep(0.005)
            gateway.resend()
            if time.monotonic() < next_kill:
                continue
            if killed["collector"] < collector_kills:
                process.kill()
                process.wait(10)
                process = worker(server.port, folder)
                killed["collector"] += 1
                next_kill = time.monotonic() + rng.uniform(0.6, 2.4)
            elif killed["broker"] < broker_kills:
                if not killed["broker"]:
                    time.sleep(4)
                    extras_before_broker = gateway.extras
                server.kill()
                time.sleep(rng.uniform(0.0, 0.3))
                server.start()
                killed["broker"] += 1
                next_kill = time.monotonic() + rng.uniform(1.2, 3.0)
            else:
                next_kill = float("inf")
        gateway.close()
        store = LocalStore(folder / "readings")
        settle(store, packs)
        end(process, 30)
        result |= {"seconds": round(time.monotonic() - began), **{f"{k}_kills": n for k, n in killed.items()}}
        result |= {"packs_sent_again": gateway.sent_again}
        result |= compare(store, packs, start, gateway.extras, extras_before_broker)
        result["set_aside"] = dead_letters.tally(Journal(folder)).kept
    return result


def await_collector(gateway: Gateway, folder: Path) -> None:
    """Wait until the broker knows the collector's session: before that it keeps no message for it."""
    for n in range(600):
        gateway.publish(f"fieldfare/{SITE}/readings/probe", str(n))
        time.sleep(0.5)
        if (folder / "readings").is_dir() and "probe" in LocalStore(folder / "readings").points(SITE):
            return
    raise SystemExit("the collector did not begin within five minutes")


def settle(store: LocalStore, packs: int) -> None:
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
        values = np.sort(held[name].value.astype(int))
        unique = np.unique(values)
        lost = np.setdiff1d(np.arange(extras), unique)
        out |= {
            f"{name}_published": extras,
            f"{name}_twice": len(values) - len(unique),
            f"{name}_missing_after_collector_kills": (
                int((lost < before_broker).sum()) if before_broker else len(lost)
            ),
            f"{name}_missing_after_broker_kills": int((lost >= before_broker).sum()) if before_broker else 0,
        }
    return out


def main() -> None:
    if len(sys.argv) > 1 and sys.argv[1] == "worker":
        work(*sys.argv[2:])
        return
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--readings", type=int, default=1_000_000)
    parser.add_argument("--collector", type=int, default=70)
    parser.add_argument("--broker", type=int, default=35)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", type=Path)
    given = parser.parse_args()
    result = run(given.readings, given.collector, given.broker, given.seed)
    for key, found in result.items():
        print(f"{key:40} {found}")
    if given.json:
        given.json.write_text(json.dumps(result, indent=1))


if __name__ == "__main__":
    main()
