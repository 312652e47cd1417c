"""Stored facts tables are read back unchanged: every type and layout, from other processes and earlier
releases."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import date

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from fieldfare.analysis.errors import UnreadableFacts
from fieldfare.analysis.facts.table import Table
from fieldfare.api.core.fact_tables import packed, replaced, unpacked

DAY = np.datetime64("2026-01-05", "us") + np.arange(6).astype("timedelta64[D]")


def table(rows: slice, **more: object) -> Table:
    """Columns of every type that facts have, the narrow ones between the wide ones."""
    columns = {
        "settled": np.arange(6) % 2 == 0,
        "day": DAY,
        "heat": np.array([1.5, np.nan, -0.25, 1e9, 0.0, 7.0]),
        "use": np.arange(6, dtype=np.int8),
        "starts": np.arange(6) * 10**12,
        "why": np.array(["stuck", None, "a gap", "ä", "", "reset"], object),
        "x": np.linspace(0.0, 1.0, 6),
    }
    return Table({name: values[rows] for name, values in columns.items()} | more)


def same(found: Table, wanted: Table) -> None:
    """pandas compares, types and all; it is the reference here."""
    pd.testing.assert_frame_equal(found.frame(), wanted.frame())


@pytest.mark.parametrize("rows", [slice(0, 6), slice(2, 3), slice(0, 0)])
def test_a_table_comes_back(rows: slice) -> None:
    same(unpacked([packed(table(rows))]), table(rows))


def test_parts_come_back_one_after_the_other() -> None:
    same(unpacked([packed(table(slice(n, n + 2))) for n in (0, 2, 4)]), table(slice(0, 6)))


def test_a_column_that_a_part_lacks_is_unknown_there() -> None:
    plain, more = packed(table(slice(0, 2))), packed(table(slice(2, 4), brine=np.array([3.0, 4.0])))
    found = unpacked([plain, more, packed(table(slice(4, 6)))])
    assert found.floats("brine").tolist() == pytest.approx(
        [np.nan, np.nan, 3.0, 4.0, np.nan, np.nan], nan_ok=True
    )
    same(Table({name: found[name] for name in table(slice(0, 6)).names}), table(slice(0, 6)))


def test_tables_of_earlier_releases_are_read_between_new_ones() -> None:
    parts = [table(slice(n, n + 2)) for n in (0, 2, 4)]
    arrow = pa.table({name: pa.array(parts[1][name]) for name in parts[1].names})
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, arrow.schema) as writer:
        writer.write_table(arrow)
    raw = sink.getvalue()
    older = len(raw).to_bytes(8, "little") + pa.compress(raw, codec="zstd", asbytes=True)
    found = unpacked([packed(parts[0]), older, packed(parts[2])])
    same(found, table(slice(0, 6)))


def test_days_are_replaced_in_their_place() -> None:
    fresh = table(slice(2, 4), heat=np.array([8.0, 9.0]))
    found = unpacked([replaced(packed(table(slice(0, 6))), fresh, date(2026, 1, 7), date(2026, 1, 8))])
    same(found, table(slice(0, 6), heat=np.array([1.5, np.nan, 8.0, 9.0, 0.0, 7.0])))


@pytest.mark.parametrize(
    ("kept", "rows"), [((0, 2), (2, 4)), ((2, 6), (0, 3)), ((3, 3), (0, 2)), ((0, 6), (2, 2))]
)
def test_days_are_replaced_wherever_they_lie(kept: tuple[int, int], rows: tuple[int, int]) -> None:
    """Beyond the kept ones, over their edge, into none, or by none."""
    first, last = (DAY[i].astype("M8[D]").item() for i in (rows[0], max(rows[1] - 1, rows[0])))
    found = unpacked([replaced(packed(table(slice(*kept))), table(slice(*rows)), first, last)])
    gone = set(range(rows[0], max(rows[1], rows[0] + 1)))
    wanted = sorted((set(range(*kept)) - gone) | set(range(*rows)))
    same(found, table(np.array(wanted, dtype=int)))  # type: ignore[arg-type]


def test_days_with_a_new_column_are_replaced_too() -> None:
    fresh = table(slice(2, 4), brine=np.array([3.0, 4.0]))
    found = unpacked([replaced(packed(table(slice(0, 6))), fresh, date(2026, 1, 7), date(2026, 1, 8))])
    assert found["brine"].tolist() == pytest.approx([np.nan, np.nan, 3.0, 4.0, np.nan, np.nan], nan_ok=True)
    assert found["day"].tolist() == DAY.tolist()


@pytest.mark.parametrize("seed", ["1", "2", "3"])
def test_another_process_keeps_the_same_order(seed: str) -> None:
    """Sets have another order in each process; kept bytes must not."""
    program = (
        "import sys; from tests.api.test_fact_tables import packed, table; "
        "sys.stdout.buffer.write(packed(table(slice(0, 6))))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        env=os.environ | {"PYTHONHASHSEED": seed},
        capture_output=True,
        check=True,
    )
    same(unpacked([done.stdout]), table(slice(0, 6)))


def test_no_flipped_bit_of_a_kept_table_is_read_as_a_value() -> None:
    good = packed(table(slice(0, 6)))
    for bit in range(8 * len(good)):
        changed = bytearray(good)
        changed[bit // 8] ^= 1 << bit % 8
        with pytest.raises(UnreadableFacts):
            unpacked([bytes(changed)])


def test_a_table_without_a_checksum_is_read() -> None:
    """As releases before it wrote them: eight bytes of length."""
    with_mark = packed(table(slice(0, 6)))
    same(unpacked([with_mark[:4] + bytes(4) + with_mark[8:]]), table(slice(0, 6)))
