"""The local store: sealing, late readings, deletion, other processes."""

from __future__ import annotations

import multiprocessing
import os
import pickle
import sqlite3
import subprocess
import sys
import threading
import time as clock
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldfare.analysis.errors import FieldfareError, InputError
from fieldfare.analysis.readings import MS_PER_DAY, Readings, Samples
from fieldfare.collector.store import local_write, recent
from fieldfare.collector.store.local import LocalStore
from fieldfare.collector.store.protocol import Appended, PointSpan
from fieldfare.collector.store.recent_rows import READING, spans

T = 1_760_000_000_000 // MS_PER_DAY * MS_PER_DAY
"""2025-10-09 [ms]."""
MINUTE = 60_000
POINTS = ("elec", "flow", "out")


def minutes(start: int, count: int, level: float = 20.0) -> Readings:
    time = start + np.arange(count) * MINUTE
    return {
        p: Samples(time, np.round(level + k + np.arange(count) % 50 / 10, 1)) for k, p in enumerate(POINTS)
    }


def same(a: Readings, b: Readings) -> bool:
    return a.keys() == b.keys() and all(
        np.array_equal(a[p].time, b[p].time) and np.array_equal(a[p].value, b[p].value) for p in a
    )


@pytest.fixture
def store(tmp_path: Path) -> Iterator[LocalStore]:
    made = LocalStore(tmp_path / "store")
    yield made
    made.close()


def hot_rows(store: LocalStore) -> int:
    with store._recent.reading() as db:
        return sum(count for site in recent.sites(db) for count, _, _ in spans(db, site).values())


def files(store: LocalStore, site: str = "ash-lane") -> list[str]:
    return sorted(p.name for p in (store._folder / "sealed" / site).glob("*"))


def test_sealing_moves_rows_older_than_the_hot_days_and_changes_no_reading(store: LocalStore) -> None:
    given = minutes(T, 5 * 1440)
    for k in range(5):
        store.append(
            "ash-lane", {p: s.between(T + k * MS_PER_DAY, T + (k + 1) * MS_PER_DAY) for p, s in given.items()}
        )
    revisions, points = store.revisions("ash-lane"), store.points("ash-lane")
    assert hot_rows(store) == 5 * 1440 * 3
    assert store.seal(T + 5 * MS_PER_DAY) == 4 * 1440 * 3
    assert hot_rows(store) == 1440 * 3
    assert files(store) == ["2025-10.parquet"]
    assert same(store.read("ash-lane"), given)
    assert store.revisions("ash-lane") == revisions
    assert store.points("ash-lane") == points
    assert store.seal(T + 5 * MS_PER_DAY) == 0


def test_a_sealed_month_has_a_row_group_a_point_and_compact_columns(store: LocalStore) -> None:
    store.append("ash-lane", minutes(T, 10_000))
    meta = pq.read_metadata(store._folder / "sealed" / "ash-lane" / "2025-10.parquet")
    assert meta.num_row_groups == len(POINTS)
    for k, point in enumerate(sorted(POINTS)):
        group = meta.row_group(k)
        assert group.column(0).statistics.min == group.column(0).statistics.max == point
        assert "DELTA_BINARY_PACKED" in group.column(1).encodings
        assert group.column(2).compression == "ZSTD"
    assert sum(meta.row_group(k).total_byte_size for k in range(3)) / meta.num_rows < 2  # bytes a reading


@pytest.mark.parametrize("count", [40, 9000], ids=["by rows", "in bulk"])
def test_late_readings_of_a_sealed_month_are_counted_right_and_win(store: LocalStore, count: int) -> None:
    store.append("ash-lane", minutes(T, 10_000))
    late = minutes(T + 50 * MINUTE, count)
    changed = {p: Samples(s.time, np.where(np.arange(count) < 10, 99.0, s.value)) for p, s in late.items()}
    held = store.read("ash-lane")
    same_as_held = {p: Samples(late[p].time, held[p].value[50 : 50 + count]) for p in POINTS}
    assert store.append("ash-lane", same_as_held) == Appended(0, 0, 3 * count)
    wanted = {
        p: Samples(changed[p].time, np.where(np.arange(count) < 10, 99.0, same_as_held[p].value))
        for p in POINTS
    }
    assert store.append("ash-lane", wanted) == Appended(0, 30, 3 * count - 30)
    for _ in range(2):
        got = store.read("ash-lane")
        for p in POINTS:
            assert got[p].value[50:60].tolist() == [99.0] * 10
            assert np.array_equal(
                np.delete(got[p].value, range(50, 60)), np.delete(held[p].value, range(50, 60))
            )
        assert store.points("ash-lane")["flow"] == PointSpan(10_000, T, T + 9999 * MINUTE)
        store.seal(T + 400 * MS_PER_DAY)  # the late rows are merged; nothing changes
    assert hot_rows(store) == 0


def test_a_value_put_back_to_what_the_sealed_file_says_is_a_change_too(store: LocalStore) -> None:
    store.append("ash-lane", minutes(T, 10_000))
    key = T + 70 * MINUTE
    first = float(store.read("ash-lane", ["flow"], key, key + 1)["flow"].value[0])
    one = {"flow": Samples(np.array([key]), np.array([first + 1]))}
    back = {"flow": Samples(np.array([key]), np.array([first]))}
    assert store.append("ash-lane", one) == Appended(0, 1, 0)
    assert store.append("ash-lane", back) == Appended(0, 1, 0)
    assert store.read("ash-lane", ["flow"], key, key + 1)["flow"].value.tolist() == [first]


def test_bulk_readings_win_over_hot_rows_of_the_same_times(store: LocalStore) -> None:
    store.append("ash-lane", minutes(T, 100, level=50.0))
    assert store.append("ash-lane", minutes(T, 10_000)) == Appended(29_700, 300, 0)
    assert hot_rows(store) == 0
    assert same(store.read("ash-lane"), minutes(T, 10_000))


def test_readings_on_both_sides_of_a_month_go_to_two_files_and_come_back_as_one(store: LocalStore) -> None:
    start = T + 22 * MS_PER_DAY  # 31 October
    store.append("ash-lane", minutes(start, 10_000))
    assert files(store) == ["2025-10.parquet", "2025-11.parquet"]
    assert same(store.read("ash-lane"), minutes(start, 10_000))
    cut = start + MS_PER_DAY
    assert store.read("ash-lane", ["out"], cut - MINUTE, cut + MINUTE)["out"].time.tolist() == [
        cut - MINUTE,
        cut,
    ]


def test_a_point_that_turned_from_numbers_to_text_is_read_as_text(store: LocalStore) -> None:
    store.append("ash-lane", {"fault": Samples(np.array([T]), np.array([17.0]))})
    store.append("ash-lane", {"fault": Samples(np.array([T + 1]), np.array(["E9"], dtype=object))})
    assert store.read("ash-lane")["fault"].value.tolist() == ["17", "E9"]
    store.seal(T + 400 * MS_PER_DAY)
    assert store.read("ash-lane")["fault"].value.tolist() == ["17", "E9"]


def test_a_number_takes_the_place_of_a_text_of_the_same_time(store: LocalStore) -> None:
    store.append("ash-lane", {"fault": Samples(np.array([T]), np.array(["E9"], dtype=object))})
    assert store.append("ash-lane", {"fault": Samples(np.array([T]), np.array([17.0]))}) == Appended(0, 1, 0)
    assert store.read("ash-lane")["fault"].value.tolist() == [17.0]


def test_points_that_come_one_by_one_share_a_moment(store: LocalStore) -> None:
    for value, point in enumerate(POINTS):
        store.append("ash-lane", {point: Samples(np.array([T, T + 1]), np.array([value, value + 0.5]))})
    store.append("ash-lane", {"flow": Samples(np.array([T + 1]), np.array([9.0]))})
    got = {p: s.value.tolist() for p, s in store.read("ash-lane").items()}
    assert got == {"elec": [0.0, 0.5], "flow": [1.0, 9.0], "out": [2.0, 2.5]}
    with store._recent.reading() as db:
        assert db.execute("SELECT count(*) FROM moments").fetchone() == (2,)


def test_a_file_with_a_row_for_each_number_is_carried_over(tmp_path: Path) -> None:
    store = LocalStore(tmp_path / "store")
    given = minutes(T, 40)
    store.append("ash-lane", {**given, "fault": Samples(np.array([T]), np.array(["E9"], dtype=object))})
    store.append("oak-lane", {"elec": given["elec"]})
    held = {site: store.read(site) for site in ("ash-lane", "oak-lane")}
    store.close()
    with closing(sqlite3.connect(tmp_path / "store" / "hot.sqlite", isolation_level=None)) as db:
        db.execute(
            "CREATE TABLE numbers (site INTEGER NOT NULL, ts INTEGER NOT NULL, point INTEGER NOT NULL, "
            "value REAL NOT NULL, PRIMARY KEY (site, ts, point)) WITHOUT ROWID"
        )
        for site, ts, packed in db.execute("SELECT site, ts, readings FROM moments").fetchall():
            for point, value in np.frombuffer(packed, READING).tolist():
                db.execute("INSERT INTO numbers VALUES (?, ?, ?, ?)", (site, ts, point, value))
        db.execute("DELETE FROM moments")
    again = LocalStore(tmp_path / "store")
    assert all(same(again.read(site), readings) for site, readings in held.items())
    assert again.append("ash-lane", given) == Appended(0, 0, 120)
    again.close()


OPS = st.lists(
    st.one_of(
        st.tuples(st.just("append"), st.integers(0, 70), st.integers(1, 30), st.integers(0, 2)),
        st.tuples(st.just("bulk"), st.integers(0, 70), st.integers(1, 30), st.integers(0, 2)),
        st.tuples(st.just("seal"), st.integers(0, 70), st.just(0), st.just(0)),
    ),
    min_size=2,
    max_size=8,
)


@settings(max_examples=40, deadline=None)
@given(ops=OPS)
def test_rows_bulk_and_sealing_in_any_order_hold_what_a_dictionary_would(
    tmp_path_factory: pytest.TempPathFactory, ops: list[tuple[str, int, int, int]]
) -> None:
    store = LocalStore(tmp_path_factory.mktemp("s"))
    held: dict[int, float] = {}
    usual = local_write.BULK
    try:
        for kind, start, count, level in ops:
            if kind == "seal":
                store.seal(T + start * MS_PER_DAY)
                continue
            local_write.BULK = 1 if kind == "bulk" else usual
            time = T + (start + np.arange(count)) * MS_PER_DAY
            fresh = {int(t): float(level) for t in time}
            before = store.revisions("ash-lane")
            stored = len(fresh.keys() - held.keys())
            replaced = sum(held.get(t, v) != v for t, v in fresh.items())
            got = store.append("ash-lane", {"a": Samples(time, np.full(count, float(level)))})
            assert got == (stored, replaced, count - stored - replaced)
            changed = {t // MS_PER_DAY for t, v in fresh.items() if held.get(t) != v}
            after = store.revisions("ash-lane")
            assert {d for d in after if after[d] != before.get(d)} == changed
            held |= fresh
        if held:
            read = store.read("ash-lane")["a"]
            assert dict(zip(read.time.tolist(), read.value.tolist(), strict=True)) == held
            assert store.points("ash-lane")["a"] == PointSpan(len(held), min(held), max(held))
    finally:
        local_write.BULK = usual
        store.close()


def test_forget_leaves_no_byte_of_the_site(store: LocalStore, tmp_path: Path) -> None:
    marker = 1234.56789
    word = "E-marker-of-ash"
    time = T + np.arange(9000) * MINUTE
    for site, value, text in (("ash-lane", marker, word), ("oak-lane", 20.5, "E-other")):
        for k in range(0, 9000, 300):
            part = slice(k, k + 300)
            store.append(site, {f"{site[:3]}_point": Samples(time[part], np.full(300, value))})
        store.append(site, {"fault": Samples(time[:5], np.array([text] * 5, dtype=object))})
    store.seal(T + 6 * MS_PER_DAY)
    store.append("ash-lane", {"ash_point": Samples(time + 40 * MS_PER_DAY, np.full(9000, marker))})
    needles = (
        b"ash-lane",
        b"ash_point",
        word.encode(),
        np.array([marker], "<f8").tobytes(),
    )
    assert all(found(tmp_path, n) for n in needles)
    store.forget("ash-lane")
    as_sqlite_writes_it = np.array([marker], ">f8").tobytes()
    assert [n for n in (*needles, as_sqlite_writes_it) if found(tmp_path, n)] == []
    assert len(store.read("oak-lane")["oak_point"].time) == 9000
    assert store.append("ash-lane", {"new": Samples(time[:1], np.array([1.0]))}) == Appended(1, 0, 0)
    assert list(store.read("ash-lane")) == ["new"]


def found(folder: Path, needle: bytes) -> bool:
    return any(
        needle in p.read_bytes() or needle in str(p.relative_to(folder)).encode()
        for p in folder.rglob("*")
        if p.is_file()
    )


def test_forgetting_while_a_reader_holds_the_log_says_so(
    store: LocalStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fieldfare.collector.store.recent._WAIT_S", 0.2)
    store.append("ash-lane", minutes(T, 10))
    other = LocalStore(store._folder)
    short = LocalStore(store._folder)
    with other._recent.reading() as db:
        db.execute("SELECT count(*) FROM moments").fetchone()
        with pytest.raises(FieldfareError, match="another process"):
            short.forget("ash-lane")
    assert store.read("ash-lane") == {}
    short.forget("ash-lane")


def test_a_name_that_is_no_site_id_is_refused(store: LocalStore) -> None:
    with pytest.raises(InputError, match="not a site id"):
        store.append("../up", minutes(T, 1))
    with pytest.raises(InputError, match="not a site id"):
        store.forget("..")


def test_a_store_can_be_sent_to_another_process(store: LocalStore) -> None:
    store.append("ash-lane", minutes(T, 30))
    again = pickle.loads(pickle.dumps(store))
    assert same(again.read("ash-lane"), minutes(T, 30))
    again.close()


def test_it_survives_a_fork(store: LocalStore) -> None:
    store.append("ash-lane", minutes(T, 30))
    context = multiprocessing.get_context("fork")
    queue = context.SimpleQueue()
    child = context.Process(target=lambda: queue.put(len(store.read("ash-lane")["flow"].time)))
    child.start()
    child.join(30)
    assert child.exitcode == 0
    assert queue.get() == 30
    assert store.append("ash-lane", minutes(T + 30 * MINUTE, 1)) == Appended(3, 0, 0)


OPENER = """
import sys
from pathlib import Path
import numpy as np
from fieldfare.analysis.readings import Samples
from fieldfare.collector.store.local import LocalStore
sys.stdin.readline()
store = LocalStore(Path(sys.argv[1]))
for k in range(20):
    store.append("ash-lane", {sys.argv[2]: Samples(np.array([1760000000000 + k]), np.array([float(k)]))})
print("done")
"""


def test_processes_that_open_a_new_store_at_the_same_moment_all_succeed(tmp_path: Path) -> None:
    for turn in range(3):
        folder = tmp_path / f"new{turn}"
        started = [
            subprocess.Popen(
                [sys.executable, "-c", OPENER, str(folder), f"p{k}"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
            )
            for k in range(3)
        ]
        clock.sleep(0.5)
        for process in started:
            process.stdin.write("go\n")  # type: ignore[union-attr]
            process.stdin.flush()  # type: ignore[union-attr]
        for process in started:
            out, err = process.communicate(timeout=60)
            assert out.strip() == "done", err
        held = LocalStore(folder).points("ash-lane")
        assert {p: s.count for p, s in held.items()} == {"p0": 20, "p1": 20, "p2": 20}


def test_threads_may_share_a_store(store: LocalStore) -> None:
    wrong: list[object] = []

    def work(site: str) -> None:
        try:
            for k in range(15):
                store.append(site, minutes(T + k * 100 * MINUTE, 100))
                if k % 5 == 4:
                    store.seal(T + 400 * MS_PER_DAY)
                if len(store.read(site)["flow"].time) != (k + 1) * 100:
                    wrong.append((site, k))
        except Exception as error:
            wrong.append(error)

    threads = [threading.Thread(target=work, args=(f"site-{n}",)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


READER = """
import sys
from pathlib import Path
from fieldfare.collector.store.local import LocalStore
store = LocalStore(Path(sys.argv[1]))
print("ready", flush=True)
seen = reads = 0
while seen < int(sys.argv[2]):
    got = store.read("ash-lane")
    n = len(got["flow"].time) if got else 0
    if got:
        t = got["flow"].time
        assert (t[1:] - t[:-1] == 60000).all(), "a hole"
    assert n >= seen, (n, seen)
    seen, reads = n, reads + 1
print(reads)
"""


def test_another_process_reads_whole_data_while_one_writes_and_seals(store: LocalStore) -> None:
    steps, each = 60, 100
    reader = subprocess.Popen(
        [sys.executable, "-c", READER, str(store._folder), str(steps * each)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert reader.stdout is not None
    assert reader.stdout.readline().strip() == "ready"
    for k in range(steps):
        store.append("ash-lane", minutes(T + k * each * MINUTE, each))
        if k % 3 == 2:
            store.seal(T + (k * each * MINUTE) + 3 * MS_PER_DAY + MS_PER_DAY)
    out, err = reader.communicate(timeout=60)
    assert reader.returncode == 0, err
    # How often it got to read while the other wrote is the machine's business; that it saw all whole is ours.
    assert int(out) >= 1


def test_an_empty_append_leaves_no_trace(store: LocalStore) -> None:
    assert store.append("ash-lane", {}) == Appended(0, 0, 0)
    assert store.append("ash-lane", {"a": Samples(np.empty(0, np.int64), np.empty(0))}) == Appended(0, 0, 0)
    assert not found(store._folder, b"ash-lane")
    assert os.listdir(store._folder / "sealed") == []


@pytest.mark.parametrize("how", ["seal", "bulk"])
def test_hot_rows_go_only_when_the_month_is_durable_in_its_place(
    store: LocalStore, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    store.append("ash-lane", minutes(T, 50))
    steps: list[str] = []
    sync, replace, delete = os.fsync, os.replace, recent.delete

    def named(fd: int) -> None:
        steps.append(f"sync {Path(os.readlink(f'/proc/self/fd/{fd}')).name}")
        sync(fd)

    def moved(a: Path, b: Path) -> None:
        steps.append(f"rename {a.name} {b.name}")
        replace(a, b)

    def deleted(*args: int) -> int:
        steps.append("delete")
        return delete(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "fsync", named)
    monkeypatch.setattr(os, "replace", moved)
    monkeypatch.setattr(recent, "delete", deleted)
    if how == "seal":
        store.seal(T + 100 * MS_PER_DAY)
    else:
        monkeypatch.setattr(local_write, "BULK", 1)
        store.append("ash-lane", minutes(T, 60))
    assert steps == [
        "sync sealed",
        "sync 2025-10.new",
        "rename 2025-10.new 2025-10.parquet",
        "sync ash-lane",
        "delete",
    ]


def test_every_commit_is_synced_and_readers_are_not_locked_out(store: LocalStore) -> None:
    with store._recent.writing() as db:
        assert db.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL
        assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
