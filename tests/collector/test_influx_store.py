"""The server-backed store at a real engine: InfluxDB 1.6 behind a proxy that gives it the newer write path.

What every store promises is in test_store_contract.py; here is what this one has of its own.
"""

import pickle
import subprocess
import sys
import textwrap
import time
import uuid

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldfare.analysis.readings import Samples
from fieldfare.collector.store.influx import InfluxStore
from fieldfare.collector.store.influx_query import ServerAway, ServerRefused
from tests.services import influx, wait_until

T = 1_767_225_600_000
DAY = T // 86_400_000
FAST = (0.05, 0.2)


@pytest.fixture(scope="module")
def server():
    with influx() as running:
        yield running


@pytest.fixture
def database(server):
    name = "d" + uuid.uuid4().hex[:8]
    server.create(name)
    return name


@pytest.fixture
def opened(server, database, tmp_path):
    made = []

    def make(folder="spool", **more):
        store = InfluxStore(server.url, database, tmp_path / folder, timeout=10, back_off=FAST, **more)
        made.append(store)
        return store

    yield make
    for store in made:
        store.close()


def numbers(*pairs):
    return Samples(np.array([T + t for t, _ in pairs], np.int64), np.array([v for _, v in pairs], float))


def held(store, point="p", site="alder-row"):
    samples = store.read(site).get(point)
    return (
        []
        if samples is None
        else [(t - T, v) for t, v in zip(samples.time.tolist(), samples.value.tolist(), strict=True)]
    )


def test_readings_are_seen_at_once_and_the_same_after_they_reached_the_server(opened):
    store = opened(send=False)
    store.append("alder-row", {"p": numbers((0, 1.5), (60_000, 2.25))})
    assert store.waiting() == 2
    assert held(store) == [(0, 1.5), (60_000, 2.25)]
    sender = opened()
    sender.flush(20)
    assert store.waiting() == 0
    assert held(store) == [(0, 1.5), (60_000, 2.25)]
    assert store.points("alder-row") == {"p": (2, T, T + 60_000)}


def test_what_waits_lies_over_what_the_server_has(opened):
    opened().append("alder-row", {"p": numbers((0, 1.0), (1, 2.0))})
    sender = opened()
    sender.flush(20)
    sender.close()
    store = opened(send=False)
    assert store.append("alder-row", {"p": numbers((1, 9.0), (2, 3.0))}) == (1, 1, 0)
    assert held(store) == [(0, 1.0), (1, 9.0), (2, 3.0)]
    assert store.points("alder-row")["p"] == (3, T, T + 2)


def test_the_server_away_does_not_hold_up_appends_and_everything_follows_once_in_order(
    opened, server, database
):
    store = opened()
    store.append("alder-row", {"p": numbers((0, 0.0))})
    store.flush(20)
    server.server.stop()
    try:
        began = time.monotonic()
        for i in range(1, 200):
            store.append("alder-row", {"p": numbers((i, float(i)))})
        store.append("alder-row", {"p": numbers((100, -1.0))})  # a correction: the later value must win
        assert time.monotonic() - began < 15
        assert store.waiting() == 200
        with pytest.raises(ServerAway):
            store.read("alder-row")
    finally:
        server.server.start()
    store.flush(30)
    expected = [(i, -1.0 if i == 100 else float(i)) for i in range(200)]
    assert held(store) == expected
    assert store.points("alder-row")["p"].count == 200


WRITER = textwrap.dedent("""
    import sys
    from pathlib import Path
    import numpy as np
    from fieldfare.analysis.readings import Samples
    from fieldfare.collector.store.influx import InfluxStore
    url, database, folder = sys.argv[1:]
    store = InfluxStore(url, database, Path(folder), back_off=(0.05, 0.2))
    for i in range(100_000):
        t = np.arange(i * 20, i * 20 + 20) + 1_767_225_600_000
        store.append("alder-row", {"p": Samples(t, t % 97 * 1.0)})
        print(i, flush=True)
    """)


def test_killed_while_sending_it_loses_nothing_and_keeps_nothing_twice(opened, server, database, tmp_path):
    last = -1
    for _ in range(3):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER, server.url, database, str(tmp_path / "spool")],
            stdout=subprocess.PIPE,
            text=True,
        )
        process.stdout.readline()  # a busy machine takes seconds to get here
        until = time.monotonic() + 1.5
        for line in process.stdout:
            last = max(last, int(line))
            if time.monotonic() > until:
                break
        process.kill()
        process.wait(10)
        process.stdout.close()
    store = opened()
    store.flush(60)
    samples = store.read("alder-row")["p"]
    count = len(samples.time)
    assert last > 0
    assert count >= (last + 1) * 20
    assert count % 20 == 0  # an append is whole or not there
    np.testing.assert_array_equal(samples.time, np.arange(count) + T)
    np.testing.assert_array_equal(samples.value, (np.arange(count) + T) % 97)
    assert store.points("alder-row")["p"].count == count


def test_two_writers_with_spools_of_their_own_share_the_server(opened):
    a, b = opened("a"), opened("b")
    a.append("alder-row", {"p": numbers((0, 1.0))})
    a.flush(20)
    before = a.revisions("alder-row")[DAY]
    b.append("alder-row", {"p": numbers((1, 2.0))})
    b.flush(20)
    assert held(a) == [(0, 1.0), (1, 2.0)]
    assert a.revisions("alder-row")[DAY] > before
    assert a.revisions("alder-row") == b.revisions("alder-row")


def test_texts_keep_their_quotes_commas_and_lines(opened):
    words = ['say "hi"', "back\\slash", "end\\", "a,b=c d", "two\nlines", "grüße ❄", "'; DROP SERIES", ""]
    store = opened()
    times = np.arange(len(words), dtype=np.int64) + T
    store.append("alder-row", {"fault": Samples(times, np.array(words, dtype=object))})
    store.flush(20)
    assert store.read("alder-row")["fault"].value.tolist() == words


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=30))
def test_every_number_comes_back_bit_for_bit(opened, values):
    store = opened(uuid.uuid4().hex)
    times = np.arange(len(values), dtype=np.int64) + T
    store.append("number-row", {"p": Samples(times, np.array(values))})
    store.flush(20)
    got = store.read("number-row")["p"].value
    np.testing.assert_array_equal(got, np.array(values))
    store.forget("number-row")
    store.close()


def test_an_infinite_value_is_refused_before_it_blocks_the_spool(opened):
    store = opened(send=False)
    with pytest.raises(ValueError, match="infinite"):
        store.append("alder-row", {"p": numbers((0, float("inf")))})
    assert store.waiting() == 0


def test_what_the_server_refuses_is_kept_aside_and_the_rest_goes_on(opened, server, database):
    from urllib.request import urlopen

    # The field is an integer there already: the server refuses floats for that measurement and shard.
    urlopen(
        f"http://127.0.0.1:{server.server.port}/write?db={database}&precision=ms",
        f"reading,site=x,point=y v=1i {T}".encode(),
    ).close()
    store = opened()
    store.append(
        "alder-row", {"p": numbers((0, 1.0)), "fault": Samples(np.array([T]), np.array(["E1"], dtype=object))}
    )
    store.flush(20)
    ((site, point, count, reason),) = store.refused()
    assert (site, point, count) == ("alder-row", "p", 1)
    assert "conflict" in reason
    assert store.read("alder-row")["fault"].value.tolist() == ["E1"]


def test_a_missing_database_is_told_and_readings_wait(server, tmp_path):
    store = InfluxStore(server.url, "nowhere", tmp_path, timeout=5, back_off=FAST)
    try:
        store.append("alder-row", {"p": numbers((0, 1.0))})
        with pytest.raises(ServerRefused, match="nowhere"):
            store.read("alder-row")
        time.sleep(0.3)
        assert store.waiting() == 1
        server.create("nowhere")
        store.flush(20)
        assert held(store) == [(0, 1.0)]
    finally:
        store.close()


def test_forget_leaves_nothing_of_a_site_and_all_of_the_others(opened):
    store = opened()
    for site in ("alder-row", "beech-end"):
        store.append(site, {"p": numbers((0, 1.0))})
    store.flush(20)
    store.append("alder-row", {"p": numbers((5, 1.0))})
    store.forget("alder-row")
    assert store.points("alder-row") == {}
    assert store.revisions("alder-row") == {}
    assert held(store, site="beech-end") == [(0, 1.0)]


def test_it_travels_to_a_worker_process_as_a_reader(opened):
    store = opened()
    store.append("alder-row", {"p": numbers((0, 1.0))})
    copy = pickle.loads(pickle.dumps(store))
    assert held(copy) == [(0, 1.0)]
    copy.close()


def test_a_read_larger_than_one_piece_is_whole(opened):
    count = 65_000
    times = np.arange(count, dtype=np.int64) * 1000 + T
    store = opened()
    store.append("alder-row", {"p": Samples(times, times % 1009 * 0.5)})
    store.flush(60)
    got = store.read("alder-row", ["p"], T + 1000, T + 60_000_000)["p"]
    np.testing.assert_array_equal(got.time, times[1:60_000])
    np.testing.assert_array_equal(got.value, times[1:60_000] % 1009 * 0.5)
    wait_until(lambda: store.waiting() == 0)
