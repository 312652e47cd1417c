"""The collector with a real broker: messages are on disk before they are acknowledged, others are
redelivered."""

import json
import signal
import socket
import subprocess
import sys
import textwrap
import threading
import time

import pytest
from paho.mqtt import client as paho

from fieldfare.analysis.errors import InputError
from fieldfare.collector.mqtt import dead_letters
from fieldfare.collector.mqtt.journal import Journal
from fieldfare.collector.mqtt.settings import MqttSettings
from fieldfare.collector.store.local import LocalStore
from tests.services import broker, collecting, end, free_port, make_site, publish, wait_until

T = int(time.time()) // 60 * 60 - 7200
TOPIC = "fieldfare/alder-row/readings"
FAST = {"back_off_seconds": (0.05, 0.3), "sites_seconds": 0.1, "batch_seconds": 0.3}


@pytest.fixture(scope="module")
def mosquitto():
    with broker() as server:
        yield server


@pytest.fixture
def store(tmp_path):
    opened = LocalStore(tmp_path / "readings")
    yield opened
    opened.close()


def settings(server, tmp_path, **more):
    return MqttSettings(
        f"mqtt://127.0.0.1:{server.port}", tmp_path, client_id=f"t{tmp_path.name}", **{**FAST, **more}
    )


def values(store, point, site="alder-row"):
    samples = store.read(site, [point]).get(point)
    return [] if samples is None else list(zip(samples.time.tolist(), samples.value.tolist(), strict=True))


def publisher(port, protocol=paho.MQTTv5):
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=protocol)
    client.max_inflight_messages_set(500)
    client.max_queued_messages_set(0)
    client.connect("127.0.0.1", port)
    client.loop_start()
    return client


def send(client, topic, payloads):
    infos = [client.publish(topic, p, 1) for p in payloads]
    for info in infos:
        info.wait_for_publish(20)


@pytest.mark.parametrize("protocol", [5, 4])
def test_all_three_forms_from_a_client_not_ours_reach_the_disk(mosquitto, tmp_path, store, protocol):
    points = {
        "flow": 'quantity = "flow_temperature"',
        "mode": 'quantity = "operating_mode"',
        "power": (
            'quantity = "heat_pump_electricity"\nas = "power"\nunit = "kW"\ntopic = "gw7/em/1"\npointer ='
            ' "/power/total"'
        ),
    }
    site = make_site(points=points)
    with collecting(settings(mosquitto, tmp_path, protocol=protocol), lambda: [site], store) as collector:
        wait_until(lambda: len(collector._link.filters) == 4)
        publish(
            mosquitto.port,
            TOPIC,
            f'[{{"bt":{T},"n":"flow","u":"Cel","v":45.5}},{{"n":"mode","vs":"heating"}}]',
        )
        publish(mosquitto.port, f"{TOPIC}/flow", f'{{"t":{T + 60},"v":46}}', qos=0)
        publish(mosquitto.port, f"{TOPIC}/mode", "defrost")
        publish(mosquitto.port, "gw7/em/1", '{"power":{"total":1.25}}')
        wait_until(lambda: len(values(store, "power")) == 1 and len(values(store, "mode")) == 2)
        assert collector._link.version == {5: "5", 4: "3.1.1"}[protocol]
    assert values(store, "flow") == [(T * 1000, 45.5), (T * 1000 + 60_000, 46.0)]
    assert [v for _, v in values(store, "mode")] == [1.0, 3.0]
    assert [v for _, v in values(store, "power")] == [1.25]
    arrived = values(store, "power")[0][0]
    assert abs(arrived / 1000 - time.time()) < 60
    assert collector.totals.set_aside == 0


def test_the_rfcs_own_packs_are_read_or_set_aside_with_the_reason(mosquitto, tmp_path, store):
    # RFC 8428, 5.1.1 and 5.1.2; volts and amperes are no quantities of a plant
    site = make_site(points={"urn:dev:ow:10e2073a01080063": 'quantity = "room_temperature"'})
    with collecting(settings(mosquitto, tmp_path), lambda: [site], store) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
        publish(
            mosquitto.port,
            TOPIC,
            '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]',
            '[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},'
            '{"n":"current","u":"A","v":1.2}]',
        )
        wait_until(lambda: collector.totals.messages == 2)
    assert [v for _, v in values(store, "urn:dev:ow:10e2073a01080063")] == [23.1]
    (kept,) = dead_letters.held(Journal(tmp_path))
    assert "voltage" in kept.reason
    assert "current" in kept.reason


def test_readings_wait_at_the_broker_while_no_collector_runs(mosquitto, tmp_path, store):
    site, s = make_site(), settings(mosquitto, tmp_path)
    with collecting(s, lambda: [site], store) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
    client = publisher(mosquitto.port)
    send(client, f"{TOPIC}/flow", [f'{{"t":{T + i},"v":{i % 50}}}' for i in range(300)])
    client.disconnect()
    client.loop_stop()
    assert values(store, "flow") == []
    with collecting(s, lambda: [site], store) as collector:
        wait_until(lambda: len(values(store, "flow")) == 300)
        assert collector._link.session_present
    assert values(store, "flow") == [(T * 1000 + i * 1000, float(i % 50)) for i in range(300)]


class Failing:
    """A store that fails as a full disk does until it is mended; counts its calls."""

    def __init__(self, store, error):
        self.store, self.error, self.failing, self.calls = store, error, True, 0

    def append(self, site, readings):
        self.calls += 1
        if self.failing:
            raise self.error
        return self.store.append(site, readings)

    def __getattr__(self, name):
        return getattr(self.store, name)


@pytest.mark.parametrize(("protocol", "most"), [(5, 20), (4, 40)])  # 3.1.1 knows no receive maximum
def test_a_store_that_takes_nothing_holds_the_broker_back_and_nothing_is_lost(
    mosquitto, tmp_path, store, protocol, most
):
    site, failing = make_site(), Failing(store, OSError(28, "No space left on device"))
    s = settings(mosquitto, tmp_path, max_in_flight=20, protocol=protocol)
    with collecting(s, lambda: [site], failing) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
        client = publisher(mosquitto.port)
        send(client, f"{TOPIC}/flow", [f'{{"t":{T + i},"v":20}}' for i in range(500)])
        wait_until(lambda: failing.calls >= 4)
        assert len(collector._messages) <= most
        assert collector.totals.messages == 0
        failing.failing = False
        wait_until(lambda: len(values(store, "flow")) == 500)
        client.disconnect()
        client.loop_stop()
    assert collector.totals.store_failures >= 3


def test_what_a_failing_store_left_unacknowledged_comes_again_after_a_stop(mosquitto, tmp_path, store):
    site, failing = make_site(), Failing(store, OSError(28, "No space left on device"))
    s = settings(mosquitto, tmp_path)
    with collecting(s, lambda: [site], failing) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
        publish(mosquitto.port, f"{TOPIC}/flow", "41.5")
        wait_until(lambda: failing.calls >= 1)
    failing.failing = False
    with collecting(s, lambda: [site], failing):
        wait_until(lambda: len(values(store, "flow")) == 1)


def test_a_bare_value_delivered_twice_is_one_reading_at_its_first_arrival(mosquitto, tmp_path, store):
    # The commit succeeds and the acknowledgement is lost: the message comes again under its packet id.
    site, s = make_site(), settings(mosquitto, tmp_path)
    with collecting(s, lambda: [site], store) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
        collector._link.acknowledge = lambda mids: list(mids)
        publish(mosquitto.port, f"{TOPIC}/flow", "41.5")
        publish(mosquitto.port, f"{TOPIC}/floww", "1")
        wait_until(lambda: collector.totals.messages == 2)
    first = values(store, "flow")
    time.sleep(0.05)
    with collecting(s, lambda: [site], store) as collector:
        wait_until(lambda: collector.totals.messages == 2)
    assert collector.totals.duplicates == 1
    assert values(store, "flow") == first
    assert dead_letters.tally(Journal(tmp_path)).kept == 1


def test_a_changed_site_file_is_taken_up_while_running_and_the_set_aside_replayed(mosquitto, tmp_path, store):
    sites = [make_site(points={"flow": 'quantity = "flow_temperature"'})]
    mended = make_site(
        points={
            "flow": 'quantity = "flow_temperature"',
            "back": 'quantity = "return_temperature"\ntopic = "gw9/back"',
        }
    )
    with collecting(settings(mosquitto, tmp_path), lambda: sites, store) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
        publish(mosquitto.port, f"{TOPIC}/back", "38.5")
        wait_until(lambda: collector.totals.set_aside == 1)
        sites = [mended]
        wait_until(lambda: len(collector._link.filters) == 4)
        publish(mosquitto.port, "gw9/back", "39.5")
        wait_until(lambda: len(values(store, "back")) == 1)
        sites = [make_site(points={"flow": 'quantity = "flow_temperature"'})]
        wait_until(lambda: len(collector._link.filters) == 3)
    book = Journal(tmp_path)
    (kept,) = dead_letters.held(book)
    done = dead_letters.replay(book, [mended], store)
    assert done == dead_letters.Replayed(1, 1, 1, 0)
    assert values(store, "back")[0] == (kept.arrived, 38.5)


def test_a_store_that_refuses_a_sites_readings_has_them_set_aside_not_tried_for_ever(
    mosquitto, tmp_path, store
):
    site, failing = make_site(), Failing(store, InputError("not like this"))
    with collecting(settings(mosquitto, tmp_path), lambda: [site], failing) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
        publish(mosquitto.port, f"{TOPIC}/flow", "41.5")
        wait_until(lambda: collector.totals.messages == 1)
    assert "not like this" in dead_letters.held(Journal(tmp_path))[0].reason


def test_sites_that_cannot_be_read_for_a_while_set_nothing_aside_and_stop_nothing(mosquitto, tmp_path, store):
    calls = []

    def provider():
        calls.append(1)
        if len(calls) in (1, 2, 4):
            raise OSError("the state database is locked")
        return [make_site()]

    with collecting(settings(mosquitto, tmp_path), provider, store) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
        publish(mosquitto.port, f"{TOPIC}/flow", f'{{"t":{T},"v":40}}')
        wait_until(lambda: len(calls) > 5 and len(values(store, "flow")) == 1)
    assert collector.totals.set_aside == 0


def test_births_and_wills_are_no_dead_letters(mosquitto, tmp_path, store):
    site, book = make_site(), Journal(tmp_path)
    with collecting(settings(mosquitto, tmp_path), lambda: [site], store) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
        publish(mosquitto.port, "fieldfare/alder-row/status", "online", "offline")
        publish(mosquitto.port, f"{TOPIC}/flow", f'{{"t":{T},"v":40}}')
        wait_until(lambda: len(values(store, "flow")) == 1)
    assert (collector.totals.messages, collector.totals.set_aside) == (3, 0)
    assert not dead_letters.held(book)
    assert list(store.revisions("alder-row")) == [T // 86_400]  # so the day is worked out again


def test_a_jump_of_the_clock_is_counted_and_a_time_it_makes_future_is_kept_for_replay(
    mosquitto, tmp_path, store
):
    site, ahead = make_site(), [0.0]
    s = settings(mosquitto, tmp_path)
    from fieldfare.collector.mqtt.collect import Collector

    collector, stop = Collector(s, lambda: [site], store, lambda: time.time() + ahead[0]), threading.Event()
    thread = threading.Thread(target=collector.run, args=(stop,))
    thread.start()
    try:
        wait_until(lambda: len(collector._link.filters) == 3)
        ahead[0] = -86_400.0
        wait_until(lambda: collector.totals.clock_jumps == 1)
        publish(mosquitto.port, f"{TOPIC}/flow", f'{{"t":{T},"v":40}}')
        wait_until(lambda: collector.totals.set_aside == 1)
        ahead[0] = 0.0
        wait_until(lambda: collector.totals.clock_jumps == 2)
    finally:
        stop.set()
        thread.join(20)
        collector.close()
    book = Journal(tmp_path)
    assert dead_letters.replay(book, [site], store).readings == 1
    assert values(store, "flow") == [(T * 1000, 40.0)]


def test_a_broker_that_only_knows_the_older_protocol_is_spoken_to_in_it(mosquitto, tmp_path, store):
    site, seen = make_site(), []
    front = socket.create_server(("127.0.0.1", 0))
    front.settimeout(0.2)
    stop = threading.Event()

    def relay():
        while not stop.is_set():
            try:
                conn, _ = front.accept()
            except TimeoutError:
                continue
            first = conn.recv(4096)
            level = first[first.index(b"MQTT") + 4]
            seen.append(level)
            if level == 5:
                conn.sendall(b"\x20\x02\x00\x01")  # MQTT 3.1.1, 3.2.2.3: unacceptable protocol version
                conn.close()
                continue
            back = socket.create_connection(("127.0.0.1", mosquitto.port))
            back.sendall(first)
            for a, b in ((conn, back), (back, conn)):
                threading.Thread(target=pipe, args=(a, b), daemon=True).start()

    def pipe(a, b):
        try:
            while data := a.recv(65536):
                b.sendall(data)
        except OSError:
            pass
        b.close()

    thread = threading.Thread(target=relay)
    thread.start()
    try:
        s = MqttSettings(f"mqtt://127.0.0.1:{front.getsockname()[1]}", tmp_path, client_id="older", **FAST)
        with collecting(s, lambda: [site], store) as collector:
            wait_until(lambda: len(collector._link.filters) == 3)
            assert collector._link.version == "3.1.1"
            publish(mosquitto.port, f"{TOPIC}/flow", f'{{"t":{T},"v":40}}')
            wait_until(lambda: len(values(store, "flow")) == 1)
    finally:
        stop.set()
        thread.join(5)
        front.close()
    assert seen[:2] == [5, 4]


def test_a_broker_away_is_waited_for_and_taken_up_again(tmp_path, store):
    site, port = make_site(), free_port()
    with (
        broker(port=port) as server,
        collecting(settings(server, tmp_path), lambda: [site], store) as collector,
    ):
        wait_until(lambda: len(collector._link.filters) == 3)
        publish(port, f"{TOPIC}/flow", f'{{"t":{T},"v":40}}')
        wait_until(lambda: len(values(store, "flow")) == 1)
        server.kill()
        time.sleep(0.5)
        server.start()
        wait_until(lambda: collector.totals.connects == 2 and len(collector._link.filters) == 3)
        publish(port, f"{TOPIC}/flow", f'{{"t":{T + 1},"v":41}}')
        wait_until(lambda: len(values(store, "flow")) == 2)


def test_a_broker_that_kept_the_session_and_lost_its_subscriptions_is_asked_again(mosquitto, tmp_path, store):
    # What a broker that is killed between the two writes down: a session without subscriptions.
    site, s = make_site(), settings(mosquitto, tmp_path)
    with collecting(s, lambda: [site], store) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
    intruder = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id=s.client_id, protocol=paho.MQTTv5)
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.properties import Properties

    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = 3600
    done = []
    intruder.on_unsubscribe = lambda *_: done.append(1)
    intruder.connect("127.0.0.1", mosquitto.port, clean_start=False, properties=properties)
    intruder.loop_start()
    wait_until(intruder.is_connected)
    intruder.unsubscribe(["fieldfare/+/readings", "fieldfare/+/readings/+", "fieldfare/+/status"])
    wait_until(lambda: done)
    intruder.disconnect()
    intruder.loop_stop()
    with collecting(s, lambda: [site], store) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
        assert collector._link.session_present
        publish(mosquitto.port, f"{TOPIC}/flow", f'{{"t":{T},"v":40}}')
        wait_until(lambda: len(values(store, "flow")) == 1)


WORKER = textwrap.dedent("""
    import signal, sys, threading
    from pathlib import Path
    from fieldfare.collector.mqtt.collect import collect
    from fieldfare.collector.mqtt.settings import MqttSettings
    from fieldfare.collector.store.local import LocalStore
    from tests.services import make_site
    port, folder, name, group = sys.argv[1:]
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    site = make_site()
    s = MqttSettings(f"mqtt://127.0.0.1:{port}", Path(folder), client_id=name, shared_group=group,
                     max_in_flight=200, back_off_seconds=(0.05, 0.3))
    collect(s, lambda: [site], LocalStore(Path(folder) / "readings"), stop)
    """)


def worker(port, folder, name, group=""):
    return subprocess.Popen([sys.executable, "-c", WORKER, str(port), str(folder), name, group])


def test_two_collectors_share_the_messages_and_one_killed_loses_none(mosquitto, tmp_path, store):
    workers = [worker(mosquitto.port, tmp_path, f"{tmp_path.name}{i}", "group") for i in range(2)]
    try:
        book = Journal(tmp_path)
        wait_until(lambda: book.db.execute("SELECT count(*) FROM filters").fetchone()[0] == 6, 40)
        client = publisher(mosquitto.port)
        count = 4000
        for k in range(8):
            send(
                client,
                f"{TOPIC}/flow",
                [f'{{"t":{T + i},"v":{i % 50}}}' for i in range(k * 500, (k + 1) * 500)],
            )
            if k == 3:
                workers[0].send_signal(signal.SIGKILL)
                workers[0].wait(10)
            if k == 6:
                workers[0] = worker(mosquitto.port, tmp_path, f"{tmp_path.name}0", "group")
        wait_until(lambda: len(values(store, "flow")) == count, 40)
        client.disconnect()
        client.loop_stop()
    finally:
        for process in workers:
            end(process)
    assert values(store, "flow") == [(T * 1000 + i * 1000, float(i % 50)) for i in range(count)]


def test_a_burst_beyond_one_batch_is_committed_in_several(mosquitto, tmp_path, store):
    site = make_site()
    with collecting(settings(mosquitto, tmp_path, max_in_flight=100), lambda: [site], store) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
        client = publisher(mosquitto.port)
        packs = [
            json.dumps([{"bt": T + i, "n": "flow", "v": 40}, {"n": "rate", "v": 12}]) for i in range(1000)
        ]
        send(client, TOPIC, packs)
        wait_until(lambda: collector.totals.stored == 2000)
        client.disconnect()
        client.loop_stop()
    assert collector.totals.stored == 2000
    assert collector.totals.batches >= 10


@pytest.mark.parametrize("url", ["http://x", "mqtt://", "mqtt://h:99999", "mqtt://me:secret@h", "broker"])
def test_an_address_that_names_no_broker_is_refused(url, tmp_path):
    with pytest.raises(InputError):
        _ = MqttSettings(url, tmp_path).address


def test_the_password_is_not_shown(tmp_path):
    assert "secret" not in repr(MqttSettings("mqtt://h", tmp_path, user="me", password="secret"))


def test_a_backlog_of_bare_values_keeps_every_one(mosquitto, tmp_path, store):
    site, s = make_site(), settings(mosquitto, tmp_path)
    with collecting(s, lambda: [site], store) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
    client = publisher(mosquitto.port)
    send(client, f"{TOPIC}/hp_elec", [str(i) for i in range(2000)])  # delivered many in a millisecond
    client.disconnect()
    client.loop_stop()
    with collecting(s, lambda: [site], store):
        wait_until(lambda: len(values(store, "hp_elec")) == 2000)
    assert [v for _, v in values(store, "hp_elec")] == [float(i) for i in range(2000)]
