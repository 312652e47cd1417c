"""Damaged stored data: no wrong values, losses are reported, everything else continues."""

from __future__ import annotations

import os
import random
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from fieldfare.analysis.readings import MS_PER_DAY, Readings, Samples
from fieldfare.collector.store.checksums import ChecksumMismatch, read_checksums
from fieldfare.collector.store.local import LocalStore
from fieldfare.collector.store.local_write import LocalWriter
from tests.collector.earlier_release import without_checksums

SITE, OTHER = "ash-lane", "beech-end"
DECEMBER, JANUARY = 1_764_547_200_000, 1_767_225_600_000  # 2025-12-01, 2026-01-01
FLIPS = (150, pytest.param(600, marks=pytest.mark.slow))


def month(start: int, count: int = 8000) -> Readings:
    time = start + np.arange(count, dtype=np.int64) * 60_000
    rng = np.random.default_rng(5)
    return {
        "flow": Samples(time, np.round(40 + rng.normal(0, 2, count), 1)),
        "kwh": Samples(time, 3000 + np.cumsum(rng.random(count))),
        "mode": Samples(time, (np.arange(count) // 30 % 3).astype(float)),
        "fault": Samples(time[::50], np.array([f"E{n % 7}" for n in range(len(time[::50]))], dtype=object)),
    }


@pytest.fixture
def store(tmp_path: Path) -> Iterator[LocalStore]:
    made = LocalStore(tmp_path / "readings")
    for site in (SITE, OTHER):
        for start in (DECEMBER, JANUARY):
            made.append(site, month(start))
    made.seal(JANUARY + 60 * MS_PER_DAY)
    yield made
    made.close()


def file_of(store: LocalStore, name: str = "2025-12", site: str = SITE) -> Path:
    return store._folder / "sealed" / site / f"{name}.parquet"


def put(path: Path, data: bytes) -> None:
    """Another file in the place of this one, as a failing disk or a bad copy leaves it."""
    beside = path.with_suffix(".other")
    beside.write_bytes(data)
    os.replace(beside, path)


@pytest.mark.parametrize("flips", FLIPS)
def test_no_flipped_bit_is_read_as_a_value(store: LocalStore, flips: int) -> None:
    path, good = file_of(store), store.read(SITE)
    raw = path.read_bytes()
    random.seed(11)
    left = []
    for bit in random.sample(range(len(raw) * 8), flips):
        flipped = bytearray(raw)
        flipped[bit // 8] ^= 1 << bit % 8
        put(path, bytes(flipped))
        found, whole = store.read(SITE), store.points(SITE)
        assert all(np.isin(samples.time, good[p].time).all() for p, samples in found.items())
        for point, samples in found.items():
            at = np.searchsorted(good[point].time, samples.time)
            assert (good[point].value[at] == samples.value).all(), (bit, point)
        january = store.read(SITE, start=JANUARY)
        assert set(january) == set(good)
        lost = sum(len(good[p].time) for p in good) - sum(len(s.time) for s in found.values())
        troubles = store.troubles(SITE)
        if lost or len(whole) < len(good):
            assert [t.file for t in troubles] == [str(path)]
            assert "left out" in troubles[0].what
        left.append(lost)
    assert sum(n > 0 for n in left) > 0.95 * flips  # the mark of the checksums, 8 bytes, holds no value
    assert np.median(left) < 8001  # the part of one point, not the month
    assert store.troubles(OTHER) == []


DAMAGES = {
    "cut off": lambda raw: raw[: len(raw) // 2],
    "empty": lambda raw: b"",
    "zeros": lambda raw: bytes(len(raw)),
    "text": lambda raw: b"hello" * 1000,
    "no footer": lambda raw: raw[:-5000],
    "start only": lambda raw: raw[:11],
    "footer length": lambda raw: raw[:-8] + b"\xff\xff\xff\x7fPAR1",
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_month_that_can_t_be_read_costs_that_month_alone(store: LocalStore, damage: str) -> None:
    path = file_of(store)
    put(path, DAMAGES[damage](path.read_bytes()))
    assert set(store.read(SITE)) == {"flow", "kwh", "mode", "fault"}
    assert store.span(SITE)[0] == JANUARY
    assert store.points(SITE)["flow"].count == 8000
    assert store.thin(SITE) == []
    (trouble,) = store.check(SITE)
    assert trouble.site == SITE
    assert trouble.file == str(path)
    assert "\n" not in str(trouble)


def test_new_readings_of_a_damaged_month_are_kept_and_so_is_the_damaged_file(store: LocalStore) -> None:
    path = file_of(store)
    put(path, path.read_bytes()[:-40])
    later = {
        "flow": Samples(DECEMBER + 20 * MS_PER_DAY + np.arange(30_000, dtype=np.int64), np.full(30_000, 41.0))
    }
    assert store.append(SITE, later).stored == 30_000
    assert store.append(SITE, {"flow": Samples(np.array([DECEMBER + 7]), np.array([9.0]))}).stored == 1
    store.seal(JANUARY + 90 * MS_PER_DAY)
    found = store.read(SITE, ["flow"], DECEMBER, JANUARY)["flow"]
    assert len(found.time) == 30_001
    (kept,) = path.parent.glob("*.damaged")
    assert [t.file for t in store.troubles(SITE)] == [str(kept)]
    assert len(store.read(OTHER)["flow"].time) == 16_000


def test_what_was_left_out_of_a_month_is_kept_when_the_month_is_written_again(store: LocalStore) -> None:
    path = file_of(store)
    raw = bytearray(path.read_bytes())
    raw[200] ^= 1
    put(path, bytes(raw))
    assert store.append(SITE, {"flow": Samples(np.array([DECEMBER + 1]), np.array([5.0]))}).stored == 1
    store.seal(JANUARY + 90 * MS_PER_DAY)
    (kept,) = path.parent.glob("*.damaged")
    assert kept.read_bytes() == bytes(raw)
    assert len(store.read(SITE, ["mode"], DECEMBER, JANUARY)["mode"].time) == 8000


def test_a_file_of_an_earlier_release_without_checksums_is_read(store: LocalStore) -> None:
    path, good = file_of(store), store.read(SITE)
    put(path, without_checksums(path.read_bytes()))
    assert read_checksums(memoryview(path.read_bytes())) is None
    found = store.read(SITE)
    assert all((found[p].value == good[p].value).all() for p in good)
    assert store.check(SITE) == []


def test_other_tools_read_a_file_with_checksums(store: LocalStore) -> None:
    table = pq.read_table(file_of(store))
    assert table.num_rows == sum(len(s.time) for s in store.read(SITE, None, DECEMBER, JANUARY).values())


def test_checksums_of_a_file_that_is_none() -> None:
    for data in (b"", b"PAR1", b"PAR1PAR1", b"x" * 100):
        with pytest.raises(ChecksumMismatch):
            read_checksums(memoryview(data))


def test_a_deleted_month_is_missed(store: LocalStore) -> None:
    file_of(store).unlink()
    (trouble,) = store.troubles(SITE)
    assert trouble.file == str(file_of(store))
    assert "missing" in trouble.what
    assert store.troubles(OTHER) == []


def test_a_lost_database_of_recent_readings_is_missed(store: LocalStore) -> None:
    folder = store._folder
    store.close()
    for path in folder.glob("hot.sqlite*"):
        path.unlink()
    again = LocalStore(folder)
    assert len(again.read(SITE)["flow"].time) == 16_000
    (trouble,) = again.troubles(SITE)
    assert "hot.sqlite" in trouble.file
    assert "lost" in trouble.what
    again.close()


@pytest.mark.parametrize("garbage", [b"", b"abc", b"x" * 25, "text", None, 7, b"\xff" * 24])
def test_garbage_in_one_sites_recent_rows_is_left_out(store: LocalStore, garbage: object) -> None:
    now = JANUARY + 40 * MS_PER_DAY
    recent = {"flow": Samples(np.array([now, now + 60_000]), np.array([40.0, 41.0]))}
    for site in (SITE, OTHER):
        store.append(site, recent)
    with sqlite3.connect(store._folder / "hot.sqlite") as db:
        (number,) = db.execute("SELECT num FROM sites WHERE id = ?", (SITE,)).fetchone()
        db.execute("PRAGMA ignore_check_constraints = ON")
        value = b"" if garbage is None else garbage
        db.execute("INSERT INTO moments VALUES (?, ?, ?)", (number, now + 30_000, value))
    for site in (SITE, OTHER):
        assert store.read(site, ["flow"], now)["flow"].value.tolist() == [40.0, 41.0]
        assert store.span(site) is not None
    if garbage != b"\xff" * 24:  # whole readings of points that there are not
        assert "damaged rows" in store.troubles(SITE)[0].what
    assert store.troubles(OTHER) == []
    store.seal(now + 9 * MS_PER_DAY)
    assert store.read(SITE, ["flow"], now)["flow"].value.tolist() == [40.0, 41.0]


def recent(now: int) -> Readings:
    """Minutes of three numbers and a text."""
    found = {p: Samples(s.time - JANUARY + now, s.value) for p, s in month(JANUARY, 300).items()}
    assert found["fault"].value.dtype == object
    return found


def test_no_flipped_bit_of_a_recent_row_is_read_as_a_value(store: LocalStore) -> None:
    now = JANUARY + 40 * MS_PER_DAY
    for site in (SITE, OTHER):
        store.append(site, recent(now))
    good = store.read(SITE, None, now)
    draw = random.Random(3)
    with sqlite3.connect(store._folder / "hot.sqlite") as db:
        (number,) = db.execute("SELECT num FROM sites WHERE id = ?", (SITE,)).fetchone()
        rows = db.execute("SELECT ts, readings FROM moments WHERE site = ?", (number,)).fetchall()
        for n, (ts, packed) in enumerate(draw.sample(rows, 100)):
            changed = bytearray(packed)
            bit = n if n < 32 else draw.randrange(8 * len(packed))
            changed[bit // 8] ^= 1 << bit % 8
            db.execute(
                "UPDATE moments SET readings = ? WHERE site = ? AND ts = ?", (bytes(changed), number, ts)
            )
            db.commit()
            found = store.read(SITE, None, now)
            for point, samples in found.items():
                at = np.searchsorted(good[point].time, samples.time)
                assert (good[point].value[at] == samples.value).all()
            lost = {p: len(good[p].time) - len(found[p].time) for p in ("flow", "kwh", "mode")}
            assert set(lost.values()) == {1}
            db.execute("UPDATE moments SET readings = ? WHERE site = ? AND ts = ?", (packed, number, ts))
            db.commit()
        db.execute("UPDATE moments SET ts = ts + 1 WHERE site = ? AND ts = ?", (number, rows[5][0]))
        db.execute("UPDATE texts SET value = 'E9' WHERE site = ? AND ts = ?", (number, now))
    found = store.read(SITE, None, now)
    assert [len(good[p].time) - len(found[p].time) for p in ("flow", "fault")] == [1, 1]
    assert rows[5][0] + 1 not in found["flow"].time
    assert "2 damaged rows" in store.check(SITE)[0].what
    assert len(store.read(OTHER, None, now)["fault"].time) == len(good["fault"].time)
    assert store.check(OTHER) == []


def test_rows_of_an_earlier_release_have_no_mark_and_are_read(store: LocalStore) -> None:
    now = JANUARY + 40 * MS_PER_DAY
    store.append(SITE, recent(now))
    good = store.read(SITE)
    with sqlite3.connect(store._folder / "hot.sqlite") as db:
        db.execute("UPDATE moments SET readings = substr(readings, 13)")
        db.execute("ALTER TABLE texts DROP COLUMN mark")
    again = LocalStore(store._folder)
    found = again.read(SITE)
    assert all((found[p].value == good[p].value).all() for p in good)
    assert again.check(SITE) == []
    count = sum(len(s.time) for s in again.read(SITE, None, now).values())
    assert again.seal(now + 9 * MS_PER_DAY) == count
    again.close()


def test_one_site_that_can_t_be_sealed_does_not_keep_the_others_from_it(
    store: LocalStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = JANUARY + 40 * MS_PER_DAY
    for site in (SITE, OTHER):
        store.append(site, {"flow": Samples(np.array([now]), np.array([40.0]))})
    sealing = LocalWriter.seal

    def failing(self: LocalWriter, site: str, cutoff: int) -> int:
        if site == SITE:
            raise RuntimeError("broken")
        return sealing(self, site, cutoff)

    monkeypatch.setattr(LocalWriter, "seal", failing)
    assert store.seal(now + 9 * MS_PER_DAY) == 1


def test_a_writer_killed_before_it_wrote_leaves_no_month_to_be_missed(
    store: LocalStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Killed(BaseException):
        pass

    def killed(*_: object) -> None:
        raise Killed

    monkeypatch.setattr(store._sealed, "publish", killed)
    with pytest.raises(Killed):
        store.append(SITE, month(JANUARY + 40 * MS_PER_DAY, 30_000))
    again = LocalStore(store._folder)
    assert again.troubles(SITE) == []
    again.close()
