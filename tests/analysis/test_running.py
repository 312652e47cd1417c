"""Stopped units and reported faults: hand-made facts, limits of the findings, words of the site file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from fieldfare.analysis.errors import SiteError
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.faults import is_fault
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.period import Figures
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.findings.stopped.rests import Rest, rests
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Samples
from fieldfare.analysis.reports.result import analyse
from tests.analysis.small_plant import Small, found
from tests.situations.case import Made
from tests.situations.house import USUAL, House

RICH = (*USUAL, "call", "target_flow", "fault")


def facts_of(made: Made) -> Facts:
    return build_facts(parse_site(made.site_text), made.readings, made.first, made.last)


def findings_of(made: Made) -> tuple[Finding, ...]:
    return analyse(parse_site(made.site_text), facts_of(made), made.first, made.last).findings


def rests_of(made: Made, kind: str) -> list[Rest]:
    """The rests of a kind in what was made."""
    facts = facts_of(made)
    site = parse_site(made.site_text)
    whole = rests(Context(site, facts, facts, Figures(site, facts)), kind)
    return [] if whole is None else [whole.rest(row) for row in range(len(whole.start))]


def stopped(house: House, hours: float) -> Made:
    """A house whose supply goes at the noon of its sixth day, seen for so many hours more."""
    house.supply[house.between(5.5)] = False
    return house.made(5.5 + hours / 24.0)


@pytest.mark.parametrize(
    "word", ["", "0", "00", "0.0", "ok", " OK ", "None", "---", "No Fault", "no_error", "NaN", 0.0, "0x00"]
)
def test_words_for_no_fault(word: object) -> None:
    assert not is_fault(word)


@pytest.mark.parametrize("word", ["E0", "E7", "1", "F.28", "lock-out", "high pressure", 7.0, "A01"])
def test_words_for_a_fault(word: object) -> None:
    assert is_fault(word)


def test_a_fault_is_a_row_for_each_day_it_touches_with_what_the_unit_did() -> None:
    house = House(days=4, points=RICH)
    span = house.between(1.9, 2.1)
    house.fault[span], house.free[span] = "E7", False
    table = facts_of(house.made()).faults
    assert table["code"].tolist() == ["E7", "E7"]
    assert table["minutes"].tolist() == [144, 144]
    assert table["begun"].tolist() == [True, False]
    assert table["ended"].tolist() == [False, True]
    assert table["minutes_running"].sum() <= 2
    assert table["minutes_known"].sum() == 288


def test_a_fault_told_at_its_changes_alone_lasts_until_the_next_word() -> None:
    house = House(days=4, points=RICH)
    made = house.made()
    at = [int(house.time[house.between(day)][0]) for day in (0.5, 1.5, 1.75)]
    readings = made.readings | {"fault": Samples(np.array(at), np.array(["ok", "E7", "ok"], dtype=object))}
    table = facts_of(replace(made, readings=readings)).faults
    assert table["minutes"].sum() == 360


def test_the_newest_rest_is_kept_from_its_first_minutes_on_and_older_ones_from_an_hour_and_a_half() -> None:
    table = facts_of(stopped(House(days=7), 0.6)).rests
    unit = table.where(table["kind"] == "unit")
    newest = unit.where(unit["open"].astype(bool))
    assert len(newest) == 1
    assert newest["minutes"][0] >= 36
    assert (unit["minutes"][~unit["open"].astype(bool)] >= 1).all()
    assert newest["minutes_powerless"][0] == pytest.approx(36, abs=6)


@pytest.mark.parametrize("every", [5, 15, 60])
def test_a_register_of_whole_kilowatt_hours_that_stands_still_for_hours_is_no_lost_supply(every: int) -> None:
    """At 20 W of standby it needs two days for a step, however often it is read."""
    points = ("elec_kwh", "outdoor")
    fine, coarse = (
        facts_of(stopped(House(days=7, every=every, points=points, steps={"elec_kwh": step}), 5.0)).rests
        for step in (0.001, 1.0)
    )
    assert fine["minutes_powerless"].max() > 180
    assert coarse["minutes_powerless"].sum() == 0


@pytest.mark.parametrize("every", [1, 5, 15, 60])
def test_facts_of_a_rest_are_the_same_day_by_day(every: int) -> None:
    """The facts keeper works out single days again; a rest over midnights must not depend on the span."""
    house = House(days=5, every=every)
    house.supply[house.between(1.6, 3.4)] = False
    made = house.made()
    site, whole = parse_site(made.site_text), facts_of(made).rests
    for n in range(5):
        day = made.first + timedelta(n)
        alone, among = build_facts(site, made.readings, day, day).rests, whole.between(day, day)
        for column in ("start", "end", "minutes", "begun", "ended", "kind", "minutes_powerless"):
            assert alone[column].tolist() == among[column].tolist(), (day, column)


def test_a_rest_over_midnights_is_one() -> None:
    house = House(days=6)
    house.free[house.between(2.5)] = False
    made = house.made()
    small = Small()
    context = replace(
        small.context(), site=parse_site(made.site_text), all_days=facts_of(made), facts=facts_of(made)
    )
    whole = rests(context, "unit")
    assert whole is not None
    newest = whole.rest(len(whole.start) - 1)
    assert newest.begun
    assert newest.hours == pytest.approx(84.0, abs=3.0)
    assert newest["minutes"] == pytest.approx(newest.hours * 60.0, abs=1.0)


@pytest.mark.parametrize(("mean_c", "severity"), [(-3.0, "urgent"), (4.5, "act")])
def test_a_stop_in_frost_is_urgent_and_else_to_be_acted_on(mean_c: float, severity: str) -> None:
    told = found(findings_of(stopped(House(days=7, mean_c=mean_c, points=RICH), 1.0)), "unit_stopped")
    assert told.severity == severity
    assert told.since == "2026-01-17"
    assert told.home
    assert "bypass" in told.caution


def test_the_caution_says_what_the_site_file_knows_of_antifreeze() -> None:
    made = stopped(House(days=7, mean_c=-3.0), 8.0)
    plain = found(findings_of(made), "unit_stopped").caution
    assert "holds no antifreeze" in plain
    text = made.site_text.replace(
        "[heat_pump]\n", '[heat_pump]\nantifreeze = "propylene_glycol"\nantifreeze_percent = 30\n'
    )
    assert (
        "antifreeze down to about"
        in found(findings_of(replace(made, site_text=text)), "unit_stopped").caution
    )


def test_a_stop_that_has_ended_has_its_end() -> None:
    house = House(days=9)
    house.supply[house.between(5.1, 6.2)] = False
    told = found(findings_of(house.made()), "unit_stopped")
    assert (told.since, told.until) == ("2026-01-17", "2026-01-18")
    assert told.severity == "watch"


@pytest.mark.parametrize("days", [1, 2])
def test_a_period_that_never_heated_is_judged(days: int) -> None:
    house = House(days=days, mean_c=1.0, start_room_c=12.0)
    house.supply[:] = False
    assert found(findings_of(house.made()), "unit_stopped").severity == "urgent"


def test_nothing_measured_of_the_unit_is_not_assessed() -> None:
    made = House(days=3, points=("outdoor", "room")).made()
    result = analyse(parse_site(made.site_text), facts_of(made), made.first, made.last)
    assert {n.code for n in result.not_assessed} >= {"unit_stopped", "fault_reported"}


def test_a_sensor_that_is_distrusted_makes_no_frost() -> None:
    """An outdoor sensor that fails to -40 °C is a sensor's fault, and no frost that makes a short rest
    urgent.
    """
    house = House(days=8, mean_c=16.0, cutoff_c=14.0, start_room_c=21.0)
    house.outdoor[house.between(3.0)] = -40.0
    codes = {f.code: f.severity for f in findings_of(house.made())}
    assert codes.get("unit_stopped") not in ("act", "urgent")


def fault_house(change: Callable[[House], None]) -> Finding:
    house = House(days=10, points=RICH)
    change(house)
    text = house.made()
    words = replace(text, site_text=text.site_text + '[fault_codes]\n"E7" = "no water flow"\n')
    return found(findings_of(words), "fault_reported")


def once(house: House) -> None:
    house.fault[house.between(6.0, 6.02)] = "E7"


def thrice(house: House) -> None:
    for day in (5.2, 6.3, 7.6):
        span = house.between(day, day + 0.06)
        house.fault[span], house.free[span] = "E7", False


def standing(house: House) -> None:
    house.fault[house.between(8.0)] = "E7"


@pytest.mark.parametrize(
    ("change", "severity", "did"),
    [(once, "note", "kept running"), (thrice, "act", "was stopped"), (standing, "watch", "kept running")],
)
def test_a_fault_is_graded_by_what_it_does(change: Callable[[House], None], severity: str, did: str) -> None:
    told = fault_house(change)
    assert told.severity == severity
    assert "E7 (no water flow)" in told.headline
    assert did in told.headline
    assert (told.until is None) == (severity != "note")


@pytest.mark.parametrize(
    ("line", "key"),
    [('"E7" = ""', "fault_codes.E7"), ('"E7" = 5', "fault_codes.E7"), ('" " = "x"', "fault_codes")],
)
def test_words_for_codes_are_checked(line: str, key: str) -> None:
    with pytest.raises(SiteError, match=key):
        parse_site(f'[site]\nid = "xx"\nname = "x"\ntimezone = "Europe/London"\n[fault_codes]\n{line}\n')


def test_a_rest_in_which_nothing_moves_is_no_rest_that_anybody_saw() -> None:
    """The gateway repeats what it had at a pause; at rest, water and rooms go on moving."""
    home = House(days=8, mean_c=1.0)
    home.free[home.between(6.5, 6.75)] = False
    made = home.made(6.75)
    begin = int(made.readings["flow"].time[-1]) - 4 * 3_600_000
    held = {
        point: Samples(s.time, np.where(s.time < begin, s.value, s.value[np.flatnonzero(s.time < begin)[-1]]))
        for point, s in made.readings.items()
    }
    moved = rests_of(made, "unit")[-1]
    frozen = rests_of(replace(made, readings=held), "unit")[-1]
    assert moved["minutes_frozen"] == 0.0
    assert 220.0 <= frozen["minutes_frozen"] <= 241.0


def test_running_without_heat_is_counted_by_the_heat_meter() -> None:
    home = House(days=8, mean_c=1.0)
    home.gives[home.between(6.5)] = False
    tries = [r for r in rests_of(home.made(7.0), "tries") if r.open]
    assert tries[-1]["minutes_barren"] >= 9 * 60.0
    assert tries[-1]["minutes_barren"] <= tries[-1]["minutes"] <= 13 * 60.0


@pytest.mark.parametrize(("days", "told"), [(7.2, False), (9.2, True)])
def test_a_house_that_goes_cold_while_the_unit_runs_on_is_told_by_its_rooms(days: float, told: bool) -> None:
    home = House(days=11, mean_c=1.0, points=("elec", "outdoor", "room"))
    home.gives[home.between(7.0)] = False
    says = [f.headline for f in findings_of(home.made(days)) if f.code == "unit_stopped"]
    assert any("goes cold" in text for text in says) is told


def test_a_lowered_target_that_nobody_measures_is_no_unit_that_runs_in_vain() -> None:
    home = House(days=11, mean_c=1.0, points=("elec", "outdoor", "room"))
    home.target[home.between(6.0)] = 12.0
    says = [f.headline for f in findings_of(home.made()) if f.code == "unit_stopped"]
    assert not any("goes cold" in text for text in says)
