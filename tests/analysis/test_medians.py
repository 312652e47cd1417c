"""Medians and quantiles equal numpy's to the last bit."""

from __future__ import annotations

import numpy as np
import pytest

from fieldfare.analysis.statistics.quantiles import (
    median,
    quantile,
    row_quantiles,
    running_median,
)

RNG = np.random.default_rng(5)
ROWS = [RNG.normal(size=n).round(d) for n in (1, 2, 3, 4, 15, 16, 59) for d in (1, 12)]


@pytest.mark.parametrize("values", ROWS)
def test_median_and_quantiles_are_numpy_s(values: np.ndarray) -> None:
    assert median(values) == np.median(values)
    for share in (0.0, 0.02, 0.08, 0.15, 0.25, 0.3, 0.5, 0.9, 0.95, 1.0):
        assert quantile(values, share) == np.quantile(values, share)


def test_a_median_of_what_is_partly_unknown_is_unknown() -> None:
    assert np.isnan(median(np.array([1.0, np.nan, 3.0])))


@pytest.mark.parametrize(("before", "after"), [(7, 7), (2, 0), (0, 2)])
@pytest.mark.parametrize("values", ROWS)
def test_a_running_median_has_fewer_values_at_its_ends(values: np.ndarray, before: int, after: int) -> None:
    expected = [np.median(values[max(i - before, 0) : i + after + 1]) for i in range(len(values))]
    assert running_median(values, before, after).tolist() == expected


@pytest.mark.parametrize("share", [0.0, 0.08, 0.15, 0.3, 0.5, 1.0])
def test_quantiles_of_rows_leave_out_what_is_unknown(share: float) -> None:
    rows = np.vstack([RNG.normal(size=(5, 8)).round(1), np.full((1, 8), np.nan)])
    rows[1, 2:5], rows[2, :7] = np.nan, np.nan
    expected = [np.nanquantile(row, share) for row in rows[:5]]
    assert row_quantiles(rows, share)[:5].tolist() == expected
    assert np.isnan(row_quantiles(rows, share)[5])
    assert np.isnan(row_quantiles(rows, share, least=6)[[1, 2]]).all()
