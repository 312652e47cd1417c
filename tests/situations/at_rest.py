"""Healthy houses that look as if their unit had stopped, and must have no finding."""

from __future__ import annotations

from datetime import date

import numpy as np

from tests.situations.case import Situation
from tests.situations.house import USUAL, House
from tests.situations.stopped import ELECTRIC, RICH, STOPPED, changed, register_only

QUIET = frozenset({STOPPED, "fault_reported", "short_cycling", "backup_heater_use"})


def _holiday(house: House) -> None:
    house.target[house.between(4)] = 15.0
    house.reheats[house.between(4)] = False
    house.draws[house.between(4)] = False


def _fault_passed(house: House) -> None:
    house.fault[house.between(5.0, 5.01)] = "H62"


def _no_fault_words(house: House) -> None:
    words = ["OK", "none", "---", "0", "No Fault", ""]
    house.fault[:] = np.array(words, dtype=object)[np.arange(len(house.fault)) // 3000 % len(words)]


def _stove(house: House) -> None:
    span = house.between(3) & house.hours(6, 22)
    house.stove[span] = 5200.0
    house.cutoff_c = 16.0


def _lock(house: House) -> None:
    house.free[house.hours(17, 19.5)] = False


def _supply_lock(house: House) -> None:
    house.supply[house.hours(17, 19.5)] = False


def _setback(house: House) -> None:
    house.target[house.hours(0, 6) | house.hours(22, 24)] = 16.0


def _service(house: House) -> None:
    house.supply[house.between(6.4, 6.6)] = False


def _warm_spell(house: House) -> None:
    span = house.between(5)
    house.outdoor[span] += 13.0
    house.stove[span] = 800.0


def _gap(house: House) -> None:
    house.sent[house.between(6.0, 8.0)] = False


SITUATIONS = [
    Situation(
        "healthy-winter",
        "the unit heats the house in winter as it should",
        lambda: House().made(),
        silent=True,
    ),
    Situation(
        "healthy-rich",
        "the same with all meters",
        lambda: House(points=RICH, mean_c=6.0).made(),
        forbids=QUIET,
    ),
    Situation(
        "healthy-summer",
        "hot water only in summer",
        lambda: House(first=date(2026, 7, 1), mean_c=19.0, start_room_c=23.0).made(),
        forbids=QUIET,
    ),
    Situation(
        "summer-electricity-only",
        "hot water only in summer; electricity and outdoor alone",
        lambda: House(first=date(2026, 7, 1), mean_c=17.0, points=ELECTRIC).made(),
        forbids=QUIET,
    ),
    Situation(
        "warm-spell",
        "16 °C for five January days: no heat needed",
        lambda: changed(House(), _warm_spell),
        forbids=QUIET,
    ),
    Situation(
        "warm-spell-electricity",
        "the same with electricity and outdoor alone",
        lambda: changed(House(points=ELECTRIC), _warm_spell),
        forbids=QUIET,
    ),
    Situation(
        "holiday",
        "on holiday, 15 °C asked for and held",
        lambda: changed(House(days=14), _holiday),
        forbids=QUIET,
    ),
    Situation(
        "deep-set-back",
        "16 °C asked for by night",
        lambda: changed(House(mean_c=1.0), _setback),
        forbids=QUIET,
    ),
    Situation(
        "set-back-few-meters",
        "16 °C asked for by night, no target metered; the data end before the morning",
        lambda: changed(House(mean_c=1.0, points=("elec", "outdoor", "room", "flow")), _setback, 9.22),
        forbids=QUIET,
    ),
    Situation(
        "first-set-back-few-meters",
        "the same in the first night that is seen",
        lambda: changed(
            House(mean_c=1.0, days=2, points=("elec", "outdoor", "room", "flow")), _setback, 1.22
        ),
        forbids=QUIET,
    ),
    Situation(
        "supply-lock",
        "the tariff cuts the unit's supply from 17 to 19:30 each day; the data end within",
        lambda: changed(House(points=RICH, mean_c=1.0), _supply_lock, 9.80),
        forbids=QUIET,
    ),
    Situation(
        "tariff-lock",
        "the tariff locks the unit from 17 to 19:30 each day; the data end within the lock",
        lambda: changed(House(points=RICH, mean_c=1.0), _lock, 9.80),
        forbids=QUIET,
    ),
    Situation(
        "first-tariff-lock",
        "the same on the very first day",
        lambda: changed(House(points=RICH, days=1), _lock, 0.80),
        forbids=QUIET,
    ),
    Situation(
        "service-day",
        "without supply for five working hours",
        lambda: changed(House(), _service),
        forbids=QUIET,
    ),
    Situation(
        "tight-house",
        "a tight house that needs no heat at 10 °C",
        lambda: House(mean_c=10.0, loss_w_per_k=60.0, cutoff_c=7.0, start_room_c=21.5).made(),
        forbids=QUIET,
    ),
    Situation(
        "stove",
        "a stove keeps the rooms warm by day",
        lambda: changed(House(mean_c=4.0), _stove),
        forbids=QUIET,
    ),
    Situation(
        "gateway-silent",
        "the gateway sent nothing for two days",
        lambda: changed(House(), _gap),
        forbids=QUIET,
    ),
    Situation(
        "gateway-silent-now",
        "the gateway stopped a day ago",
        lambda: changed(House(), lambda h: h.sent.__setitem__(h.between(9.0), False)),
        forbids=QUIET,
    ),
    Situation(
        "register-of-kilowatt-hours",
        "a register of whole kilowatt hours, read each minute",
        lambda: register_only(12, 1, 1.0, None),
        forbids=QUIET,
    ),
    Situation(
        "power-and-register",
        "power and a register of 0.01 kWh every five minutes; the unit paused 30 minutes ago",
        lambda: House(points=(*USUAL, "elec_kwh"), every=5, steps={"elec_kwh": 0.01}, mean_c=-2.0).made(9.31),
        forbids=QUIET,
    ),
    Situation(
        "register-of-tenths",
        "a register of tenths read every quarter of an hour",
        lambda: register_only(12, 15, 0.1, None),
        forbids=QUIET,
    ),
    Situation(
        "register-daily",
        "a register read once a day",
        lambda: register_only(20, 1440, 1.0, None),
        forbids=QUIET,
    ),
    Situation(
        "satisfied-afternoon",
        "14 °C on a sunny afternoon, the house needs nothing for hours",
        lambda: changed(
            House(points=RICH, mean_c=10.0), lambda h: h.stove.__setitem__(h.hours(10, 17), 3000.0), 9.68
        ),
        forbids=QUIET,
    ),
    Situation(
        "no-fault-words",
        "the unit says OK, none, --- and 0",
        lambda: changed(House(points=RICH), _no_fault_words),
        forbids=QUIET,
    ),
    Situation(
        "fault-passed",
        "one message for a quarter of an hour five days ago; the unit ran on",
        lambda: changed(House(points=RICH), _fault_passed),
        forbids=QUIET,
    ),
]
