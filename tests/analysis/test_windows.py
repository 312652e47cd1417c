"""Cumulative sums, rolling windows and runs against plain loops."""

from __future__ import annotations

import numpy as np
import pytest

from fieldfare.analysis.minutes.rolling import (
    forward_fill,
    run_begins,
    running_total,
    true_runs,
    window_mean,
    window_sum,
)

RNG = np.random.default_rng(8)


@pytest.mark.parametrize("n", [0, 1, 5, 40])
@pytest.mark.parametrize(("back", "ahead"), [(0, 1), (3, 4), (10, 0), (0, 60), (60, 60)])
def test_a_window_takes_what_there_is_of_it_at_the_ends(n: int, back: int, ahead: int) -> None:
    flags = RNG.random(n) < 0.4
    values = RNG.normal(size=n)
    pieces = [slice(max(i - back, 0), i + ahead) for i in range(n)]
    assert window_sum(flags, back, ahead).tolist() == [int(flags[p].sum()) for p in pieces]
    assert window_sum(values, back, ahead) == pytest.approx([float(values[p].sum()) for p in pieces])


def test_a_total_of_flags_is_a_count() -> None:
    assert running_total(np.array([True, False, True])).tolist() == [0, 1, 1, 2]
    assert running_total(np.array([True])).dtype == np.int64
    assert running_total(np.array([0.5, 0.25])).tolist() == [0.0, 0.5, 0.75]


def test_a_mean_needs_so_many_known_values() -> None:
    values = np.array([1.0, np.nan, 3.0, 5.0])
    assert window_mean(values, 1, 1).tolist()[1:] == [1.0, 3.0, 4.0]
    assert np.isnan(window_mean(values, 0, 2, least=2)).tolist() == [True, True, False, True]


@pytest.mark.parametrize("n", [0, 1, 2, 30])
@pytest.mark.parametrize("share", [0.0, 0.3, 0.7, 1.0])
def test_stretches_cover_every_true_and_nothing_else(n: int, share: float) -> None:
    flags = RNG.random(n) < share
    start, end = true_runs(flags)
    laid = np.zeros(n, dtype=bool)
    for a, b in zip(start, end, strict=True):
        assert a < b
        laid[a:b] = True
    assert (laid == flags).all()
    assert (start[1:] > end[:-1]).all()  # apart, or they would be one


@pytest.mark.parametrize("before", [False, True])
@pytest.mark.parametrize("n", [0, 1, 40])
def test_a_run_begins_where_it_did_not_hold_before(n: int, before: bool) -> None:
    flags = RNG.random(n) < 0.5
    expected = [bool(f) and not (flags[i - 1] if i else before) for i, f in enumerate(flags)]
    assert run_begins(flags, before=before).tolist() == expected


@pytest.mark.parametrize("n", [0, 1, 30])
def test_the_newest_value_holds_on(n: int) -> None:
    values, where = RNG.normal(size=n), RNG.random(n) < 0.3
    expected, held = [], -9.0
    for value, counts in zip(values, where, strict=True):
        held = value if counts else held
        expected.append(held)
    assert forward_fill(values, where, -9.0).tolist() == expected
