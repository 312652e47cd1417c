"""Readings minutes apart: figures of hot water and runs are right or not given."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.figures.hot_water import blurred_reheats
from fieldfare.analysis.findings.judge import RULES
from fieldfare.analysis.minutes.resampling import is_change_driven, polling_interval, sampling_interval
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import MS_PER_MINUTE, Samples
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated.plant import Simulated, random_plant, simulate, with_fault
from tests.analysis.small_plant import Small

FIRST, DAYS = date(2023, 11, 1), 40


@cache
def plant(seed: int) -> Simulated:
    return simulate(
        random_plant(seed, meter_set="rich", hot_water=True, every_s=60, meter_errors=False), FIRST, DAYS
    )


def thinned(samples: Samples, every_min: int) -> Samples:
    """Every so many minutes one of the readings, as a gateway that samples would send them."""
    chosen = samples.time % (every_min * MS_PER_MINUTE) == 0
    return Samples(samples.time[chosen], samples.value[chosen])


def result(sim: Simulated, every_min: int, mode: Samples | None = None) -> dict[str, Any]:
    site = parse_site(sim.site_toml)
    readings = {name: thinned(s, every_min) for name, s in sim.readings.items()}
    if mode is not None:
        readings["mode"] = mode
    last = FIRST + timedelta(DAYS - 1)
    return analyse(site, build_facts(site, readings, FIRST, last), FIRST, last).as_dict()


@pytest.mark.parametrize("seed", [3, 4, 10])
@pytest.mark.parametrize("every_min", [5, 15])
def test_hot_water_is_right_or_said_to_be_untold(seed: int, every_min: int) -> None:
    sim = plant(seed)
    document = result(sim, every_min)
    made = document["energy"]["heat_kwh"]["hot_water"]
    if made is None:
        assert f"{every_min} minutes" in document["energy"]["reason"]
        assert document["hot_water"]["reheats"] is None
        assert document["performance"]["hot_water"] is None
    else:
        assert made == pytest.approx(sim.truth.kwh["heat_hot_water"], rel=0.10)
        assert document["hot_water"]["reheats"] == pytest.approx(len(sim.truth.reheats), abs=3)


@pytest.mark.parametrize("every_min", [2, 5, 10])
def test_what_a_defrost_takes_is_not_told_by_heat_as_far_apart_as_it_is_long(every_min: int) -> None:
    sim = plant(3)
    site, last = parse_site(sim.site_toml), FIRST + timedelta(DAYS - 1)
    heat = {p.id for p in site.points_of("heat_output")}
    readings = {n: thinned(s, every_min) if n in heat else s for n, s in sim.readings.items()}
    coarse = analyse(site, build_facts(site, readings, FIRST, last), FIRST, last).as_dict()
    fine = result(sim, 1)
    assert coarse["defrost"]["count"] == fine["defrost"]["count"] > 20
    assert coarse["defrost"]["heat_taken_kwh"] is None
    assert f"{every_min} minutes apart" in coarse["defrost"]["taken_reason"]
    assert coarse["energy"]["heat_kwh"]["defrost_taken"] is None
    back = -np.minimum(sim.readings["heat"].value, 0.0).sum() / 60_000.0
    assert fine["defrost"]["heat_taken_kwh"] == pytest.approx(back, rel=0.05)
    assert fine["energy"]["heat_kwh"]["defrost_taken"] == pytest.approx(back, rel=0.05)
    assert all(f["code"] != "defrost_without_frost" for f in coarse["findings"] if f["severity"] != "note")


def test_charges_as_short_as_the_spacing_are_not_told() -> None:
    sim = plant(10)
    site = parse_site(sim.site_toml)
    readings = {name: thinned(s, 15) for name, s in sim.readings.items()}
    facts = build_facts(site, readings, FIRST, FIRST + timedelta(DAYS - 1))
    assert blurred_reheats(facts) is None
    brief = replace(facts, reheats=facts.reheats.with_columns(minutes=20))
    assert "15 minutes" in (blurred_reheats(brief) or "")
    document = analyse(site, brief, FIRST, FIRST + timedelta(DAYS - 1)).as_dict()
    assert document["energy"]["heat_kwh"]["hot_water"] is None
    assert document["hot_water"]["reheats"] is None
    assert document["performance"]["hot_water"] is None
    assert document["energy"]["heat_kwh"]["total"] is not None


def test_brief_runs_are_not_counted_from_quarter_hours() -> None:
    coarse = result(plant(3), 15)
    assert coarse["cycling"]["starts"] is None
    assert "15 minutes" in coarse["cycling"]["reason"]
    assert all(f["code"] != "short_cycling" for f in coarse["findings"])
    fine = result(plant(3), 1)
    assert fine["cycling"]["starts"] == pytest.approx(len(plant(3).truth.starts), abs=2)


def cycling_plant(on_min: float, off_min: float, every_min: int) -> tuple[Small, float]:
    """Runs and rests within a seventh of those lengths, sampled; and the true starts a day."""
    small = Small(ids=("elec", "outdoor", "heat", "flow"), days=20)
    rng, n, at = np.random.default_rng(1), len(small.time), 0
    run = np.zeros(n, dtype=bool)
    while at < n:
        on, off = (max(2, round(rng.normal(m, 0.15 * m))) for m in (on_min, off_min))
        run[at : at + on] = True
        at += on + off
    small.values |= {
        "elec": np.where(run, 1300.0, 15.0),
        "heat": np.where(run, 4400.0, 0.0),
        "flow": np.where(run, 38.0, 33.0),
    }
    for name, values in small.values.items():
        small.values[name] = np.where(np.arange(n) % every_min == 0, values, np.nan)
    return small, float((np.diff(run.astype(int)) == 1).sum()) / (n / 1440.0)


@pytest.mark.parametrize("every_min", [5, 10, 15])
@pytest.mark.parametrize(("on_min", "off_min"), [(4, 8), (8, 8), (15, 20)])
def test_gross_cycling_shows_in_far_readings_by_the_starts_that_are_left(
    on_min: float, off_min: float, every_min: int
) -> None:
    """What is seen of it is a lower bound: told where it is beyond any unit in the field, else refused."""
    small, true = cycling_plant(on_min, off_min, every_min)
    judged = small.judged()
    mine = [f for f in judged.findings if f.code == "short_cycling"]
    if not mine:
        assert every_min > 5
        assert "short_cycling" in {n.code for n in judged.not_assessed}
        return
    told = next(e.value for e in mine[0].evidence if e.label in ("starts a day", "heating starts a day"))
    assert 24.0 < float(told) <= true * 1.1  # type: ignore[arg-type]
    if on_min > every_min:
        assert mine[0].severity in ("watch", "act")


@pytest.mark.parametrize("every_min", [5, 10, 15])
def test_few_long_runs_are_not_called_cycling_by_far_readings(every_min: int) -> None:
    small, _ = cycling_plant(200, 40, every_min)
    assert "short_cycling" not in {f.code for f in small.judged().findings}


def is_told_at_changes(samples: Samples) -> bool:
    return is_change_driven(samples, sampling_interval(samples.time)[0])


def test_a_mode_told_at_its_changes_is_as_good_as_one_every_minute() -> None:
    sim = plant(4)
    word = sim.readings["mode"]
    new = np.concatenate(([True], np.diff(word.value) != 0.0))
    changes = Samples(word.time[new], word.value[new])
    assert is_told_at_changes(changes)
    whole, told = result(sim, 1), result(sim, 1, changes)
    for use in ("hot_water", "space_heating"):
        assert told["energy"]["heat_kwh"][use] == pytest.approx(whole["energy"]["heat_kwh"][use], rel=0.01)
    assert told["hot_water"]["reheats"] == whole["hot_water"]["reheats"]


@pytest.mark.parametrize("every_min", [1, 5, 15])
def test_changes_that_a_gateway_polls_for_are_timed_no_better_than_it_looks(every_min: int) -> None:
    word = thinned(plant(4).readings["mode"], every_min)
    new = np.concatenate(([True], np.diff(word.value) != 0.0))
    changes = Samples(word.time[new], word.value[new])
    late = np.random.default_rng(5).integers(0, 3_000 * every_min, len(changes.time))
    assert is_told_at_changes(changes)
    assert polling_interval(changes.time) == every_min
    assert polling_interval(changes.time + late) == every_min


@pytest.mark.parametrize("every_min", [5, 15])
def test_a_sampled_mode_is_not_taken_for_one_told_at_its_changes(every_min: int) -> None:
    assert not is_told_at_changes(thinned(plant(4).readings["mode"], every_min))
    shaken = thinned(plant(4).readings["mode"], every_min)
    jitter = np.random.default_rng(5).integers(-100_000, 100_000, len(shaken.time))
    assert not is_told_at_changes(Samples(shaken.time + jitter, shaken.value))


@pytest.mark.parametrize("lost", [0.0, 0.01, 0.04, 0.06, 0.4])
@pytest.mark.parametrize("count", [2, 3, 10, 2000, 2001])
def test_a_point_s_rhythm_is_the_median_and_quantile_of_its_spacings(lost: float, count: int) -> None:
    rng = np.random.default_rng(count)
    time = np.arange(count, dtype=np.int64) * 60_000
    time = time[(rng.random(count) >= lost) | (np.arange(count) < 2)]
    gaps = np.diff(time) / 60_000
    usual, longest = sampling_interval(time)
    assert usual == np.median(gaps)
    assert longest == pytest.approx(max(5.0, 3.0 * usual, 1.5 * np.quantile(gaps, 0.95)))


@pytest.mark.parametrize("every_min", [5, 10, 15])
@pytest.mark.parametrize("code", ["short_cycling", "high_standby"])
def test_a_fault_that_readings_far_apart_may_hide_is_never_cleared(code: str, every_min: int) -> None:
    """Each code of a result is found, cleared or not assessed; what can't be seen is not cleared."""
    spec = random_plant(3105, meter_set="rich", every_s=60, meter_errors=False)
    sim = simulate(with_fault(spec, code), FIRST, DAYS)
    document = result(sim, every_min)
    reasons = {n["code"]: n["reason"] for n in document["not_assessed"]}
    assert code in {f["code"] for f in document["findings"]} | reasons.keys()
    assert all(reasons.values())


@pytest.mark.parametrize("kept", ["heat_pump_electricity", "flow_temperature", "outdoor_temperature"])
def test_a_code_whose_needs_are_not_met_is_not_assessed(kept: str) -> None:
    sim = plant(3)
    site, last = parse_site(sim.site_toml), FIRST + timedelta(DAYS - 1)
    names = {p.id for p in site.points_of(kept)}
    facts = build_facts(site, {n: s for n, s in sim.readings.items() if n in names}, FIRST, last)
    told = analyse(site, facts, FIRST, last)
    answered = {f.code for f in told.findings} | {n.code for n in told.not_assessed}
    for rule in RULES:
        measured = [any(f"spacing.{q}" in facts.days for q in need.any_of) for need in rule.needs]
        assert all(measured) or rule.code in answered, rule.code


def by_quarter_hour(watts: float, step_kwh: float, on_min: int, off_min: int) -> Small:
    """Only an electricity register, read every quarter of an hour, that counts in steps [kWh]."""
    small = Small(ids=("elec_kwh", "outdoor"), days=30)
    on = (small.time // 60_000) % (on_min + off_min) < on_min
    counted = 3000.0 + np.cumsum(np.where(on, 1300.0, watts)) / 60_000.0
    small.values["elec_kwh"] = np.floor(counted / step_kwh) * step_kwh
    for name, values in small.values.items():
        small.values[name] = np.where(np.arange(len(values)) % 15 == 0, values, np.nan)
    return small


@pytest.mark.parametrize("step_kwh", [0.001, 0.01, 0.05, 0.1])
@pytest.mark.parametrize(("watts", "told"), [(15.0, False), (90.0, True), (180.0, True)])
def test_standby_is_the_mean_of_what_a_register_counts_in_steps(
    watts: float, told: bool, step_kwh: float
) -> None:
    judged = by_quarter_hour(watts, step_kwh, 240, 127).judged()
    mine = [f for f in judged.findings if f.code == "high_standby"]
    assert bool(mine) == told
    if told:
        shown = float(mine[0].evidence[0].value)  # type: ignore[arg-type]
        assert shown == pytest.approx(watts, rel=0.13)


@pytest.mark.parametrize("watts", [15.0, 180.0])
def test_steps_too_coarse_for_a_rest_clear_and_blame_no_standby(watts: float) -> None:
    """0.2 kWh at 65 W take three hours; the rests last two."""
    judged = by_quarter_hour(watts, 0.2, 75, 82).judged()
    assert "high_standby" not in {f.code for f in judged.findings}
    reason = {n.code: n.reason for n in judged.not_assessed}["high_standby"]
    assert "steps of 0.2 kWh" in reason


def test_charges_that_are_mostly_begin_and_end_give_no_efficiency_of_their_own() -> None:
    """A charge of 35 minutes read every 15: two of its readings mix it with heating."""
    sim = plant(10)
    site, last = parse_site(sim.site_toml), FIRST + timedelta(DAYS - 1)
    facts = build_facts(site, {name: thinned(s, 15) for name, s in sim.readings.items()}, FIRST, last)
    for minutes, split in ((35, False), (60, True)):
        charged = replace(facts, reheats=facts.reheats.with_columns(minutes=minutes))
        document = analyse(site, charged, FIRST, last).as_dict()
        assert document["hot_water"]["reheats"]
        assert document["energy"]["heat_kwh"]["hot_water"]
        assert (document["performance"]["hot_water"] is not None) is split
