"""Models for the probability that a deviation is real: signatures, changes, and remaining uncertainty."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldfare.analysis.expectation import capacity_odds, idle_pump
from fieldfare.analysis.expectation.buffer_mixing import mixing_loss
from fieldfare.analysis.expectation.cycling import INTERRUPTED_A_DAY, starts_due
from fieldfare.analysis.expectation.defrost import COAT_G_PER_KW
from fieldfare.analysis.expectation.defrost_cause import refrigerant_chance
from fieldfare.analysis.expectation.defrost_odds import (
    UNMELTED,
    Signs,
    changed,
    dry_chance,
    fell_odds,
    weights,
)
from fieldfare.analysis.expectation.defrost_pattern import coat_when_dry, pattern
from fieldfare.analysis.expectation.efficiency_odds import chance_of_shortfall
from fieldfare.analysis.expectation.hypotheses import Spread
from fieldfare.analysis.expectation.outdoor_offset import offset_chance
from fieldfare.analysis.expectation.standby import standby
from fieldfare.analysis.expectation.water_flow import elasticity, short_of_nominal, steady_flow

SOUND = Signs(
    0.0, 0.5, used=-0.15, locked=0.05, follows=-1.0, efficiency=1.02, penalty=0.1, minutes=-0.2, drawn=-0.3
)


def test_the_chance_of_a_shortfall_is_calibrated():
    """Of many units, a fifth of them with a fault of 6 to 40 %: where it says 0.8, eight in ten have one."""
    rng = np.random.default_rng(11)
    faulty = rng.random(20_000) < 0.2
    true = np.where(faulty, rng.uniform(0.6, 0.94, 20_000), 1.0)
    spread = rng.uniform(0.05, 0.12, 20_000)
    measured = true * np.exp(spread * rng.standard_normal(20_000))
    chance = np.array([chance_of_shortfall(m, s) for m, s in zip(measured, spread, strict=True)])
    for low in (0.1, 0.3, 0.5, 0.7, 0.9):
        here = (chance >= low) & (chance < low + 0.2)
        assert np.mean(faulty[here]) == pytest.approx(np.mean(chance[here]), abs=0.06)
    assert np.mean(chance[~faulty] >= 0.9) < 0.005


def test_the_chance_of_a_shortfall_follows_size_and_meters():
    chances = [chance_of_shortfall(measured, 0.07) for measured in (1.05, 0.95, 0.85, 0.75, 0.3)]
    assert chances == sorted(chances)
    assert chances[0] < 0.05
    assert chances[-1] > 0.99
    assert chance_of_shortfall(0.82, 0.05) > chance_of_shortfall(0.82, 0.1)


def test_a_coat_that_decides_is_told_from_a_lock():
    rng = np.random.default_rng(3)
    rate = rng.lognormal(0.3, 0.5, 400)
    by_coat = pattern(165.0 / rate * rng.lognormal(0.0, 0.1, 400), np.full(400, 165.0), 0.3)
    locked = pattern(rng.normal(40.0, 1.0, 400), 40.0 * rate, 0.3)
    assert by_coat is not None
    assert locked is not None
    assert by_coat.follows < -0.8
    assert by_coat.locked < 0.2
    assert abs(locked.follows) < 0.1
    assert locked.locked > 0.8
    assert pattern(np.full(10, 40.0), np.full(10, 90.0), 0.3) is None


def test_frost_alone_may_bring_defrosts_to_the_lock():
    """Locked for 40 minutes: a coat of 165 g/kW needs 250 g/kW an hour,
    which fog gives and dry frost does not."""
    rng = np.random.default_rng(4)
    spacing, rate = np.full(400, 40.0), rng.lognormal(0.0, 0.1, 400)
    fog, frost = (pattern(spacing, share * 165.0 * rate, 0.3) for share in (2.0, 0.3))
    assert fog is not None
    assert frost is not None
    assert fog.locked == frost.locked == 1.0
    assert fog.due.mean > 0.9
    assert frost.due.mean < 0.05
    often = Signs(np.log(3.0), 0.5, used=-0.3, locked=1.0, lock=0.0, follows=-0.1)
    in_fog = replace(often, locked_due=fog.due.mean, locked_due_spread=fog.due.sd)
    in_frost = replace(often, locked_due=frost.due.mean, locked_due_spread=frost.due.sd)
    assert weights(in_fog)["starved"] < 0.7 < 0.9 < 1.0 - weights(in_frost)["sound"]


def test_a_coil_with_little_air_defrosts_at_the_lock_in_damp_air_alone():
    """Half of the defrosts come as soon as the lock of 25 minutes ends, on a tenth of a coat; in dry air it
    waits. A sound coil at the lock in the same share has the coat there, which fog lays."""
    rng = np.random.default_rng(5)
    damp = np.arange(400) % 2 == 0
    spacing = np.where(damp, rng.normal(25.5, 0.5, 400), rng.uniform(40.0, 250.0, 400))
    found = pattern(spacing, np.where(damp, 68.0, 80.0) * rng.lognormal(0.0, 0.2, 400), 0.4)
    assert found is not None
    assert found.locked == pytest.approx(0.5, abs=0.03)
    assert found.due.mean < 0.1
    starved = Signs(
        0.4,
        0.54,
        used=-0.66,
        locked=found.locked,
        locked_due=found.due.mean,
        locked_due_spread=found.due.sd,
        lock=-0.4,
        dry=-1.2,
        dry_spread=0.57,
        efficiency=1.0,
        penalty=0.0,
        melted=-0.26,
        melted_spread=0.5,
    )
    in_fog = replace(starved, used=0.2, dry=0.0, locked_due=0.5, locked_due_spread=0.3)
    assert weights(in_fog)["starved"] < 0.3 < 0.9 < weights(starved)["starved"]


def test_a_sound_coat_is_there_in_dry_air_too():
    """The frost before a defrost stays a coat; what air and coil leave open widens it."""
    rng = np.random.default_rng(6)
    coat = 165.0 * rng.lognormal(0.0, 0.1, 200)
    near, far = coat_when_dry(coat, 1.5 * coat), coat_when_dry(0.1 * coat, 0.4 * coat)
    assert near is not None
    assert far is not None
    assert near.middle == pytest.approx(1.0, abs=0.1)
    assert far.middle == pytest.approx(0.1, abs=0.01)
    assert far.spread > near.spread > COAT_G_PER_KW.spread
    assert coat_when_dry(coat[:10], coat[:10]) is None
    # As many as coats of the frost laid, and more on less of it where there was more than it seemed.
    assert weights(Signs(0.0, 0.5, dry=0.0, dry_spread=0.45))["sound"] > 0.9
    assert weights(Signs(0.7, 0.5, dry=-0.7, dry_spread=0.65))["sound"] > 0.85
    assert weights(Signs(0.7, 0.5, dry=-2.5, dry_spread=0.7))["sound"] < 0.6


def test_less_air_shows_against_the_units_own_earlier_days():
    """Twice as many defrosts at like frost and a seventh of the efficiency lost in the same weeks: a coil
    with part of its air still waits for its coat. Either alone is not enough."""
    waits = Signs(0.0, 0.5, locked=0.05, follows=-0.8, minutes=-0.2, drawn=-0.3)
    lost = replace(waits, often=np.nan, fell=-0.15, fell_spread=0.02)
    assert weights(lost, change=3.5)["starved"] > 0.9
    assert weights(replace(lost, fell=0.0), change=3.5)["starved"] < 0.3
    assert weights(replace(lost, fell=np.nan), change=3.5)["starved"] < 0.9
    assert weights(waits)["sound"] > 0.9


def test_an_outdoor_offset_needs_house_and_curve_to_agree():
    """Base temperatures lie 2 to 5 K below the rooms (CIBSE TM41)."""
    sure = Spread(-1.0, 0.6), Spread(4.0, 0.6)
    assert offset_chance(*sure, 3.0) > 0.95
    assert offset_chance(Spread(3.0, 0.6), Spread(4.0, 0.6), 3.0) < 0.2
    assert offset_chance(Spread(-1.0, 0.6), Spread(0.0, 0.6), 3.0) < 0.7
    vague = offset_chance(Spread(0.1, 1.3), Spread(2.1, 0.6), 3.0)
    assert vague < 0.5
    assert vague < offset_chance(Spread(0.1, 0.4), Spread(2.1, 0.6), 3.0)


def test_lost_efficiency_is_the_charge_and_none_the_air():
    """A tenth and more is lost before a charge frosts the coil (common practice); unknown says nothing."""
    assert refrigerant_chance(np.nan, np.nan) == pytest.approx(0.5)
    assert refrigerant_chance(1.0, 0.9) < 0.3
    assert refrigerant_chance(0.86, 0.75) > 0.7
    assert 0.2 <= refrigerant_chance(1.2, 1.1) < refrigerant_chance(0.6, 0.4) <= 0.8


def test_a_timer_is_told_from_a_coil_at_its_lock():
    """Both keep one spacing in any air: timers count 45 minutes and more, locks end at 30 to 45 (common
    practice)."""
    alike = Signs(0.9, 0.5, used=-0.6, locked=0.95, follows=0.0, dry=-2.0, dry_spread=0.7, efficiency=0.98)
    assert weights(replace(alike, lock=float(np.log(36.0 / 38.0))))["sound"] < 0.1
    assert weights(replace(alike, lock=float(np.log(50.0 / 38.0))))["sound"] > 0.8


def test_a_sound_unit_in_damp_air_is_not_suspected():
    """Twice the expected number is within coils and coats; the pattern says that frost decides."""
    often = Signs(
        np.log(2.0),
        0.5,
        used=-0.3,
        locked=0.3,
        locked_due=0.2,
        locked_due_spread=0.2,
        follows=-0.8,
        efficiency=0.98,
        penalty=0.3,
        minutes=-0.2,
        drawn=-0.3,
    )
    assert weights(SOUND)["sound"] > 0.98
    assert weights(often)["sound"] > 0.8


def test_a_starved_coil_and_poor_melting_show_by_their_own_signs():
    starved = Signs(
        np.log(3.0),
        0.5,
        used=-0.9,
        locked=0.8,
        lock=0.0,
        follows=-0.1,
        efficiency=0.92,
        penalty=0.3,
        minutes=-0.5,
        drawn=-0.4,
    )
    unmelted = Signs(
        np.log(1.3),
        0.5,
        used=0.1,
        locked=0.3,
        follows=-0.9,
        efficiency=0.99,
        penalty=0.3,
        minutes=0.8,
        drawn=-1.4,
    )
    assert weights(starved)["starved"] > 0.95
    assert sum(weights(unmelted)[name] for name in UNMELTED) > 0.8
    assert sum(p for name, p in weights(starved).items() if name != "timed") == pytest.approx(1.0)


def test_much_frost_explains_number_lock_and_coat_at_once():
    """Three times the frost that was guessed: many defrosts at the lock, on coats that only seem thin."""
    in_band = Signs(
        np.log(24.0 / 8.0),
        0.72,
        locked=0.95,
        locked_spread=0.07,
        locked_due=0.45,
        locked_due_spread=0.35,
        lock=0.0,
        follows=-0.1,
        dry=-1.1,
        dry_spread=0.8,
    )
    sure_air = replace(in_band, often_spread=0.36, locked_due=0.1, locked_due_spread=0.1, dry_spread=0.4)
    told, certain = (1.0 - weights(signs)["sound"] for signs in (in_band, sure_air))
    assert told < 0.6
    assert certain > 0.9


def test_defrosts_that_melt_far_more_than_air_can_lay_come_too_soon():
    """The number follows the frost and no lock shows, as with a sound control; the heat does not fit."""
    follows = Signs(1.3, 0.5, used=0.1, locked=0.1, lock=0.1, follows=-0.6, efficiency=1.0, minutes=-0.3)
    dear = replace(follows, penalty=1.5, melted=1.8, melted_spread=0.45)
    assert weights(dear)["starved"] > 0.9
    fits = replace(dear, often=0.2, penalty=0.3, melted=0.3)
    assert weights(fits)["starved"] < 0.15
    assert weights(follows)["sound"] > 0.8, "without a meter of heat the number settles nothing"


def test_hollow_defrosts_are_the_surer_the_more_there_are_of_them():
    """Each takes no more than a bare coil; two defrosts an hour are beyond any frost (three deviations)."""
    known = {"empty": True, "locked": 0.3, "follows": -0.8, "efficiency": 1.0}
    assert dry_chance(0, 1, **known) < 0.5
    assert dry_chance(0, 1, **known, often=1.0) < 0.5
    assert dry_chance(0, 1, **known, often=3.5) > 0.9
    assert dry_chance(0, 1, **{**known, "empty": False}, often=3.5) < 0.1


def test_a_short_timer_is_named_as_one():
    alike = Signs(0.9, 0.5, used=-0.6, locked=0.95, follows=0.0, dry=-2.0, dry_spread=0.7, efficiency=0.98)
    told = weights(replace(alike, lock=float(np.log(50.0 / 38.0))))
    assert 0.8 < told["timed"] <= told["sound"]
    assert weights(SOUND)["timed"] < 0.05


def test_nothing_measured_leaves_the_prior():
    nothing = weights(Signs(np.nan, 0.5))
    assert nothing["sound"] == pytest.approx(0.85)


def test_a_change_against_its_own_days_needs_no_coil():
    rng = np.random.default_rng(5)
    due, outdoor = rng.uniform(3.0, 15.0, 60), rng.uniform(-4.0, 4.0, 60)
    # A unit that always defrosts half as often as the model expects, and from day 35 on twice as often as
    # before.
    level = np.where(np.arange(60) < 35, 0.5, 1.0)
    number = rng.poisson(due * level * rng.lognormal(0.0, 0.2, 60)).astype(float)
    found = changed(number, due, outdoor)
    assert found is not None
    assert abs(found.day - 35) <= 4
    assert found.size == pytest.approx(np.log(2.0), abs=0.25)
    assert found.odds > 0.8
    same = changed(rng.poisson(due * 0.5 * rng.lognormal(0.0, 0.2, 60)).astype(float), due, outdoor)
    assert same is None or same.odds < 0.5
    assert changed(number[:10], due[:10], outdoor[:10]) is None
    assert changed(number, np.full(60, 5.0), outdoor) is None  # nothing due to tell from the level
    # The step is that of the least squares over all days on which it may have come.
    squares = {}
    for at in range(8, 53):
        columns = [np.ones(60), np.log(due + 0.5), outdoor / 5.0, (outdoor / 5.0) ** 2, np.arange(60) >= at]
        solved, left, *_ = np.linalg.lstsq(np.column_stack(columns), np.log(number + 0.5), rcond=None)
        squares[at] = (float(left[0]), float(solved[-1]))
    best = min(squares, key=lambda at: squares[at][0])
    assert (found.day, found.size) == (best, pytest.approx(squares[best][1], rel=1e-9))


def test_a_pump_that_turns_in_the_season_alone_may_be_meant_to():
    in_season = idle_pump.chance(summer=None, before=None, without_call=True)
    assert in_season < 0.6
    assert idle_pump.chance(summer=0.05, before=None, without_call=True) < 0.1
    assert idle_pump.chance(summer=0.9, before=None, without_call=False) > 0.95
    assert idle_pump.chance(summer=None, before=0.05, without_call=True) > 0.95


def test_standby_grows_with_the_unit():
    """Declared P_CK lies between 0 and 60 W (Reg. (EU) 813/2013 information sheets, from memory), controls at
    10 to 20 W."""
    small, usual = standby(5.0), standby(8.0)
    assert small.middle < usual.middle < standby(16.0).middle
    assert usual.low > 10.0
    assert usual.high < 110.0


def test_capacity_needs_days_that_show_it():
    """Cold days that it held speak against a calculation, days flat out and short for it."""
    assert 0.9 < capacity_odds.chance(0.97, 0, 0) < 0.98
    assert capacity_odds.chance(0.97, 0, 4) < 0.5
    assert capacity_odds.chance(0.97, 3, 0) > 0.9
    assert capacity_odds.chance(0.02, 3, 0) < 0.5
    assert capacity_odds.chance(0.6, 7, 0) > 0.9
    assert capacity_odds.chance(None, 2, 0) < 0.3
    assert capacity_odds.chance(None, 12, 0) > 0.9


def test_a_shortage_that_is_only_calculated_must_be_a_large_one():
    """Output over load of 0.9 known to 5 %: 97.7 % by GUM; 83 % with a tenth for what no
    cold day has shown."""
    assert capacity_odds.by_rating_and_load(0.9, 0.05, measured=True) == pytest.approx(0.977, abs=0.001)
    assert capacity_odds.by_rating_and_load(0.9, 0.05, measured=False) == pytest.approx(0.834, abs=0.005)
    assert capacity_odds.by_rating_and_load(0.7, 0.05, measured=False) > 0.99


def test_mixing_shows_in_both_balances():
    """Water drawn in from the return: (1 - 1 / ratio) of the difference is lost in the flow and in the
    difference."""
    lift, ratio = 6.0, 1.5
    drop = (1.0 - 1.0 / ratio) * lift
    lost, spread = mixing_loss(drop, lift - lift / ratio)
    assert lost == pytest.approx(2.0)
    assert 0.2 < spread < 0.6
    assert mixing_loss(1.5, 0.1)[0] == pytest.approx(0.1)  # heat lost from the pipe, no mixing


def test_starts_due_follow_the_load():
    through, half = starts_due(4.0, 2.5), starts_due(1.25, 2.5)
    assert through.middle == pytest.approx(INTERRUPTED_A_DAY)
    # 55 l/kW and 6 K: 0.25 / 0.3828 starts an hour at half of the least output
    assert half.middle == pytest.approx(INTERRUPTED_A_DAY + 24.0 * 0.25 / (55.0 * 0.00116 * 6.0))
    assert half.low < half.middle < half.high


def test_a_pump_that_modulates_is_told_from_one_speed():
    heat = np.linspace(2000.0, 8000.0, 40)
    assert elasticity(heat / 5000.0, heat) == pytest.approx(1.0, abs=0.02)
    assert elasticity(np.full(40, 1.2), heat) == pytest.approx(0.0, abs=0.02)
    assert np.isnan(elasticity(np.full(40, 1.2), np.full(40, 5000.0)))
    assert short_of_nominal(0.6) > 0.95
    assert short_of_nominal(0.95) < 0.5


def test_a_season_feigns_a_small_fall_only():
    steady = steady_flow(0.02, 90, 0.0)
    assert 0.0 < steady.value < 0.05
    assert steady_flow(0.02, 90, 0.1).uncertainty > 2.0 * steady.uncertainty


def test_dry_defrosts_need_warm_air_or_more_than_one_sign():
    sound = {"empty": False, "locked": 0.2, "follows": -1.0, "efficiency": 1.0}
    starved = {"empty": False, "locked": 0.8, "follows": -0.1, "efficiency": 0.85}
    assert dry_chance(30, 0, **sound) > 0.9
    assert dry_chance(5, 0, **sound) < 0.5
    # An outdoor sensor on a warm wall makes hundreds of them on a sound unit.
    assert dry_chance(0, 300, **sound) < 0.9
    assert dry_chance(0, 80, **starved) > 0.9
    assert dry_chance(0, 80, **{**sound, "empty": True, "locked": 0.7, "follows": -0.1}) > 0.9


def test_a_fall_of_efficiency_speaks_for_the_coil_and_none_against_it_settles_nothing():
    """A starved coil loses a tenth and more at once (common practice); what nobody measured says nothing."""
    assert fell_odds(-0.18, 0.02) > 2.0
    assert fell_odds(0.0, 0.01) < 0.0
    assert fell_odds(np.nan, 0.0) == 0.0
    assert fell_odds(-0.18, 0.02) > fell_odds(-0.18, 0.3)


def test_a_slope_over_an_estimated_rate_is_flattened_by_its_error():
    """Regression dilution (Fuller 1987): a coat that decides looks like a lock where the rate hardly
    varies."""
    rng = np.random.default_rng(6)
    found = []
    for varies in (0.8, 0.3):
        rate = rng.lognormal(0.0, varies, 2000)
        seen = rate * rng.lognormal(0.0, 0.25, 2000)
        gap = 60.0 / rate
        found.append(pattern(gap, gap * seen, 0.3))
    wide, narrow = found
    assert wide is not None
    assert narrow is not None
    assert wide.clear > narrow.clear + 0.2
    assert narrow.follows > wide.follows
    flat = replace(SOUND, often=0.6, follows=-0.2)
    assert weights(replace(flat, follows_clear=0.2))["sound"] > weights(flat)["sound"]
