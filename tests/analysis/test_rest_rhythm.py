"""Duration of healthy rests: probability by state and time of day, and of an unusual stop."""

from __future__ import annotations

import numpy as np
import pytest

from fieldfare.analysis.expectation.rest import (
    Beginnings,
    chance_of_rest,
    chance_of_room,
    is_switched_by_room,
    oddness,
    rests_a_running_day,
)

RNG = np.random.default_rng(4)
N = 60


def began(outdoor: float = 2.0, room: float = 21.1, run: float = 90.0, minute: float = 700.0) -> Beginnings:
    one = (np.array(v) for v in (outdoor, room, run, 1.0, minute))
    return Beginnings(*one)


def history(room: np.ndarray, minute: np.ndarray | None = None) -> Beginnings:
    n = len(room)
    at = RNG.uniform(0, 1440, n) if minute is None else minute
    return Beginnings(np.full(n, 2.0), room, 90.0 * np.exp(0.5 * RNG.standard_normal(n)), np.ones(n), at)


ROOMS = np.where(np.arange(N) % 2 == 0, 21.1, 20.8) + 0.02 * RNG.standard_normal(N)
LENGTHS = np.where(np.arange(N) % 2 == 0, 100.0, 8.0) * np.exp(0.1 * RNG.standard_normal(N))
"""Rests of a thermostat that is satisfied, and of a water circuit that is warm enough."""


def test_a_longer_rest_is_less_likely() -> None:
    chances = [chance_of_rest(m, LENGTHS, history(ROOMS), began(), 12) for m in (10, 60, 110, 160, 400)]
    assert chances == sorted(chances, reverse=True)
    assert chances[1] > 0.8
    assert chances[-1] < 0.002


def test_a_rest_is_judged_by_those_that_began_alike() -> None:
    """With the room below its upper limit this unit has only rested for minutes."""
    past = history(ROOMS)
    assert chance_of_rest(60, LENGTHS, past, began(room=20.8), 12) < 0.1
    assert chance_of_rest(60, LENGTHS, past, began(room=21.1), 12) > 0.8


def test_a_set_back_at_the_same_hour_explains_a_long_rest() -> None:
    minute = np.where(np.arange(N) % 10 == 0, 1320.0, RNG.uniform(0, 1200, N))
    lengths = np.where(np.arange(N) % 10 == 0, 420.0, 8.0)
    past = history(np.full(N, 20.8), minute)
    at_night = chance_of_rest(240, lengths, past, began(room=20.8, minute=1325.0), 6)
    by_day = chance_of_rest(240, lengths, past, began(room=20.8, minute=700.0), 6)
    assert at_night > 0.5 > by_day


def test_a_stop_below_the_usual_room_is_odd() -> None:
    past = history(21.1 + 0.02 * RNG.standard_normal(N))
    assert oddness(past, began(room=20.9)) > max(2.0, 3.0 * oddness(past, began(room=21.1)))


def test_a_room_below_its_usual_restart_is_unlikely_at_a_healthy_unit() -> None:
    restarts = 20.7 + 0.05 * RNG.standard_normal(N)
    assert chance_of_room(20.9, restarts) > 0.9
    assert chance_of_room(20.3, restarts) < 0.01
    assert chance_of_room(float("nan"), restarts) == 1.0
    assert chance_of_room(20.3, restarts[:3]) == 1.0


def test_a_thermostat_starts_at_one_room_temperature_and_stops_at_another() -> None:
    noise = 0.03 * RNG.standard_normal((2, N))
    assert is_switched_by_room(20.3 + noise[0], 20.7 + noise[1])
    # Water that is warm enough stops a unit in a room that stays as it is; a curve lets rooms drift.
    assert not is_switched_by_room(20.5 + noise[0], 20.5 + noise[1])
    assert not is_switched_by_room(20.3 + 10.0 * noise[0], 20.7 + 10.0 * noise[0])
    assert not is_switched_by_room(np.full(N, np.nan), np.full(N, np.nan))


@pytest.mark.parametrize("room", [20.9, 21.1])
def test_what_is_not_measured_decides_nothing(room: float) -> None:
    unknown = history(np.full(N, np.nan))
    assert oddness(unknown, began(room=room)) == oddness(unknown, began(room=np.nan))


def test_a_rest_in_the_cold_is_held_against_mild_ones_by_the_heat_that_is_missing() -> None:
    """A house loses in 71 minutes at 0 °C what it loses in 100 at 5 °C: the rest is over sooner."""
    nothing = history(np.full(N, np.nan))
    mild = Beginnings(np.full(N, 5.0), nothing.room, nothing.run, nothing.use, nothing.minute)
    lengths = np.full(N, 100.0)
    assert chance_of_rest(100, lengths, mild, began(outdoor=5.0), 12) == pytest.approx(0.5, abs=0.05)
    assert chance_of_rest(100 * 12 / 17, lengths, mild, began(outdoor=0.0), 12) == pytest.approx(
        0.5, abs=0.05
    )
    assert chance_of_rest(100, lengths, mild, began(outdoor=0.0), 12) < 0.05


@pytest.mark.parametrize(("rests", "a_day"), [(60, 10.0), (6, 1.0), (0, 0.0)])
def test_rests_are_counted_by_the_day_of_running(rests: int, a_day: float) -> None:
    """Six days of running in this weather; running at 15 °C says nothing of it."""
    here = history(np.full(N, np.nan))
    six_days = Beginnings(here.outdoor, here.room, np.full(N, 144.0), here.use, here.minute)
    mild = Beginnings(np.full(N, 15.0), here.room, np.full(N, 144.0), here.use, here.minute)
    both = Beginnings(
        *(np.concatenate((getattr(six_days, n), getattr(mild, n))) for n in Beginnings.__annotations__)
    )
    past = Beginnings(*(getattr(six_days, n)[:rests] for n in Beginnings.__annotations__))
    found = rests_a_running_day(np.full(rests, 60.0), past, began(), both)
    assert found == pytest.approx(a_day, abs=0.05)


def test_nothing_seen_but_running_makes_no_rest_likely_or_impossible() -> None:
    none = Beginnings(*(np.empty(0) for _ in Beginnings.__annotations__))
    chances = [chance_of_rest(m, np.empty(0), none, began(), 6) for m in (10, 60, 600)]
    assert chances == sorted(chances, reverse=True)
    assert 0.3 < chances[1] < 0.7
