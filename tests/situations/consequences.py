"""Situations in which one fault resembles another: its consequences are not separate faults."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldfare.analysis.readings import Samples
from tests.situations.case import Made, Situation
from tests.situations.house import USUAL, House
from tests.situations.meters import MISPLACED, RATING
from tests.situations.stopped import STOPPED
from tests.situations.wet import Wet

FEW = ("elec", "outdoor", "room")
FALLING, SWINGS, HOT = "pressure_falling", "pressure_swings", "water_too_hot"


def _car_while_it_runs() -> Made:
    """In the cold the unit hardly rests: a car of 7 kW is charged on its meter meanwhile."""
    made = House(days=16, mean_c=-6.0, extra=RATING).made()
    elec = made.readings["elec"]
    minute, day = (elec.time // 60_000) % 1440, elec.time // 86_400_000
    drawn = elec.value + 7000.0 * ((minute > 70) & (minute < 230) & (day % 3 > 0))
    return replace(made, readings=made.readings | {"elec": Samples(elec.time, drawn)})


def _big_steps() -> Made:
    """A healthy unit of two stages: its draw and its heat step together, many times a day."""
    made = House(days=16, mean_c=-6.0, extra=RATING).made()
    more = {}
    for name in ("elec", "heat"):
        s = made.readings[name]
        high = ((s.time // 60_000) % 90 < 45) & (s.value > 200.0)
        more[name] = Samples(s.time, s.value * np.where(high, 1.8, 1.0))
    return replace(made, readings=made.readings | more)


def _locked(hours: float) -> Made:
    """The compressor locks out in the middle of a run of a cold morning; few meters show it."""
    house = House(days=9, mean_c=-4.0, points=FEW)
    house.free[house.between(8.0 + 9.3 / 24.0)] = False
    return house.made(8.0 + (9.3 + hours) / 24.0)


def _sunny() -> Made:
    """Sun in the rooms from ten on: the unit rests for longer than it has in a week."""
    house = House(days=9, mean_c=3.0, points=FEW)
    house.stove[house.between(8.0) & house.hours(10.0, 15.0)] = 4500.0
    return house.made(8.0 + 14.5 / 24.0)


def _silent_with_the_supply() -> Made:
    """The breaker trips in frost: what the unit itself tells falls silent, the meters go on."""
    house = House(days=12, mean_c=-4.0, points=(*USUAL, "speed"))
    house.supply[house.between(9.0)] = False
    made = house.made()
    stop = int(house.time[house.between(9.0)][0])
    own = {p: made.readings[p].between(0, stop) for p in ("speed", "mode")}
    return replace(made, readings=made.readings | own)


def _immersion_in_its_stead() -> Made:
    """The compressor is dead for a week of winter; heaters carry house and cylinder."""
    house = House(days=16, points=(*USUAL, "immersion", "backup"))
    span = house.between(9.0)
    house.free[span] = False
    house.backup[span] = 4000.0
    house.immersion[span & house.hours(3.0, 5.0)] = 2500.0
    return house.made()


def _circuit_goes_cold() -> Made:
    """The unit stands for the last three days of a month: the circuit cools, and its pressure with it."""

    def stop(wet: Wet) -> None:
        wet.on[wet.day >= 25] = False
        wet.heats[wet.day >= 25] = False

    return Wet(vessel_litres=8.0, change=stop).made()


def _vessel_blew_off() -> Made:
    """The vessel is empty; after a week the relief valve has let out water, and the pressure is lower."""

    def change(wet: Wet) -> None:
        wet.fill[(wet.day >= 7) & (wet.day < 8)] = -0.35 / 1440.0

    return Wet(vessel_litres=1.8, cold_bar=1.7, change=change).made()


def _stove_on_the_cylinder() -> Made:
    """A stove heats the cylinder to 90 °C day and night."""

    def change(wet: Wet) -> None:
        wet.source[:] = 2600.0
        wet.draws[:] = 0.3

    return Wet(days=16, change=change, source_limit_c=91.0, disinfect_c=None, planned_c=None).made()


def _long_absence() -> Made:
    """The rooms are set to 12 °C from the second week on, and never set back."""
    house = House(days=30, mean_c=1.0)
    house.target[house.between(8.0)] = 12.0
    house.outdoor += 5.0 * np.sin((house.time - house.time[0]) / 86_400_000.0 / 3.0)
    return house.made()


def _half_empty() -> Made:
    """A branch of the heating alone is metered; the cylinder's sensor turns cold while half of it is still
    warm."""
    made = House(days=16, mean_c=2.0, extra=RATING).made()
    mode, heat, tank = (made.readings[p] for p in ("mode", "heat", "tank"))
    cold = np.where(
        ((tank.time // 60_000) % 1440 > 1150) & (tank.value < 46.0), tank.value - 12.0, tank.value
    )
    readings = made.readings | {
        "heat": Samples(heat.time, np.where(mode.value == 2.0, 0.0, heat.value)),
        "tank": Samples(tank.time, cold),
    }
    return replace(made, readings=readings)


SITUATIONS = [
    Situation(
        "car-on-the-meter-of-a-unit-that-runs",
        "a car is charged on the meter of a unit that hardly rests",
        _car_while_it_runs,
        {MISPLACED: "watch"},
        {MISPLACED: "other_load_inside"},
    ),
    Situation(
        "two-stages",
        "healthy: a unit of two stages, draw and heat step together",
        _big_steps,
        forbids=frozenset({MISPLACED}),
    ),
    Situation(
        "locked-out-few-meters-at-first",
        "locked out for 75 minutes at -4 °C; electricity, outdoors and room",
        lambda: _locked(1.25),
        {STOPPED: "watch"},
        words={STOPPED: "may have stopped"},
    ),
    Situation(
        "locked-out-few-meters-later", "the same after three hours", lambda: _locked(3.0), {STOPPED: "act"}
    ),
    Situation(
        "sunny-day-few-meters",
        "healthy: a sunny winter day, the rooms are warm and the unit rests",
        _sunny,
        forbids=frozenset({STOPPED}),
    ),
    Situation(
        "own-words-silent-without-supply",
        "no supply for three days: the unit's own words are silent, its meters report",
        _silent_with_the_supply,
        {STOPPED: "urgent"},
        {STOPPED: "no_power"},
        forbids=frozenset({"data_gap"}),
    ),
    Situation(
        "immersion-in-the-unit's-stead",
        "the compressor is dead for a week, heaters carry house and cylinder",
        _immersion_in_its_stead,
        {STOPPED: "act"},
        forbids=frozenset({"immersion_use"}),
    ),
    Situation(
        "circuit-goes-cold",
        "a sound circuit goes cold with a unit that stands",
        _circuit_goes_cold,
        forbids=frozenset({FALLING}),
    ),
    Situation(
        "vessel-blew-off",
        "an empty vessel whose relief valve has let out water",
        _vessel_blew_off,
        {SWINGS: "watch"},
        {SWINGS: "vessel_empty"},
    ),
    Situation(
        "stove-on-the-cylinder",
        "a stove holds the cylinder near 90 °C",
        _stove_on_the_cylinder,
        {HOT: "urgent"},
        {HOT: "other_source"},
        forbids=frozenset({"unit_mismatch"}),
    ),
    Situation(
        "absence-never-ended",
        "the rooms are set to 12 °C for three weeks: the water is as cool as it goes",
        _long_absence,
        forbids=frozenset({"no_weather_compensation"}),
    ),
    Situation(
        "cold-sensor-half-full-cylinder",
        "the heat meter sees the heating alone; the cylinder is never emptied",
        _half_empty,
        {MISPLACED: "watch"},
        forbids=frozenset({"hot_water_shortfall"}),
    ),
]
