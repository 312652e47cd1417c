"""The index of a sealed month, read without a Parquet library; and months, counted without numpy."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fieldfare.analysis.readings import Readings, Samples
from fieldfare.collector.store import sealed_file
from fieldfare.collector.store.sealed import month_name, month_of, month_start
from fieldfare.collector.store.sealed_index import INDEX_KEY, index_of, signature_of
from tests.collector.earlier_release import without_checksums

JANUARY = 1_767_225_600_000
"""2026-01-01 [ms]."""


def _readings(points: list[str]) -> Readings:
    time = JANUARY + np.arange(500, dtype=np.int64) * 60_000
    numbers: Readings = {p: Samples(time[n:], np.cos(time[n:] / 1e6)) for n, p in enumerate(points)}
    return numbers | {"fault": Samples(time[:2], np.array(["E7", "E9"], dtype=object))}


@pytest.mark.parametrize(
    "points",
    [
        ["flow"],
        [INDEX_KEY.decode()],  # its name stands in the statistics of the row group too
        ["a", INDEX_KEY.decode(), "z"],
        [f"point-{n}" for n in range(300)],  # an index of several thousand characters
    ],
    ids=["one", "named as the key", "among others", "many"],
)
def test_the_index_is_the_one_that_the_parquet_library_finds(
    tmp_path: Path, points: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "2026-01.parquet"
    sealed_file.write_file(path, sealed_file.pieces_of(_readings(points)))
    by_library = sealed_file.read_index(path)
    monkeypatch.delattr(sealed_file, "read_index")  # the library is not asked
    index = index_of(path, signature_of(path))
    assert index == by_library
    assert set(index) == {*points, "fault"}
    assert index["fault"].is_text
    assert index[points[0]].rows == 500


def test_a_file_without_checksums_has_the_same_index(tmp_path: Path) -> None:
    with_sums, without = tmp_path / "2026-01.parquet", tmp_path / "2026-02.parquet"
    sealed_file.write_file(with_sums, sealed_file.pieces_of(_readings(["flow", "return"])))
    without.write_bytes(without_checksums(with_sums.read_bytes()))
    assert index_of(without, signature_of(without)) == index_of(with_sums, signature_of(with_sums))


@pytest.mark.parametrize(
    "time",
    ["1970-01-01", "1969-12-31T23:59", "2026-02-28T23:59:59", "2024-02-29", "2400-02-29", "0001-01-01"],
)
def test_months_are_those_of_the_calendar(time: str) -> None:
    moment = np.datetime64(time, "ms")
    month = month_of(int(moment.astype(np.int64)))
    assert month == int(moment.astype("M8[M]").astype(np.int64))
    assert month_name(month) == str(moment.astype("M8[M]"))
    assert month_start(month) == int(moment.astype("M8[M]").astype("M8[ms]").astype(np.int64))


def test_months_beyond_the_years_of_a_date_are_counted_on() -> None:
    moment = np.datetime64("12345-06-07", "ms")
    assert month_name(month_of(int(moment.astype(np.int64)))) == "12345-06"
