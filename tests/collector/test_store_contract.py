"""Contract of all stores. Add a new store to MAKES."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldfare.analysis.readings import MS_PER_DAY, Samples
from fieldfare.collector.store import local_write, month_merge, sealed_file
from fieldfare.collector.store.local import LocalStore
from fieldfare.collector.store.protocol import Appended, PointSpan, Reverted, Store
from tests.services import InfluxMakes, influx_makes  # noqa: F401

MAKES: dict[str, Callable[[Path], Store]] = {"local": lambda folder: LocalStore(folder / "store")}
T = 1_760_000_000_000 // MS_PER_DAY * MS_PER_DAY
"""A midnight in October 2025 [ms]."""
MINUTE = 60_000


IN_PARTS = "local, sealed at once, in small row groups"


@pytest.fixture(params=[*MAKES, IN_PARTS, *InfluxMakes.NAMES])
def store(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    if request.param in MAKES:
        made = MAKES[request.param](tmp_path)
    elif request.param == IN_PARTS:
        monkeypatch.setattr(local_write, "BULK", 1)
        row_groups_of(3000, monkeypatch)
        made = LocalStore(tmp_path / "store")
    else:
        made = request.getfixturevalue("influx_makes").open(request.param, tmp_path)
    yield made
    made.close()


@pytest.fixture
def answering(request: pytest.FixtureRequest, store: Store) -> Store:
    """A store whose server can be reached: without one nothing is reverted."""
    if request.node.callspec.params["store"] == "influx_waiting":
        pytest.skip("never sends")
    return store


def row_groups_of(rows: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sealed_file, "MOST_ROWS", rows)
    monkeypatch.setattr(month_merge, "ROWS_AT_ONCE", rows + 1)


def samples(pairs: dict[int, float]) -> Samples:
    return Samples(np.array(list(pairs), np.int64), np.array(list(pairs.values()), np.float64))


def shown(samples: Samples) -> list[tuple[int, object]]:
    return list(zip(samples.time.tolist(), samples.value.tolist(), strict=True))


def test_what_is_appended_is_read_back_in_order(store: Store) -> None:
    assert store.append("ash-lane", {"a": samples({T + 2: 2.5, T: 0.1, T + 1: -1.0})}) == Appended(3, 0, 0)
    got = store.read("ash-lane")["a"]
    assert shown(got) == [(T, 0.1), (T + 1, -1.0), (T + 2, 2.5)]
    assert got.time.dtype == np.int64
    assert got.value.dtype == np.float64


def test_the_start_is_inclusive_and_the_end_exclusive(store: Store) -> None:
    store.append("ash-lane", {"a": samples({T: 0, T + 1: 1, T + 2: 2}), "b": samples({T + 9: 9})})
    assert shown(store.read("ash-lane", None, T, T + 2)["a"]) == [(T, 0), (T + 1, 1)]
    assert store.read("ash-lane", None, T + 3, T + 9) == {}


def test_only_the_named_points_are_read_and_points_without_any_are_absent(store: Store) -> None:
    store.append("ash-lane", {"a": samples({T: 1}), "b": samples({T: 2})})
    assert set(store.read("ash-lane", ["b", "never"])) == {"b"}
    assert store.read("ash-lane", []) == {}


def test_the_same_readings_again_change_nothing(store: Store) -> None:
    readings = {"a": samples({T: 1, T + 1: 2}), "b": samples({T: 3})}
    store.append("ash-lane", readings)
    before = store.revisions("ash-lane")
    assert store.append("ash-lane", readings) == Appended(0, 0, 3)
    assert store.revisions("ash-lane") == before
    assert store.points("ash-lane") == {"a": PointSpan(2, T, T + 1), "b": PointSpan(1, T, T)}


def test_a_later_append_with_another_value_replaces_it(store: Store) -> None:
    store.append("ash-lane", {"a": samples({T: 1, T + 1: 2})})
    assert store.append("ash-lane", {"a": samples({T + 1: 5, T + 2: 6})}) == Appended(1, 1, 0)
    assert shown(store.read("ash-lane")["a"]) == [(T, 1), (T + 1, 5), (T + 2, 6)]


def test_within_one_append_the_first_value_of_a_key_counts(store: Store) -> None:
    twice = Samples(np.array([T + 1, T, T + 1]), np.array([1.0, 2.0, 3.0]))
    assert store.append("ash-lane", {"a": twice}) == Appended(2, 0, 1)
    assert shown(store.read("ash-lane")["a"]) == [(T, 2), (T + 1, 1)]


def test_nan_is_no_reading(store: Store) -> None:
    assert store.append("ash-lane", {"a": samples({T: np.nan, T + 1: 2})}) == Appended(1, 0, 0)
    assert store.append("ash-lane", {"a": samples({T: np.nan})}) == Appended(0, 0, 0)
    assert shown(store.read("ash-lane")["a"]) == [(T + 1, 2)]


def test_texts_stay_as_they_are_also_where_they_look_like_numbers(store: Store) -> None:
    texts = Samples(np.array([T, T + 1]), np.array(["007", "E7 high pressure, äöü"], dtype=object))
    store.append("ash-lane", {"fault": texts, "a": samples({T: 1})})
    got = store.read("ash-lane", ["fault"])["fault"]
    assert shown(got) == [(T, "007"), (T + 1, "E7 high pressure, äöü")]
    assert got.value.dtype == object
    assert store.append("ash-lane", {"fault": texts}) == Appended(0, 0, 2)


def test_sites_are_kept_apart(store: Store) -> None:
    store.append("ash-lane", {"a": samples({T: 1})})
    store.append("oak-lane", {"a": samples({T: 2})})
    assert shown(store.read("ash-lane")["a"]) == [(T, 1)]
    assert store.read("elm-lane") == {}


def test_span_and_points_tell_what_is_held(store: Store) -> None:
    assert store.span("ash-lane") is None
    assert store.points("ash-lane") == {}
    store.append("ash-lane", {"a": samples({T: 1, T + 40 * MS_PER_DAY: 1}), "b": samples({T - 5: 1})})
    assert store.span("ash-lane") == (T - 5, T + 40 * MS_PER_DAY)
    assert store.points("ash-lane")["a"] == PointSpan(2, T, T + 40 * MS_PER_DAY)


def test_the_revision_of_a_day_grows_only_when_that_day_changes(store: Store) -> None:
    day = T // MS_PER_DAY
    store.append("ash-lane", {"a": samples({T: 1, T + MS_PER_DAY: 2})})
    first = store.revisions("ash-lane")
    assert set(first) == {day, day + 1}
    store.append("ash-lane", {"a": samples({T: 1, T + MS_PER_DAY - 1: 2})})
    second = store.revisions("ash-lane")
    assert second[day] > first[day]
    assert second[day + 1] == first[day + 1]
    store.append("ash-lane", {"a": samples({T + MS_PER_DAY: 3})})
    assert store.revisions("ash-lane")[day + 1] > second[day + 1]


def test_a_forgotten_site_is_gone_and_may_come_again(store: Store) -> None:
    store.append("ash-lane", {"a": samples({T: 1})})
    store.append("oak-lane", {"a": samples({T: 2})})
    old = store.revisions("ash-lane")[T // MS_PER_DAY]
    store.forget("ash-lane")
    assert store.read("ash-lane") == {}
    assert store.span("ash-lane") is None
    assert store.revisions("ash-lane") == {}
    store.append("ash-lane", {"b": samples({T: 3})})
    assert {p: shown(s) for p, s in store.read("ash-lane").items()} == {"b": [(T, 3)]}
    assert store.revisions("ash-lane")[T // MS_PER_DAY] != old
    assert shown(store.read("oak-lane")["a"]) == [(T, 2)]


def test_many_readings_at_once_obey_the_same_rules(store: Store) -> None:
    n = 30_000
    time = T - 80 * MS_PER_DAY + np.arange(n) * 4 * MINUTE
    value = np.round(np.sin(np.arange(n)) * 40, 1)
    assert store.append("ash-lane", {"a": Samples(time, value)}) == Appended(n, 0, 0)
    before = store.revisions("ash-lane")
    changed = value.copy()
    changed[n // 2] += 1
    more = Samples(np.append(time, time[-1] + 1), np.append(changed, 7.0))
    assert store.append("ash-lane", {"a": more}) == Appended(1, 1, n - 1)
    got = store.read("ash-lane")["a"]
    assert np.array_equal(got.time, more.time)
    assert np.array_equal(got.value, more.value)
    grown = {d for d, r in store.revisions("ash-lane").items() if r != before.get(d)}
    assert grown == {int(time[n // 2]) // MS_PER_DAY, int(time[-1] + 1) // MS_PER_DAY}


def test_a_revert_removes_what_was_new_and_restores_what_was_replaced(answering: Store) -> None:
    answering.append("ash-lane", {"a": samples({T: 1, T + 2: 3}), "b": samples({T: 9})})
    written = {"a": samples({T + 1: 2, T + 2: 4})}
    answering.append("ash-lane", written)
    answering.flush()
    before = answering.revisions("ash-lane")
    assert answering.revert("ash-lane", written, {"a": samples({T + 2: 3})}) == Reverted(1, 1, 0)
    assert shown(answering.read("ash-lane")["a"]) == [(T, 1), (T + 2, 3)]
    assert shown(answering.read("ash-lane")["b"]) == [(T, 9)]
    assert answering.points("ash-lane") == {"a": PointSpan(2, T, T + 2), "b": PointSpan(1, T, T)}
    assert answering.revisions("ash-lane")[T // MS_PER_DAY] > before[T // MS_PER_DAY]


def test_a_revert_keeps_what_has_another_value_by_now(answering: Store) -> None:
    written = {"a": samples({T: 1, T + 1: 2})}
    answering.append("ash-lane", written)
    answering.append("ash-lane", {"a": samples({T + 1: 7})})
    assert answering.revert("ash-lane", written, {}) == Reverted(1, 0, 1)
    assert answering.revert("ash-lane", written, {}) == Reverted(0, 0, 2)
    assert shown(answering.read("ash-lane")["a"]) == [(T + 1, 7)]


def test_all_readings_of_a_site_may_be_reverted_and_come_again(answering: Store) -> None:
    n = 30_000
    words = Samples(np.array([T, T + 1]), np.array(["E7", ""], dtype=object))
    written = {"a": Samples(T + np.arange(n) * 4 * MINUTE, np.arange(n) / 8), "w": words}
    answering.append("ash-lane", written)
    answering.flush()
    revisions = answering.revisions("ash-lane")
    assert answering.revert("ash-lane", written, {}) == Reverted(n + 2, 0, 0)
    answering.flush()
    assert answering.span("ash-lane") is None
    assert (answering.read("ash-lane"), answering.points("ash-lane")) == ({}, {})
    assert answering.troubles("ash-lane") == []
    assert answering.check("ash-lane") == []
    now = answering.revisions("ash-lane")
    assert all(now[day] > revision for day, revision in revisions.items())
    assert answering.append("ash-lane", written) == Appended(n + 2, 0, 0)
    assert np.array_equal(answering.read("ash-lane")["a"].value, written["a"].value)


Batch = dict[str, list[tuple[int, int]]]
BATCHES = st.lists(
    st.dictionaries(
        st.sampled_from(["a", "b"]),
        st.lists(st.tuples(st.integers(0, 12), st.integers(0, 3)), max_size=6),
        max_size=2,
    ),
    min_size=1,
    max_size=5,
)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)  # each example clears its site
@given(batches=BATCHES)
def test_any_appends_leave_what_a_plain_dictionary_would_hold(
    store: Store, batches: list[Batch], monkeypatch: pytest.MonkeyPatch
) -> None:
    row_groups_of(2, monkeypatch)
    held: dict[tuple[str, int], float] = {}
    try:
        for batch in batches:
            readings = {}
            stored = replaced = 0
            this: dict[tuple[str, int], float] = {}
            for point, pairs in batch.items():
                times = [T + 5 * MS_PER_DAY * t for t, _ in pairs]
                readings[point] = Samples(np.array(times, np.int64), np.array([v for _, v in pairs], float))
                for time, (_, value) in zip(times, pairs, strict=True):
                    this.setdefault((point, time), float(value))
            for key, value in this.items():
                stored += key not in held
                replaced += key in held and held[key] != value
            held |= this
            given_count = sum(len(p) for p in batch.values())
            assert store.append("ash-lane", readings) == (stored, replaced, given_count - stored - replaced)
        got = {(p, t): v for p, s in store.read("ash-lane").items() for t, v in shown(s)}
        assert got == held
        counts = {p: c.count for p, c in store.points("ash-lane").items()}
        assert sum(counts.values()) == len(held)
    finally:
        store.forget("ash-lane")


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(batches=BATCHES)
def test_reverting_the_last_of_any_appends_leaves_what_was_before_it(
    answering: Store, batches: list[Batch], monkeypatch: pytest.MonkeyPatch
) -> None:
    row_groups_of(2, monkeypatch)
    states: list[dict[tuple[str, int], float]] = [{}]
    try:
        for batch in batches:
            readings = {
                point: samples({T + 5 * MS_PER_DAY * t: float(v) for t, v in pairs})
                for point, pairs in batch.items()
            }
            answering.append("ash-lane", readings)
            states.append(states[-1] | {(p, t): float(v) for p, s in readings.items() for t, v in shown(s)})
        for before, after in reversed([*pairwise(states)]):
            written = {k: v for k, v in after.items() if before.get(k) != v}
            replaced = {k: before[k] for k in written if k in before}
            answering.revert("ash-lane", by_point(written), by_point(replaced))
            got = {(p, t): v for p, s in answering.read("ash-lane").items() for t, v in shown(s)}
            assert got == before
    finally:
        answering.forget("ash-lane")


def by_point(held: dict[tuple[str, int], float]) -> dict[str, Samples]:
    return {
        point: samples({t: v for (p, t), v in sorted(held.items()) if p == point})
        for point in {p for p, _ in held}
    }
