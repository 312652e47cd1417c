"""The tuning diary: a badly set home tuned week by week, and invariants for any home."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.advice.limits import LIMITS_ADVICE
from fieldfare.analysis.advice.plan import SETTINGS, Advice, need_of, plan
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.result import Figures, Result
from fieldfare.analysis.tuning.diary import diary, season_start
from fieldfare.analysis.tuning.standing import Season
from fieldfare.analysis.tuning.steps import TuningStep, as_set, is_reached, stepped_back, toward
from fieldfare.analysis.tuning.week import week_after
from fieldfare.collector.simulated.faults.plant import with_fault
from fieldfare.collector.simulated.plant import random_plant, simulate
from fieldfare.dashboards.advice.diary import present_diary
from tests.benchmarks.tuning_cases import Tuned, badly_set, tune

DAY = date(2024, 1, 10)
SITE = """
[site]
id = "alder-row"
name = "Alder Row"
timezone = "UTC"
[design]
indoor_c = 21.0
outdoor_c = -10.0
[hot_water]
setpoint_c = 55.0
reheat_below_c = 48.0
"""


@pytest.fixture(scope="module")
def tuned() -> Tuned:
    """A curve 3 K too hot, a set-back of 4 K and a pump at full speed, looked at after each week."""
    return tune(
        2105,
        "compensation",
        curve_k=3.0,
        days=100,
        learn=25,
        hot_water=False,
        looks=(8,),
        stop_when_done=True,
    )


def test_the_diary_ends_with_less_electricity_and_rooms_that_were_kept(tuned: Tuned) -> None:
    assert tuned.ended is not None, tuned.last
    assert tuned.last["state"] == "done"
    assert len(tuned.log) >= 4
    assert tuned.saved_share() > 0.05
    days = sum(s.days for s in tuned.stretches)
    assert sum(s.cold_days for s in tuned.stretches) <= 0.15 * days
    last = tuned.stretches[-1]
    assert last.cold_days == 0, "it does not end with cold rooms"


def test_one_setting_a_week_and_two_kelvin_at_most(tuned: Tuned) -> None:
    most = LIMITS_ADVICE["advice_step_k"].default
    days = [step.day for step in tuned.log]
    assert len(set(days)) == len(days)
    assert all(b - a >= timedelta(8) for a, b in pairwise(days))
    for step in tuned.log:
        if step.code != "pump_speed":
            assert max(abs(a - b) for a, b in zip(step.before, step.after, strict=True)) <= most + 0.05
    assert {s["code"] for s in tuned.last["settings"]} >= {"heating_curve", "set_back", "pump_speed"}
    assert all(s["reason"] for s in tuned.last["settings"])


def test_entries_keep_what_was_changed_and_what_the_week_after_said(tuned: Tuned) -> None:
    entries = tuned.last["entries"]
    assert [e["day"] for e in entries] == [s.day.isoformat() for s in tuned.log]
    for entry in entries:
        assert entry["effect"]["electricity_kwh"] or entry["effect"]["reason"]
        assert entry["week"]["zones"]
        assert 0 <= entry["week"]["days"] <= 7
    assert any(e["too_much"] for e in entries), "the rooms' limit was found by trying"


def test_a_step_goes_two_kelvin_toward_its_goal() -> None:
    assert toward(parse_site(SITE), "heating_curve", (50.0, 30.0), (44.0, 29.0)) == (48.0, 29.0)
    assert toward(parse_site(SITE), "set_back", (4.0,), (3.0,)) == (3.0,)
    assert toward(parse_site(SITE), "pump_speed", (2.8,), (4.2,)) == (4.2,)
    assert is_reached((44.1, 29.0), (44.0, 29.1))
    assert not is_reached((44.5, 29.0), (44.0, 29.0))


@pytest.mark.parametrize(
    ("code", "before", "after", "saves"),
    [
        ("heating_curve", (50.0, 30.0), (48.0, 30.0), True),
        ("set_back", (1.0,), (3.0,), True),
        ("set_back", (4.0,), (2.0,), False),
        ("pump_speed", (2.8,), (4.2,), True),
        ("hot_water_setpoint", (50.0,), (52.0,), False),
    ],
)
def test_which_steps_take_warmth_away(
    code: str, before: tuple[float, ...], after: tuple[float, ...], saves: bool
) -> None:
    assert TuningStep(DAY, code, before, after).saves is saves


def test_a_curve_that_was_raised_again_is_at_its_limit() -> None:
    down, up = (
        TuningStep(DAY, "heating_curve", (50.0, 30.0), (48.0, 28.0)),
        TuningStep(DAY + timedelta(8), "heating_curve", (48.0, 28.0), (50.0, 30.0)),
    )
    assert stepped_back([down], "heating_curve") is None
    assert stepped_back([down, up], "heating_curve") == up
    assert stepped_back([up], "heating_curve") is None


def test_the_cylinder_is_as_the_log_left_it() -> None:
    site = parse_site(SITE)
    set_now = as_set(site, [TuningStep(DAY, "hot_water_setpoint", (55.0,), (48.0,))]).hot_water
    assert set_now is not None
    assert (set_now.setpoint_c, set_now.reheat_below_c) == (48.0, 47.0)
    assert as_set(site, []) is site


def weeks(short_before: int, short_after: int, raised: float = 0.0, outdoor: float = 3.0) -> Table:
    """Seven days before and after a step, so many with rooms 0.8 K under their target."""
    day = np.array([np.datetime64(DAY + timedelta(n)) for n in range(-7, 8)], dtype="datetime64[us]")
    deficit = np.zeros(15)
    deficit[:short_before] = 0.8
    deficit[8 : 8 + short_after] = 0.8
    wanted = np.full(15, 21.0)
    wanted[8:] += raised
    return Table(
        {
            "day": day,
            "minutes_total": np.full(15, 1440),
            "minutes_electricity_known": np.full(15, 1440),
            "outdoor": np.full(15, outdoor),
            "room.house": np.full(15, 20.5),
            "room_day.house": np.full(15, 20.5),
            "deficit.house": deficit,
            "wanted.house": wanted,
        }
    )


@pytest.mark.parametrize(
    ("days", "zone"),
    [
        (weeks(0, 1), None),
        (weeks(0, 2), "house"),
        (weeks(3, 5), None),  # it was cold before: a reason of its own
        (weeks(0, 5, raised=1.0), None),  # the household turned it up
        (weeks(0, 5, outdoor=-14.0), None),  # colder than the design
    ],
    ids=["one day", "two days", "cold before", "target raised", "beyond design"],
)
def test_rooms_newly_short_on_two_days_are_too_much(days: Table, zone: str | None) -> None:
    step = TuningStep(DAY, "heating_curve", (50.0, 30.0), (48.0, 28.0))
    week = week_after(parse_site(SITE), days, step, DAY)
    assert week.is_over
    assert week.cold_zone == zone


def test_a_season_begins_with_july_or_the_hand_over() -> None:
    site = parse_site(SITE)
    assert season_start(site, date(2024, 2, 1), date(2020, 1, 1)) == date(2023, 7, 1)
    assert season_start(site, date(2024, 2, 1), date(2023, 11, 5)) == date(2023, 11, 5)
    south = parse_site(SITE.replace('timezone = "UTC"', 'timezone = "UTC"\nlatitude = -41.0'))
    assert season_start(south, date(2024, 8, 1), date(2020, 1, 1)) == date(2024, 1, 1)


Home = tuple[Site, Facts]
SEEN, SEASON_OF = 75, 40
START = date(2023, 11, 1)
LAST = START + timedelta(SEEN - 1)
TURN = LAST - timedelta(SEASON_OF - 1)


def document(home: Home, first: date) -> tuple[Facts, dict[str, Any]]:
    """Facts and result of a home from a day on."""
    facts = home[1].between(first, LAST)
    return facts, Result(home[0], first, LAST, facts, Figures(home[0], facts)).as_dict()


@pytest.fixture(scope="module", params=["curve hot", "heater early"])
def home(request: pytest.FixtureRequest) -> Home:
    """Homes whose season is a part of the days that they have been read for."""
    spec = random_plant(
        2103, "continental", "rich", hot_water=True, control="compensation", emitter="radiator"
    )
    if request.param == "curve hot":
        spec = badly_set(spec)
    else:
        spec = with_fault(spec, "backup_heater_use", "bivalent_set_high", "plain")
    run = simulate(spec, START, SEEN)
    site = parse_site(run.site_toml)
    return site, build_facts(site, run.readings, START, LAST)


def test_the_diary_and_what_to_set_are_one_truth(home: Home) -> None:
    year = document(home, START)
    season = document(home, TURN)
    told = diary(home[0], *season, [], year=year)
    planned = plan(home[0], *year)
    by_code = {a["code"]: a for a in planned["advice"]}
    step = told["next"]
    if step is not None:
        assert step["code"] in by_code
        assert step["saves"] == by_code[step["code"]]["saves"]
        assert step["saves_of"] == planned["of"]
        if step["code"] == "heating_curve":
            assert step["to"] == list(by_code["heating_curve"]["curve"]["steps"][0])
    assert [a["code"] for a in told["once"]] == [a for a in by_code if a not in SETTINGS]
    assert step is not None or told["once"], "a home with nothing to tell proves nothing"


def test_after_a_step_only_the_days_since_speak(home: Home) -> None:
    year = document(home, START)
    season = document(home, TURN)
    log = [TuningStep(TURN + timedelta(9), "heating_curve", (50.0, 30.0), (48.0, 30.0))]
    with_year = diary(home[0], *season, log, year=year)
    assert with_year["settings"][0] == diary(home[0], *season, log)["settings"][0]
    newest = [TuningStep(LAST - timedelta(10), "heating_curve", (50.0, 30.0), (48.0, 30.0))]
    of_season = Season(home[0], *season, TURN, LAST, tuple(newest), year)
    before = of_season.basis(of_season.since("heating_curve", newest[0].day))[0].days["day"]
    assert before[0].astype("datetime64[D]").item() == START, "what the way began with is the year"
    assert before[-1].astype("datetime64[D]").item() == newest[0].day - timedelta(1)
    assert diary(home[0], *season, newest, year=year)["settings"]


@pytest.mark.parametrize(
    ("code", "now", "to", "need"),
    [
        ("set_back", 4.0, 1.0, "rooms_late"),
        ("set_back", 1.0, 3.0, ""),
        ("pump_speed", 9.0, 6.0, "water_slow"),
        ("pump_speed", 3.0, 5.0, ""),
        ("heating_curve", 50.0, 48.0, ""),
    ],
)
def test_a_step_that_uses_more_has_its_reason(code: str, now: float, to: float, need: str) -> None:
    advice = Advice(code, now, to, "K", Estimate(-38.0, -50.0, -20.0))
    assert need_of(advice) == need
    if not need:
        return
    step = {
        "code": code,
        "unit": "K",
        "now": [now],
        "to": [to],
        "goal": [to],
        "outdoor": None,
        "not_before": None,
        "back": False,
        "zone": None,
        "saves": advice.saves.as_dict(),
        "need": need,
        "saves_of": "a year like the last",
        "room": None,
        "binding": None,
        "household": True,
        "caution": "",
    }
    told = {"state": "change", "reason": "", "next": step, "entries": [], "settings": [], "whole": None}
    once = Advice("bivalent_point", 5.0, -4.0, "°C", Estimate(300.0, 200.0, 400.0)).as_dict()
    shown = present_diary(
        told | {"once": [once], "once_of": "a year like the last", "from": "2024-01-01", "to": "2024-02-01"},
        "EUR",
    )
    assert shown["next"]["lines"][0].startswith("Why: ")
    assert "not for the bill" in shown["next"]["lines"][0]
    assert "38\u00a0kWh" in shown["next"]["lines"][1]
    assert shown["headline"] == "Then change this"
    assert shown["first"], "what saves goes before what uses more"


def test_tuning_is_not_done_where_settings_cannot_be_told() -> None:
    settings = [{"code": code, "state": "done", "reason": "x"} for code in SETTINGS]
    told = {
        "state": "done",
        "reason": "nothing that is left is worth more than its uncertainty",
        "next": None,
        "entries": [],
        "settings": settings,
        "whole": None,
        "from": "2024-01-01",
        "to": "2024-02-01",
    }
    assert present_diary(told, None)["headline"] == "Tuning is done"
    unknown = [s | {"state": "not_assessed"} for s in settings[:3]] + settings[3:]
    shown = present_diary(told | {"settings": unknown}, None)
    assert shown["headline"] == "No further step can be told"
    assert shown["says"].endswith("; 3 of 5 settings can't be told")


@pytest.mark.parametrize(("is_read", "state"), [(False, "not_assessed"), (True, "waiting")])
def test_a_unit_that_runs_is_not_called_hardly_heating(home: Home, is_read: bool, state: str) -> None:
    site, whole = home
    empty = np.full(len(whole.days), np.nan)
    facts = replace(whole, days=whole.days.with_columns(flow=empty, flow_by_heat=empty))
    if not is_read:
        points = [p for p in site.point if p.quantity != "flow_temperature"]
        site = site.model_copy(update={"point": points})
    told = diary(site, *document((site, facts), TURN), [])
    curve = told["settings"][0]
    assert curve["state"] == state, curve
    assert "hardly heated" not in curve["reason"]
    assert ("needs flow_temperature" in curve["reason"]) is not is_read
