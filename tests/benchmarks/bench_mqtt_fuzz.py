"""Two hundred thousand malformed payloads through a real broker into the collector: no crash, each accounted
for.

    python -m tests.benchmarks.bench_mqtt_fuzz [--payloads 200000] [--json FILE]

hypothesis draws structures (JSON that is nearly a pack, cut, spliced and flipped bytes, plain bytes) and
topics of every kind. Every message must be read, be set aside with its reason, or tell a gateway's state.
"""

from __future__ import annotations

import argparse
import json
import random
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import orjson
import paho.mqtt.client as paho
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from fieldfare.collector.mqtt import dead_letters
from fieldfare.collector.mqtt.journal import Journal
from fieldfare.collector.mqtt.settings import MqttSettings
from fieldfare.collector.store.local import LocalStore
from tests.services import broker, collecting, make_site, wait_until

TOPIC = "fieldfare/alder-row/readings"
POINTS = {
    "flow": 'quantity = "flow_temperature"',
    "mode": 'quantity = "operating_mode"',
    "fault": 'quantity = "fault_code"',
    "own": 'quantity = "return_temperature"\ntopic = "gw/1/x"\npointer = "/a/0"',
}
TOPICS = [
    TOPIC,
    TOPIC,
    f"{TOPIC}/flow",
    f"{TOPIC}/mode",
    f"{TOPIC}/fault",
    f"{TOPIC}/none",
    "fieldfare/alder-row/status",
]
TOPICS += ["fieldfare/elm/readings", "gw/1/x"]
GOOD = [
    b'[{"bn":"","bt":1767222000,"bu":"Cel","n":"flow","v":41.5},{"n":"flow","t":5,"v":42},'
    b'{"n":"mode","vs":"heating"}]',
    b'[{"n":"fault","vs":"E12"},{"n":"flow","u":"K","v":310.15}]',
    b'{"t":1767222000.5,"v":41.5}',
    b'{"t":"2026-01-01T00:00:00Z","v":"heating"}',
    b"41.5",
    b'{"a":[38.5,"x"],"b":{"c":null}}',
    b"online",
]
LABELS = st.sampled_from(
    ["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "a", "x_", ""]
)
LEAF = (
    st.none()
    | st.booleans()
    | st.integers(-(2**63), 2**64 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
)
LEAF |= st.sampled_from(
    ["flow", "mode", "fault", "heating", "Cel", "W", "", "\x00", "é" * 40, "1e999", "nan", "-inf"]
)
VALUE = st.recursive(
    LEAF, lambda x: st.lists(x, max_size=4) | st.dictionaries(LABELS, x, max_size=5), max_leaves=10
)


def broken(payload: bytes, rng: random.Random) -> bytes:
    """A payload with a few bytes changed, cut, doubled or spliced with another."""
    data = bytearray(payload)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(data) + 1)
        kind = rng.randrange(5)
        if kind == 0 and data:
            data[at % len(data)] ^= 1 << rng.randrange(8)
        elif kind == 1:
            del data[at:]
        elif kind == 2:
            data[at:at] = rng.choice(GOOD)[: rng.randrange(30)]
        elif kind == 3:
            data[at:at] = rng.randbytes(rng.randint(1, 4))
        else:
            data[at:at] = rng.choice(
                [b"[" * 3000, b'{"v":', b"1e999", b"-", b"9" * 400, b"NaN", b"\\ud800", b"null", b","]
            )
    return bytes(data)


def run(payloads: int) -> dict[str, Any]:
    sent = 0
    with tempfile.TemporaryDirectory() as name, broker() as server:
        folder = Path(name)
        store, site = LocalStore(folder / "readings"), make_site(points=POINTS)
        told = MqttSettings(
            f"mqtt://127.0.0.1:{server.port}", folder, client_id="fuzz", set_aside_messages=10 * payloads
        )
        client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        client.max_inflight_messages_set(500)
        client.max_queued_messages_set(0)
        client.connect("127.0.0.1", server.port)
        client.loop_start()
        with collecting(told, lambda: [site], store) as collector:
            wait_until(lambda: len(collector._link.filters) == 4)
            threads = threading.active_count()
            each = 100

            @settings(
                max_examples=payloads // each,
                deadline=None,
                database=None,
                phases=[Phase.generate],
                suppress_health_check=list(HealthCheck),
            )
            @given(st.lists(VALUE, min_size=4, max_size=4), st.integers(0, 2**64 - 1), st.binary(max_size=40))
            def throw(values: list[Any], seed: int, raw: bytes) -> None:
                nonlocal sent
                rng = random.Random(seed)
                shapes = [
                    raw,
                    *(orjson.dumps(v) for v in values),
                    *(orjson.dumps([v, {"n": "flow", "v": v}]) for v in values),
                ]
                info = None
                for number in range(each):
                    payload = (
                        shapes[number] if number < len(shapes) else broken(rng.choice(GOOD + shapes), rng)
                    )
                    info = client.publish(rng.choice(TOPICS), payload, 1)
                    sent += 1
                if info:
                    info.wait_for_publish(60)

            began = time.monotonic()
            throw()
            wait_until(lambda: collector.totals.messages >= sent, 120)
            seconds = time.monotonic() - began
            alive = threading.active_count() == threads
        client.disconnect()
        client.loop_stop()
        totals, tally = collector.totals, dead_letters.tally(Journal(folder))
        reasons = dead_letters.reasons(Journal(folder))
        return {
            "payloads_sent": sent,
            "messages_taken": totals.messages,
            "set_aside": totals.set_aside,
            "set_aside_on_disk": tally.messages,
            "readings_stored": totals.stored,
            "readings_on_disk": sum(p.count for p in store.points(site.id).values()),
            "kinds_of_reason": len(reasons),
            "collector_still_running": alive,
            "seconds": round(seconds),
        }


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--payloads", type=int, default=200_000)
    parser.add_argument("--json", type=Path)
    given_args = parser.parse_args()
    result = run(given_args.payloads)
    for key, found in result.items():
        print(f"{key:30} {found}")
    if given_args.json:
        given_args.json.write_text(json.dumps(result, indent=1))


if __name__ == "__main__":
    main()
