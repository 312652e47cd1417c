"""A broker that anybody may write to: retained floods, wills, doubled deliveries and odd topics."""

from __future__ import annotations

import json
import socket
import struct
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import client as paho
from paho.mqtt.properties import PacketTypes, Properties

from fieldfare.collector.mqtt import dead_letters
from fieldfare.collector.mqtt.journal import Journal
from fieldfare.collector.mqtt.settings import MqttSettings
from fieldfare.collector.store.local import LocalStore
from tests.services import broker, collecting, free_port, make_site, wait_until

T = int(time.time()) // 60 * 60 - 7200
TOPIC = "fieldfare/alder-row/readings"
FAST: dict[str, Any] = {"back_off_seconds": (0.05, 0.3), "sites_seconds": 0.1, "batch_seconds": 0.3}


@pytest.fixture(scope="module")
def port():
    with broker(port=free_port()) as server:
        yield server.port


def client(port: int, **will: Any) -> paho.Client:
    made = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    made.max_queued_messages_set(0)
    if will:
        made.will_set(**will)
    made.connect("127.0.0.1", port)
    made.loop_start()
    return made


def flows(store: LocalStore) -> list[tuple[int, float]]:
    found = store.read("alder-row", ["flow"]).get("flow")
    return [] if found is None else list(zip(found.time.tolist(), found.value.tolist(), strict=True))


def at(n: int, value: float) -> str:
    return json.dumps({"t": T + n, "v": value})


def test_a_flood_of_retained_messages_is_taken_once_and_its_refusals_are_bounded(
    port: int, tmp_path: Path
) -> None:
    """Each new subscription delivers them again. A value without a time is of unknown age."""
    told = MqttSettings(f"mqtt://127.0.0.1:{port}", tmp_path, set_aside_messages=200, **FAST)
    gateway, store = client(port), LocalStore(tmp_path / "readings")
    sent = [(f"{TOPIC}/flow{n}", "1") for n in range(400)]
    sent += [(f"fieldfare/none-{n}/readings/flow", at(0, 1)) for n in range(100)]
    sent += [(f"{TOPIC}/flow", at(0, 41.5)), (f"{TOPIC}/back", "38.5")]
    for topic, payload in sent:
        gateway.publish(topic, payload, 1, retain=True).wait_for_publish(20)
    try:
        for session in ("first", "second"):
            with collecting(replace(told, client_id=session), lambda: [make_site()], store) as collector:
                wait_until(lambda: len(flows(store)) == 1 and collector.totals.messages >= len(sent))
        assert flows(store) == [(T * 1000, 41.5)]
        assert "back" not in store.points("alder-row")
        assert len(dead_letters.held(Journal(tmp_path), most=1000)) <= 200
    finally:
        for topic, _ in sent:
            gateway.publish(topic, b"", 1, retain=True).wait_for_publish(20)
        gateway.disconnect()
        gateway.loop_stop()
        store.close()


ODD_TOPICS = [
    f"{TOPIC}/flow/",
    f"{TOPIC}//flow",
    f"{TOPIC}/../readings/flow",
    f"/{TOPIC}/flow",
    "fieldfare//readings/flow",
    "fieldfare/ALDER-ROW/readings/flow",
    "fieldfare/alder-row /readings/flow",
    "fieldfare/alder‑row/readings/flow",  # a hyphen that only looks like one
    "Fieldfare/alder-row/readings/flow",
    f"{TOPIC}/FLOW",
    f"{TOPIC}/flow%00",
    f"{TOPIC}/{'x' * 60_000}",
    f"{TOPIC}/" + "/".join("x" * 100),
    "$share/readings/fieldfare/alder-row/readings/flow",
    "$SYS/broker/uptime",
]


def test_only_a_home_s_own_topics_reach_its_points(port: int, tmp_path: Path) -> None:
    told = MqttSettings(f"mqtt://127.0.0.1:{port}", tmp_path, client_id="topics", **FAST)
    store = LocalStore(tmp_path / "readings")
    with collecting(told, lambda: [make_site()], store) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
        for topic in ODD_TOPICS:
            odd = client(port)  # the broker ends the connection for some of them
            odd.publish(topic, at(1, 99.0), 1)
            odd.disconnect()
            odd.loop_stop()
        gateway = client(port)
        alias = Properties(PacketTypes.PUBLISH)
        alias.TopicAlias = 1
        alias.UserProperty = [("site", "elm")] * 50
        alias.ResponseTopic = f"{TOPIC}/flow"
        alias.CorrelationData = b"\0" * 1000
        gateway.publish(f"{TOPIC}/flow", at(2, 42.0), 1, properties=alias).wait_for_publish(20)
        wait_until(lambda: flows(store) == [((T + 2) * 1000, 42.0)])
        gateway.disconnect()
        gateway.loop_stop()
    assert store.sites() == ["alder-row"]
    assert set(store.points("alder-row")) == {"flow"}
    store.close()


def test_a_will_and_a_doubled_delivery_change_nothing(port: int, tmp_path: Path) -> None:
    """A gateway that is cut off leaves its last will; one at QoS 2 that sends a message again means one
    reading."""
    told = MqttSettings(f"mqtt://127.0.0.1:{port}", tmp_path, client_id="wills", **FAST)
    store = LocalStore(tmp_path / "readings")
    with collecting(told, lambda: [make_site()], store) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
        for topic, payload in ((f"{TOPIC}/flow", "0"), ("fieldfare/alder-row/status", "offline")):
            cut_off(port, topic, payload)
        doubled(port, f"{TOPIC}/flow", at(3, 43.0))
        wait_until(lambda: ((T + 3) * 1000, 43.0) in flows(store))
    found = flows(store)
    assert Counter(value for _, value in found)[43.0] == 1
    assert [value for _, value in found if value not in (43.0, 0.0)] == []
    assert sum(value == 0.0 for _, value in found) <= 1  # a will is published like any value
    store.close()


def packet(kind: int, body: bytes) -> bytes:
    assert len(body) < 16_384
    low, high = len(body) % 128, len(body) // 128
    return bytes([kind, low | 128, high] if high else [kind, low]) + body


def text(words: str) -> bytes:
    return struct.pack(">H", len(words.encode())) + words.encode()


def cut_off(port: int, topic: str, payload: str) -> None:
    """Connect with a will (MQTT 3.1.1, 3.1) and drop the line."""
    with socket.create_connection(("127.0.0.1", port), 10) as line:
        flags = 0b0000_1110  # will, QoS 1, clean session
        head = text("MQTT") + bytes([4, flags]) + struct.pack(">H", 60)
        line.sendall(packet(0x10, head + text("doomed") + text(topic) + text(payload)))
        assert line.recv(4)[:1] == b"\x20"


def doubled(port: int, topic: str, payload: str) -> None:
    """Publish at QoS 2 twice under one packet id (MQTT 3.1.1, 4.3.3), and release it twice."""
    with socket.create_connection(("127.0.0.1", port), 10) as line:
        line.sendall(packet(0x10, text("MQTT") + bytes([4, 2]) + struct.pack(">H", 60) + text("doubling")))
        assert line.recv(4)[:1] == b"\x20"
        for kind in (0x34, 0x3C):
            line.sendall(packet(kind, text(topic) + struct.pack(">H", 7) + payload.encode()))
            assert line.recv(4)[:1] == b"\x50"
        for _ in range(2):
            line.sendall(packet(0x62, struct.pack(">H", 7)))
            assert line.recv(4)[:1] == b"\x70"
