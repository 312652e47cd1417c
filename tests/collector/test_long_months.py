"""Months with more readings per point than a row group holds: merged, damaged and read in parts."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from fieldfare.analysis.readings import MS_PER_DAY, Readings, Samples
from fieldfare.collector.export import export_readings
from fieldfare.collector.store import local_write, month_merge, sealed_file
from fieldfare.collector.store.checksums import read_checksums
from fieldfare.collector.store.local import LocalStore
from fieldfare.collector.store.sealed_index import index_of, signature_of
from tests.services import make_site

SITE = "alder-row"
JANUARY = 1_767_225_600_000
"""2026-01-01 [ms]."""
MEMORY_MB = 300
"""Of any import, as of the CSV files of `test_fuzz`."""
DAYS = 20


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[LocalStore]:
    monkeypatch.setattr(local_write, "BULK", 200)
    monkeypatch.setattr(sealed_file, "MOST_ROWS", 1000)
    monkeypatch.setattr(month_merge, "ROWS_AT_ONCE", 2500)
    made = LocalStore(tmp_path / "store")
    yield made
    made.close()


def numbers(start: int, count: int, level: float = 40.0) -> Samples:
    time = JANUARY + (start + np.arange(count, dtype=np.int64)) * 1000
    return Samples(time, np.round(level + np.sin(time / 1e5), 2))


def file_of(store: LocalStore) -> Path:
    (path,) = (store._folder / "sealed" / SITE).glob("*.parquet")
    return path


def rows_of(store: LocalStore, point: str) -> list[int]:
    """Readings in each row group of a point."""
    path = file_of(store)
    return [group.rows for group in index_of(path, signature_of(path))[point].groups]


def same(found: Readings, wanted: Readings) -> bool:
    return found.keys() == wanted.keys() and all(
        np.array_equal(found[p].time, s.time) and np.array_equal(found[p].value, s.value)
        for p, s in wanted.items()
    )


def test_a_long_month_has_several_row_groups_of_a_point_and_a_short_one_has_one(store: LocalStore) -> None:
    given = {"flow": numbers(0, 5300), "out": numbers(0, 700)}
    store.append(SITE, given)
    assert rows_of(store, "flow") == [883, 883, 884, 883, 883, 884]
    assert rows_of(store, "out") == [700]
    assert same(store.read(SITE), given)
    assert store.points(SITE)["flow"] == (5300, JANUARY, JANUARY + 5299_000)
    assert store.check(SITE) == []


def test_row_groups_neither_outgrow_the_limit_nor_fall_to_pieces(store: LocalStore) -> None:
    every: list[Samples] = []
    for k in range(0, 40):  # each append gives the last row group more, and one in four fills a gap before it
        start = 250 * (k if k % 4 else k - 1)
        piece = numbers(max(0, start), 250 if k % 4 else 200, 40 + k)
        store.append(SITE, {"flow": piece})
        every.append(piece)
    rows = rows_of(store, "flow")
    assert max(rows) <= 1000
    assert min(rows[:-1]) >= 500
    held: dict[int, float] = {}
    for piece in every:
        held |= dict(zip(piece.time.tolist(), piece.value.tolist(), strict=True))
    found = store.read(SITE)["flow"]
    assert found.time.tolist() == sorted(held)
    assert found.value.tolist() == [held[t] for t in sorted(held)]


def test_a_part_of_a_long_month_is_read_without_the_rest(
    store: LocalStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.append(SITE, {"flow": numbers(0, 9000)})
    read: list[int] = []
    bare = sealed_file._readings

    def counted(file: object, asked: list[sealed_file._Asked], threads: bool) -> Readings:
        read.append(sum(one.group.rows for one in asked))
        return bare(file, asked, threads)

    monkeypatch.setattr(sealed_file, "_readings", counted)
    found = store.read(SITE, None, JANUARY + 3_500_000, JANUARY + 3_600_000)["flow"]
    assert same({"flow": found}, {"flow": numbers(3500, 100)})
    assert read == [1000]
    store.append(SITE, {"flow": numbers(4100, 300)})  # the same again: compared with one part, none written
    assert read == [1000, 1000]


def test_a_point_that_turns_to_texts_is_text_in_all_its_parts(store: LocalStore) -> None:
    store.append(SITE, {"fault": Samples(numbers(0, 3000).time, np.arange(3000) % 7 + 0.0)})
    words = np.array(["E7"] * 250, dtype=object)
    store.append(SITE, {"fault": Samples(numbers(1200, 250).time, words)})
    found = store.read(SITE)["fault"].value
    assert found[:3].tolist() == ["0", "1", "2"]
    assert found[1200:1450].tolist() == words.tolist()
    assert found[1450:].tolist() == [str(n % 7) for n in range(1450, 3000)]


def test_a_damaged_row_group_costs_its_own_readings_alone(store: LocalStore) -> None:
    given = {"flow": numbers(0, 5000), "out": numbers(0, 5000)}
    store.append(SITE, given)
    path = file_of(store)
    raw = bytearray(path.read_bytes())
    sums = read_checksums(memoryview(bytes(raw)))
    assert sums is not None
    raw[sums.ends[1] + 50] ^= 1  # in the third row group of the first point
    beside = path.with_suffix(".other")
    beside.write_bytes(bytes(raw))
    beside.replace(path)
    found = store.read(SITE)
    assert same({"out": found["out"]}, {"out": given["out"]})
    whole = np.r_[0:2000, 3000:5000]
    assert np.array_equal(found["flow"].time, given["flow"].time[whole])
    assert np.array_equal(found["flow"].value, given["flow"].value[whole])
    (trouble,) = store.troubles(SITE)
    assert "flow" in trouble.what
    store.append(SITE, {"flow": numbers(6000, 300)})
    (kept,) = path.parent.glob("*.damaged")
    assert kept.read_bytes() == bytes(raw)
    assert len(store.read(SITE)["flow"].time) == 4300
    assert store.fill_month(SITE, 56 * 12, given) == 1000
    assert not [*path.parent.glob("*.damaged")]
    assert store.check(SITE) == []
    assert np.array_equal(
        store.read(SITE, ["flow"], None, JANUARY + 5_000_000)["flow"].value, given["flow"].value
    )


MEASURE = """
import sys
from pathlib import Path
from fieldfare.collector.store.local import LocalStore
from fieldfare.collector.transfer import import_parquet
from tests.services import make_site
folder = Path(sys.argv[1])
site = make_site(points={"flow": 'quantity = "flow_temperature"', "back": 'quantity = "return_temperature"'})
done = import_parquet(site, LocalStore(folder / "there"), folder / "out.parquet", now=int(sys.argv[2]))
status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
print(int(status["VmHWM"].split()[0]) // 1024, done.stored)
"""


def test_an_import_of_a_reading_a_second_stays_in_bounded_memory(tmp_path: Path) -> None:
    """Joining the month with each part of the file took 394 MB."""
    site = make_site(
        points={"flow": 'quantity = "flow_temperature"', "back": 'quantity = "return_temperature"'}
    )
    here = LocalStore(tmp_path / "here")
    count = DAYS * MS_PER_DAY // 1000
    given = {p: numbers(0, count, level) for p, level in (("flow", 40.0), ("back", 35.0))}
    here.append(SITE, given)
    assert export_readings(site, here, tmp_path / "out.parquet") == 2 * count
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(tmp_path), str(JANUARY + 40 * MS_PER_DAY)],
        capture_output=True,
        text=True,
        timeout=250,
        cwd=Path(__file__).parents[2],
    )
    assert done.returncode == 0, done.stderr[-500:]
    megabytes, stored = map(int, done.stdout.split())
    assert stored == 2 * count
    assert megabytes < MEMORY_MB
    there = LocalStore(tmp_path / "there")
    assert same(there.read(SITE), given)
    here.close()
    there.close()
