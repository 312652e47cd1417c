"""Registers with resets, overflows and jumps: the energy between two times stays right."""

from __future__ import annotations

import numpy as np
import pytest

from fieldfare.analysis.minutes.registers import change_points, odd_steps, whole_total
from fieldfare.analysis.readings import Samples

HOUR = 3_600_000
MINUTE = 60_000
MOST = 60.0  # kWh/h, as the grid uses it


def register(values: list[float], every: int = HOUR) -> Samples:
    return Samples(np.arange(len(values), dtype=np.int64) * every, np.array(values, dtype=float))


def kinds(total) -> list[str]:
    return [e.kind for e in total.events]


def test_a_plain_total_is_its_differences():
    total = whole_total(register([100.0, 101.5, 101.5, 104.0]), most_per_hour=MOST)
    assert total.value.tolist() == [0.0, 1.5, 1.5, 4.0]
    assert total.events == []


def test_between_readings_it_is_a_straight_line_and_outside_unknown():
    total = whole_total(register([0.0, 4.0]), most_per_hour=MOST)
    at = total.at(np.array([-1, 0, HOUR // 4, HOUR, HOUR + 1], dtype=np.int64))
    assert np.isnan(at[[0, 4]]).all()
    assert at[1:4].tolist() == pytest.approx([0.0, 1.0, 4.0])


def test_one_reading_tells_no_energy():
    total = whole_total(register([5.0]), most_per_hour=MOST)
    assert np.isnan(total.at(np.array([0], dtype=np.int64))).all()


def test_a_reset_counts_what_it_shows_since_and_is_told():
    total = whole_total(register([500.0, 502.0, 0.5, 3.0]), most_per_hour=MOST)
    assert total.value[-1] == pytest.approx(2.0 + 0.5 + 2.5)
    assert [(e.kind, e.time, e.amount) for e in total.events] == [("reset", 2 * HOUR, 502.0)]


def test_several_resets_are_each_told():
    values = np.concatenate([np.arange(0, 50, 2.0), np.arange(0, 50, 2.0), np.arange(0, 50, 2.0)])
    total = whole_total(register(values.tolist()), most_per_hour=MOST)
    assert kinds(total) == ["reset", "reset"]
    assert total.value[-1] == pytest.approx(3 * 48.0)


def test_another_meter_in_its_place_begins_at_a_total_of_its_own():
    total = whole_total(register([5000.0, 5002.0, 1234.0, 1236.0], MINUTE * 15), most_per_hour=MOST)
    assert kinds(total) == ["reset"]
    assert total.value[-1] == pytest.approx(4.0)


def test_the_end_of_a_display_is_no_reset():
    total = whole_total(register([9998.0, 9999.5, 1.0, 2.5]), most_per_hour=MOST)
    assert kinds(total) == ["rolled_over"]
    assert total.value[-1] == pytest.approx(1.5 + 1.5 + 1.5)


def test_a_sixteen_bit_counter_rolls_over_too():
    total = whole_total(register([6552.0, 6553.0, 1.4]), most_per_hour=MOST)  # 65536 tenths
    assert kinds(total) == ["rolled_over"]
    assert total.value[-1] == pytest.approx(1.0 + 0.6 + 1.4)


def test_read_by_hand_each_month_it_may_roll_over_far_from_its_end():
    total = whole_total(register([99_100.0, 99_500.0, 250.0], 30 * 24 * HOUR), most_per_hour=MOST)
    assert kinds(total) == ["rolled_over"]
    assert total.value[-1] == pytest.approx(400.0 + 750.0)


def test_near_a_round_number_an_hourly_register_that_falls_to_nothing_was_reset():
    total = whole_total(register([950.0, 951.0, 0.3]), most_per_hour=MOST)
    assert kinds(total) == ["reset"]
    assert total.value[-1] == pytest.approx(1.0 + 0.3)


def test_a_small_step_back_loses_nothing_and_adds_nothing():
    total = whole_total(register([100.0, 102.0, 101.0, 103.0]), most_per_hour=MOST)
    # 101 stands apart from neighbours that agree: it is left out as a slip
    assert total.value[-1] == pytest.approx(3.0)
    back = whole_total(register([100.0, 102.0, 103.0, 101.0, 101.5]), most_per_hour=MOST)
    assert [(e.kind, e.amount) for e in back.events] == [("stepped_back", 2.0)]
    assert back.value[-1] == pytest.approx(3.5)


def test_heat_drawn_back_by_a_defrost_is_a_true_fall():
    total = whole_total(register([100.0, 101.0, 100.6, 101.2], MINUTE), most_per_hour=MOST, may_fall=2.0)
    assert total.events == []
    assert total.value.tolist() == pytest.approx([0.0, 1.0, 0.6, 1.2])


@pytest.mark.parametrize("slip", [0.0, 9e6, -5.0])
def test_a_single_slip_of_the_reading_changes_nothing(slip):
    total = whole_total(register([100.0, 101.0, slip, 102.0, 103.0]), most_per_hour=MOST)
    assert total.value[-1] == pytest.approx(3.0)
    assert total.events == []


def test_a_total_lost_for_a_while_and_found_again_is_no_reset():
    values = [7000.0, 7001.0, 0.0, 0.0, 0.0, 7002.0, 7003.0]
    total = whole_total(register(values, 15 * MINUTE), most_per_hour=MOST)
    assert kinds(total) == ["dropped_out"]
    assert total.value[-1] == pytest.approx(3.0)


def test_a_jump_that_no_plant_explains_is_no_energy():
    total = whole_total(register([100.0, 101.0, 1101.0, 1102.0], 15 * MINUTE), most_per_hour=MOST)
    assert [(e.kind, e.amount) for e in total.events] == [("jumped", 1000.0)]
    assert total.value[-1] == pytest.approx(2.0)


def test_after_a_long_silence_the_same_rise_is_energy():
    time = np.array([0, HOUR, 30 * 24 * HOUR, 30 * 24 * HOUR + HOUR], dtype=np.int64)
    total = whole_total(Samples(time, np.array([100.0, 101.0, 1101.0, 1102.0])), most_per_hour=MOST)
    assert total.events == []
    assert total.value[-1] == pytest.approx(1002.0)


def test_a_coarse_digit_read_often_moves_by_steps_and_does_not_jump():
    """MWh with two decimals, read each minute: 10 kWh at a time, hours apart."""
    values = np.repeat(np.arange(0, 200, 10.0), 150)
    total = whole_total(register(values.tolist(), MINUTE), most_per_hour=MOST)
    assert total.events == []
    assert total.value[-1] == pytest.approx(190.0)


def test_a_wrong_unit_is_told_day_by_day_and_not_reading_by_reading():
    """Wh taken for kWh: every step is a jump; the events stay few."""
    values = np.cumsum(np.full(4 * 1440, 40.0))
    total = whole_total(register(values.tolist(), MINUTE), most_per_hour=MOST)
    assert set(kinds(total)) == {"jumped"}
    assert len(total.events) <= 4 * 4 + 1
    assert sum(e.amount for e in total.events) == pytest.approx(40.0 * (4 * 1440 - 1))


def test_readings_that_are_no_numbers_are_left_out():
    total = whole_total(register([100.0, float("nan"), 102.0, 103.0]), most_per_hour=MOST)
    assert total.value[-1] == pytest.approx(3.0)
    assert len(total.time) == 3


def test_repeated_totals_are_no_oddity_and_its_last_digit_is_seen():
    total = whole_total(register([1.0, 1.0, 1.1, 1.1, 1.2, 1.3]), most_per_hour=MOST)
    assert total.events == []
    assert total.resolution == pytest.approx(0.1)


def test_odd_steps_tell_what_no_plant_makes_and_nothing_of_a_sound_meter() -> None:
    sound = [100.0 + 0.5 * k for k in range(40)]
    assert odd_steps(register(sound), most_per_hour=MOST) == []
    spiked = sound.copy()
    spiked[10] = 9_999_999.0
    (spike,) = odd_steps(register(spiked), most_per_hour=MOST)
    assert (spike.kind, spike.time, spike.amount) == ("spike", 10 * HOUR, 9_999_999.0)
    (jump,) = odd_steps(register([*sound[:20], *(v + 5_000.0 for v in sound[20:])]), most_per_hour=MOST)
    assert (jump.kind, jump.time, round(jump.amount)) == ("jumped", 20 * HOUR, 5_000)
    flicker = sound.copy()
    flicker[10] += 1.0  # a coarse digit that goes up and down again
    assert odd_steps(register(flicker), most_per_hour=MOST) == []


@pytest.mark.parametrize(("step", "expected"), [(0.1, 0.1), (0.0, 0.0)])
def test_a_register_read_as_it_counts_keeps_its_step(step: float, expected: float) -> None:
    """A step of 0.1 kWh does not show a standby of 12 W: it takes eight hours."""
    rng = np.random.default_rng(4)
    time = np.cumsum(rng.integers(3, 60, 300)).astype(np.int64) * 60_000
    rises = np.full(300, step) if step else rng.uniform(0.01, 0.3, 300)
    assert change_points(time, np.cumsum(rises), 30.0).step == pytest.approx(expected)
