"""Arrow columns to numpy and back, with nulls, slices and several chunks, compared with pyarrow."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest

from fieldfare.collector.arrow import array, numbers, present, texts


def column() -> pa.ChunkedArray:
    first = pa.array([9.0, 1.5, None, -0.0, 2.0, 3.0, None, 4.0, 5.0, 6.0, None])
    return pa.chunked_array([first.slice(1, 9), pa.array([], pa.float64()), pa.array([7.0, None])])


def test_nulls_are_nan_and_absent() -> None:
    np.testing.assert_array_equal(numbers(column()), column().to_numpy())
    here = present(column())
    assert here is not None
    np.testing.assert_array_equal(here, column().is_valid().to_numpy())
    assert present(pa.chunked_array([pa.array([1.0])])) is None


@pytest.mark.parametrize("dtype", [np.float64, np.int64, np.int32])
def test_numbers_go_there_and_back(dtype: type) -> None:
    values = np.arange(12).astype(dtype)[::3]
    made = array(values)
    assert made.equals(pa.array(values))
    np.testing.assert_array_equal(numbers(made), values)
    assert numbers(made).dtype == dtype
    assert len(numbers(pa.chunked_array([], made.type))) == 0


@pytest.mark.parametrize("odd", [pa.array([1, None]), pa.array(["a"]), pa.array([True])])
def test_what_has_no_place_is_refused(odd: pa.Array) -> None:
    with pytest.raises(TypeError):
        numbers(odd)


def test_texts() -> None:
    words = ["", "plain", "\u00fcber \u2103", "with\nline"]
    assert texts(words).equals(pa.array(words, pa.string()))
    assert array(np.array(words, dtype=object)).equals(pa.array(words, pa.string()))
    assert texts([]).equals(pa.array([], pa.string()))
