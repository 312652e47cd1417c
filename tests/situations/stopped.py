"""Situations of a unit that does not run; healthy houses that look alike are in `at_rest`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

from tests.situations.case import Made, Situation
from tests.situations.house import USUAL, House

RICH = (*USUAL, "call", "target_flow", "fault")
FEW = ("elec", "heat", "outdoor")
ELECTRIC = ("elec", "outdoor")
STOPPED = "unit_stopped"


def changed(house: House, change: Callable[[House], None], until: float = 1e9) -> Made:
    change(house)
    return house.made(until)


def _dead(house: House, since: float, until: float = 1e9) -> Made:
    """The supply goes at `since` [days] and stays away; the data end at `until`."""
    house.supply[house.between(since)] = False
    return house.made(until)


def _locked(house: House, since: float, until: float = 1e9) -> Made:
    """The unit locks out at `since`: supply and pump go on, the compressor does not start."""
    house.free[house.between(since)] = False
    return house.made(until)


def register_only(days: int, every: int, step: float, stop: float | None) -> Made:
    house = House(days=days, points=("elec_kwh", "outdoor"), every=every, steps={"elec_kwh": step})
    if stop is not None:
        house.supply[house.between(stop)] = False
    return house.made()


def _whole_days_dead() -> Made:
    """The house of the report: two days, all of it dead, rooms at 9 °C, every meter reporting."""
    house = House(days=2, mean_c=1.0, start_room_c=10.5)
    house.supply[:] = False
    return house.made()


def _switched_off(house: House) -> None:
    house.free[house.between(6.5)] = False
    house.heats[house.between(6.5)] = False
    house.reheats[house.between(6.5)] = False


def _holiday_frozen(house: House) -> None:
    house.target[house.between(4)] = 12.0
    house.supply[house.between(6)] = False
    house.draws[house.between(4)] = False


def _meter_silent() -> Made:
    house = House(mean_c=2.0)
    made = _dead(house, 8.5)
    stop = int(house.time[house.between(8.5)][0])
    cut = {p: s.between(0, stop) if p == "elec" else s for p, s in made.readings.items()}
    return replace(made, readings=cut)


def _fault_repeats(house: House) -> None:
    for day in (4.3, 5.2, 6.6, 7.4, 8.5):
        span = house.between(day, day + 2.0 / 24)
        house.fault[span] = "E7"
        house.free[span] = False


def _fault_stands(house: House) -> None:
    house.fault[house.between(8.2)] = "F1"
    house.free[house.between(8.2)] = False


def _backup_alone(house: House) -> None:
    span = house.between(7.0)
    house.free[span] = False
    house.backup[span] = 4000.0


def _immersion_alone(house: House) -> None:
    span = house.between(6.0)
    house.free[span] = False
    house.immersion[span & house.hours(3, 6)] = 2000.0


def _dark_heating(house: House) -> None:
    house.heats[house.between(7.0)] = False


def _no_reheats(house: House) -> None:
    house.reheats[house.between(7.3)] = False


SITUATIONS = [
    Situation(
        "two-days-all-dead",
        "no supply for all of the two days seen, rooms at 9 °C",
        _whole_days_dead,
        {STOPPED: "urgent"},
        {STOPPED: "no_power"},
    ),
    Situation(
        "breaker-tripped-in-frost",
        "the breaker tripped three hours ago at -3 °C",
        lambda: _dead(House(mean_c=-3.0, points=RICH), 9.2, 9.33),
        {STOPPED: "urgent"},
        {STOPPED: "no_power"},
    ),
    Situation(
        "breaker-tripped-an-hour-ago",
        "the breaker tripped an hour ago at 4 °C, rooms still warm",
        lambda: _dead(House(mean_c=4.0, points=RICH), 9.2, 9.245),
        {STOPPED: "act"},
        {STOPPED: "no_power"},
    ),
    Situation(
        "locked-out-an-hour-ago",
        "the compressor locked out an hour ago, pump and call go on",
        lambda: _locked(House(mean_c=2.0, points=RICH), 9.2, 9.245),
        {STOPPED: "act"},
        {STOPPED: "locked_out"},
    ),
    Situation(
        "locked-out-few-meters",
        "locked out for two days; only electricity, outdoor and room are metered",
        lambda: _locked(House(points=("elec", "outdoor", "room")), 8.0),
        {STOPPED: "act"},
    ),
    Situation(
        "electricity-and-outdoor-only",
        "no supply for a day and a half; electricity and outdoor temperature alone",
        lambda: _dead(House(points=ELECTRIC), 8.5),
        {STOPPED: "act"},
        {STOPPED: "no_power"},
    ),
    Situation(
        "electricity-only",
        "no supply for two days in January; electricity alone is metered",
        lambda: _dead(House(points=("elec",)), 8.0),
        {STOPPED: "act"},
        {STOPPED: "no_power"},
    ),
    Situation(
        "quarter-hours",
        "locked out for a day; readings every 15 minutes",
        lambda: _locked(House(every=15), 9.0),
        {STOPPED: "urgent"},
    ),
    Situation(
        "hourly",
        "locked out for a day and a half; readings every hour",
        lambda: _locked(House(every=60), 8.5),
        {STOPPED: "act"},
    ),
    Situation(
        "daily-register",
        "no supply for four days; a register read once a day, and outdoor temperature",
        lambda: register_only(20, 1440, 0.1, 16.0),
        {STOPPED: "act"},
    ),
    Situation(
        "switched-off-by-hand",
        "somebody switched it off three days ago, 3 °C outdoors",
        lambda: changed(House(points=RICH), _switched_off),
        {STOPPED: "urgent"},
        {STOPPED: "switched_off"},
    ),
    Situation(
        "holiday-and-dead-in-frost",
        "on holiday with 12 °C asked for; the supply failed at -4 °C, rooms soak cold",
        lambda: changed(House(days=14, mean_c=-4.0), _holiday_frozen),
        {STOPPED: "urgent"},
        {STOPPED: "no_power"},
    ),
    Situation(
        "dead-within-first-weeks",
        "dead for a day in the second week after hand-over",
        lambda: (
            lambda m: replace(
                m, site_text=m.site_text.replace("[design]", "handed_over = 2026-01-10\n[design]", 1)
            )
        )(_dead(House(), 9.0)),
        {STOPPED: "urgent"},
    ),
    Situation(
        "heating-dead-hot-water-works",
        "no heating for three days, hot water is made",
        lambda: changed(House(), _dark_heating),
        {STOPPED: "urgent"},
        words={STOPPED: "hot water"},
    ),
    Situation(
        "hot-water-dead-heating-works",
        "no hot water for nearly three days, rooms are heated",
        lambda: changed(House(), _no_reheats),
        {STOPPED: "act"},
        words={STOPPED: "heats the rooms"},
    ),
    Situation(
        "backup-carries-the-house",
        "compressor dead for three days, the back-up heater does its work",
        lambda: changed(House(points=(*RICH, "backup")), _backup_alone),
        {STOPPED: "act"},
        words={STOPPED: "back-up heater alone heats the house", "backup_heater_use": "alone"},
    ),
    Situation(
        "heater-inside-carries-the-house",
        "compressor dead for three days, the heater behind the same two meters does its work",
        lambda: changed(House(heater_inside=True), _backup_alone),
        {STOPPED: "act"},
        words={STOPPED: "direct electric heat"},
    ),
    Situation(
        "immersion-carries-the-water",
        "compressor dead since four summer days, the immersion heater makes the water",
        lambda: changed(
            House(first=date(2026, 6, 1), mean_c=18.0, points=(*USUAL, "immersion")), _immersion_alone
        ),
        {STOPPED: "watch"},
        words={STOPPED: "immersion heater"},
    ),
    Situation(
        "fault-stands",
        "the unit shows F1 and has stood still for two days",
        lambda: changed(House(points=RICH), _fault_stands),
        {STOPPED: "urgent", "fault_reported": "act"},
        {STOPPED: "locked_out"},
    ),
    Situation(
        "fault-repeats",
        "locked out and reset five times in a week",
        lambda: changed(House(points=RICH), _fault_repeats),
        {"fault_reported": "act"},
        forbids=frozenset({STOPPED}),
    ),
    Situation(
        "unit-trips",
        "each run ends after five minutes by itself, heat is still asked for",
        lambda: House(points=RICH, trips=5, pause=6).made(),
        {"short_cycling": "watch"},
        {"short_cycling": "unit_trips"},
    ),
    Situation(
        "dead-for-a-fortnight",
        "without supply for the last twelve of twenty days, 2 °C",
        lambda: _dead(House(days=20, mean_c=2.0), 8.0),
        {STOPPED: "urgent"},
        {STOPPED: "no_power"},
    ),
    Situation(
        "locked-out-for-a-fortnight",
        "locked out for the last twelve of twenty days, 2 °C",
        lambda: _locked(House(days=20, mean_c=2.0, points=RICH), 8.0),
        {STOPPED: "urgent"},
        {STOPPED: "locked_out"},
    ),
    Situation(
        "meter-silent-with-the-unit",
        "the breaker also feeds the electricity meter: its readings stop, the heat meter shows nothing",
        _meter_silent,
        {STOPPED: "act"},
        {STOPPED: "no_power"},
    ),
    Situation(
        "never-run-heating-only",
        "a new unit that never ran in its first three days, rooms at 14 °C",
        lambda: _locked(House(days=3, mean_c=4.0, start_room_c=15.0, points=(*FEW, "room")), -2.0),
        {STOPPED: "urgent"},
    ),
]
