"""Throughput and memory of the collector, compared with a bare subscriber that only acknowledges.

    python -m tests.benchmarks.bench_mqtt [--messages 40000] [--rounds 3] [--memory 1000000] [--json FILE]

A backlog is queued at a real broker; then a subscriber drains it, the clock running from before the connect.
The bare one is paho with automatic acknowledgement of QoS 1; ours decodes, checks, commits durably, then
acknowledges. Both speak MQTT 5 with the same receive maximum, in turn, in processes of their own. Ratios are
ours to bare: of the rate, and of the messages for each second of processor time, which other work on the
machine disturbs less.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from fieldfare.collector.mqtt.collect import Collector
from fieldfare.collector.mqtt.settings import MqttSettings
from fieldfare.collector.store.local import LocalStore
from tests.services import broker, make_site

POINTS = 14
START = 1_700_000_000
WINDOW = 5_000


def sites(count: int) -> list[Any]:
    points = {f"p{k}": 'quantity = "room_temperature"' for k in range(POINTS)}
    return [make_site(f"site-{i:03d}", points) for i in range(count)]


def payloads(kind: str, messages: int, count: int) -> Iterator[tuple[str, str]]:
    """Topics and payloads: packs of 14 readings, or single values with their time."""
    for i in range(messages):
        site, t = f"site-{i % count:03d}", START + i // count * 60
        if kind == "pack":
            rest = ",".join(f'{{"n":"p{k}","v":{20 + (i * 7 + k) % 150 / 10}}}' for k in range(1, POINTS))
            yield f"fieldfare/{site}/readings", f'[{{"bt":{t},"n":"p0","v":{20 + i % 9}}},{rest}]'
        else:
            yield f"fieldfare/{site}/readings/p1", f'{{"t":{t},"v":{20 + i % 90 / 10}}}'


def queue(port: int, messages: Iterator[tuple[str, str]]) -> None:
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(1000)
    client.max_queued_messages_set(0)
    client.connect("127.0.0.1", port)
    client.loop_start()
    info = None
    for number, (topic, payload) in enumerate(messages):
        info = client.publish(topic, payload, 1)
        if number % 2000 == 1999:
            info.wait_for_publish()
    if info:
        info.wait_for_publish()
    client.disconnect()
    client.loop_stop()


def bare(port: int, expected: int) -> None:
    """Subscribe, or drain what is queued, and acknowledge; print seconds and processor seconds."""
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="drain", protocol=paho.MQTTv5)
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval, properties.ReceiveMaximum = 3600, WINDOW
    got = 0

    def on_message(_c: Any, _u: Any, _m: Any) -> None:
        nonlocal got
        got += 1
        if got == expected:
            client.disconnect()

    def on_connect(*_: Any) -> None:
        if not expected:
            client.subscribe([("fieldfare/+/readings", 1), ("fieldfare/+/readings/+", 1)])

    client.on_message, client.on_connect = on_message, on_connect
    client.on_subscribe = lambda *_: client.disconnect()
    began, used = time.perf_counter(), time.process_time()
    client.connect("127.0.0.1", port, clean_start=False, properties=properties)
    client.loop_forever()
    print(json.dumps([time.perf_counter() - began, time.process_time() - used]))


def ours(port: int, expected: int, folder: Path, count: int) -> None:
    """The same with the collector and its local store."""
    fleet, stop = sites(count), threading.Event()
    settings = MqttSettings(f"mqtt://127.0.0.1:{port}", folder, client_id="drain", max_in_flight=WINDOW)
    store = LocalStore(folder / "readings")
    collector = Collector(settings, lambda: fleet, store, time.time)
    commit = collector._commit

    def until_all() -> None:
        commit()
        if collector.totals.messages >= expected:
            stop.set()

    collector._commit = until_all  # type: ignore[method-assign]
    if not expected:
        threading.Timer(1.0, stop.set).start()
    began, used = time.perf_counter(), time.process_time()
    totals = collector.run(stop)
    seconds = [time.perf_counter() - began, time.process_time() - used]
    collector.close()
    assert totals.messages == expected
    assert totals.set_aside == 0
    assert totals.stored == sum(p.count for s in fleet for p in store.points(s.id).values())
    print(json.dumps([*seconds, totals.stored]))


def run(port: int, what: str, expected: int, folder: Path, count: int) -> list[float]:
    command = [sys.executable, "-m", __spec__.name, what, str(port), str(expected), str(folder), str(count)]
    done = subprocess.run(command, check=True, capture_output=True, text=True, timeout=600)
    return list(json.loads(done.stdout))


def compare(kind: str, count: int, messages: int, rounds: int) -> dict[str, Any]:
    rates: dict[str, list[tuple[float, float]]] = {"bare": [], "ours": []}
    readings = 0
    for _ in range(rounds):
        for what in ("bare", "ours"):
            with tempfile.TemporaryDirectory() as folder, broker() as server:
                run(server.port, what, 0, Path(folder), count)
                queue(server.port, payloads(kind, messages, count))
                seconds, used, *more = run(server.port, what, messages, Path(folder), count)
                rates[what].append((messages / seconds, messages / used))
                readings = int(more[0]) if more else readings
    middle = {
        what: [statistics.median(column) for column in zip(*rows, strict=True)]
        for what, rows in rates.items()
    }
    return {
        "kind": kind,
        "sites": count,
        "messages": messages,
        "readings": readings,
        "bare_per_s": round(middle["bare"][0]),
        "ours_per_s": round(middle["ours"][0]),
        "ours_readings_per_s": round(middle["ours"][0] * readings / messages),
        "ratio_of_rate": round(middle["ours"][0] / middle["bare"][0], 2),
        "ratio_of_rate_by_round": [
            round(b[0] / a[0], 2) for a, b in zip(rates["bare"], rates["ours"], strict=True)
        ],
        "ratio_by_processor": round(middle["ours"][1] / middle["bare"][1], 2),
    }


def memory(readings: int) -> dict[str, Any]:
    """Resident memory of a collector over a sustained run, sampled as it goes."""
    messages = readings // POINTS + 1
    samples: list[tuple[int, float]] = []
    with tempfile.TemporaryDirectory() as folder, broker() as server:
        run(server.port, "ours", 0, Path(folder), 20)
        command = [sys.executable, "-m", __spec__.name, "ours", str(server.port), str(messages), folder, "20"]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        status = Path(f"/proc/{process.pid}/status")
        feeder = threading.Thread(target=queue, args=(server.port, payloads("pack", messages, 20)))
        feeder.start()
        began = time.monotonic()
        while process.poll() is None and time.monotonic() - began < 600:
            line = next((x for x in status.read_text().splitlines() if x.startswith("VmRSS")), None)
            if line:
                samples.append((round(time.monotonic() - began, 1), int(line.split()[1]) / 1024))
            time.sleep(0.5)
        feeder.join()
        seconds, _, stored = json.loads(process.communicate(timeout=60)[0])
    held = [mb for _, mb in samples]
    quarter = len(held) // 4
    return {
        "readings": int(stored),
        "seconds": round(seconds, 1),
        "mb_second_quarter": round(statistics.median(held[quarter : 2 * quarter]), 1),
        "mb_last_quarter": round(statistics.median(held[-quarter:]), 1),
        "mb_highest": round(max(held), 1),
    }


def main() -> None:
    if len(sys.argv) > 1 and sys.argv[1] in ("bare", "ours"):
        what, port, expected, folder, count = sys.argv[1:]
        if what == "bare":
            bare(int(port), int(expected))
        else:
            ours(int(port), int(expected), Path(folder), int(count))
        return
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--messages", type=int, default=40_000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--memory", type=int, default=1_000_000, help="readings of the memory run")
    parser.add_argument("--json", type=Path)
    given = parser.parse_args()
    rows = []
    for kind, count in (("pack", 1), ("pack", 50), ("single", 1), ("single", 50)):
        rows.append(compare(kind, count, given.messages, given.rounds))
        print(rows[-1], flush=True)
    flat = memory(given.memory)
    print(flat)
    if given.json:
        given.json.write_text(json.dumps({"rates": rows, "memory": flat}, indent=1))


if __name__ == "__main__":
    main()
