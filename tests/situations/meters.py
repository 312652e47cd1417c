"""Situations of misplaced meters, coarse registers and broken sensors, and healthy look-alikes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.readings import Readings, Samples
from tests.situations.case import Made, Situation
from tests.situations.house import USUAL, House

Floats = NDArray[np.float64]
FEW = ("elec_kwh", "heat_kwh", "outdoor")
# The unit's own efficiency in the house of these situations: 42 % of Carnot eight kelvin beyond the air.
RATING = "".join(
    f"[[heat_pump.rating]]\noutdoor_c = {air}\nflow_c = {water}\noutput_kw = 8.0\ncop = {cop}\n"
    for air, water, cop in ((7.0, 35.0, 3.62), (2.0, 35.0, 3.18), (-7.0, 35.0, 2.60), (7.0, 55.0, 2.48))
)
MISPLACED = "meter_misplaced"
ABOUT_METERS = frozenset(
    {
        MISPLACED,
        "heat_meter_disagrees",
        "implausible_efficiency",
        "clock_offset",
        "unit_mismatch",
        "sensor_stuck",
        "flow_return_swapped",
    }
)
CYCLES = frozenset(
    {"short_cycling", "excessive_defrost", "defrost_without_frost", "sensor_stuck", "clock_offset"}
)


def _house(days: int = 16, points: tuple[str, ...] = USUAL, **more: object) -> House:
    return House(days=days, points=points, extra=RATING, **more)  # type: ignore[arg-type]


def _changed(house: House, change: Callable[[House, dict[str, Floats]], None], text: str = "") -> Made:
    """The house's readings as minutes, changed; registers follow the changed powers."""
    made = house.made()
    time = {name: s.time for name, s in made.readings.items()}
    value = {name: np.array(s.value, dtype=np.float64) for name, s in made.readings.items()}
    change(house, value)
    readings: Readings = {name: Samples(time[name], v) for name, v in value.items()}
    return replace(made, readings=readings, site_text=made.site_text + text)


def _scaled(use: float | None, factor: float) -> Callable[[House, dict[str, Floats]], None]:
    """Heat times a factor in the minutes of one use (None: all)."""

    def change(house: House, value: dict[str, Floats]) -> None:
        mine = value["mode"] == use if use is not None else np.ones(len(value["heat"]), dtype=bool)
        value["heat"] = np.where(mine, value["heat"] * factor, value["heat"])

    return change


def _register_times(name: str, factor: float) -> Callable[[House, dict[str, Floats]], None]:
    def change(house: House, value: dict[str, Floats]) -> None:
        value[name] = 100.0 + (value[name] - value[name][0]) * factor

    return change


def _with_heater(seen: bool, declared: bool) -> Made:
    """A back-up heater of 3 kW that helps for an hour each evening and each morning."""
    house = _house(points=(*USUAL, "backup"), mean_c=-2.0)
    on = house.hours(17.0, 18.0) | house.hours(6.0, 7.0)
    house.backup[on] = 3000.0

    def change(house: House, value: dict[str, Floats]) -> None:
        if seen:
            value["heat"] = value["heat"] + value["backup"]

    made = _changed(house, change)
    if declared:
        text = made.site_text.replace('id = "heat"\n', 'id = "heat"\nincludes = ["backup_heater"]\n')
        made = replace(made, site_text=text)
    return made


def _other_circuit(house: House, value: dict[str, Floats]) -> None:
    """The clamp sits on the kitchen's circuit."""
    minute, rng = house.minute[-len(value["elec"]) :], np.random.default_rng(7)
    meals = ((minute > 1020) & (minute < 1110)) | ((minute > 690) & (minute < 740))
    value["elec"] = (
        260.0 + 120.0 * np.sin(minute / 35.0) + 1700.0 * meals + 40.0 * rng.standard_normal(len(minute))
    )


def _other_load(house: House, value: dict[str, Floats]) -> None:
    """A car is charged on the same meter for three hours of every night."""
    minute = house.minute[-len(value["elec"]) :]
    value["elec"] = value["elec"] + 2300.0 * ((minute > 60) & (minute < 240))


def _crankcase(house: House, value: dict[str, Floats]) -> None:
    """A crankcase heater of 35 W while the unit rests: usual."""
    value["elec"] = np.where(value["elec"] < 50.0, value["elec"] + 35.0, value["elec"])


def _immersion_only() -> Made:
    """The cylinder is heated by its immersion heater alone, which has a meter; the unit heats the house."""
    house = _house(points=(*USUAL, "immersion"))
    house.reheats[:] = False
    house.immersion[house.hours(2.0, 4.2)] = 2500.0
    return house.made()


def _cold_sensor(steady: bool) -> Made:
    """The outdoor sensor fails for a week; from then on nobody reheats the cylinder."""
    house = _house(days=28)
    house.reheats[house.between(9.0, 15.0)] = False

    def change(house: House, value: dict[str, Floats]) -> None:
        bad = house.between(8.0, 15.0)[-len(value["outdoor"]) :]
        failed = -40.0 + (0.0 if steady else 0.4) * np.sin(np.arange(len(bad)) / 3.0)
        value["outdoor"] = np.where(bad, failed, value["outdoor"])

    return _changed(house, change)


def _loose_cable(house: House, value: dict[str, Floats]) -> None:
    """Now and then the outdoor sensor reads -50 for a minute."""
    value["outdoor"][::173] = -50.0


def _late(*names: str, minutes: int) -> Callable[[House, dict[str, Floats]], None]:
    def change(house: House, value: dict[str, Floats]) -> None:
        for name in names:
            value[name] = np.concatenate((np.repeat(value[name][0], minutes), value[name][:-minutes]))

    return change


def _cooling_summer(net: bool) -> Made:
    """Warm weeks: the unit makes hot water, and cools the house in the afternoon."""
    house = _house(days=20, first=date(2026, 7, 6), mean_c=22.0, start_room_c=23.0)

    def change(house: House, value: dict[str, Floats]) -> None:
        minute = house.minute[-len(value["elec"]) :]
        cools = (minute > 720) & (minute < 1020) & (value["mode"] == 0.0)
        value["mode"] = np.where(cools, 4.0, value["mode"])
        value["elec"] = np.where(cools, 900.0, value["elec"])
        value["heat"] = np.where(cools, -3200.0 if net else 0.0, value["heat"])
        value["rate"] = np.where(cools, 1.0, value["rate"])
        value["return"] = np.where(cools, 20.0 + 0.02 * np.sin(minute), value["return"])
        value["flow"] = np.where(cools, 17.2 + 0.02 * np.cos(minute), value["flow"])
        # What is measured of the rooms, and of a house that is not heated.
        value["room"] = 23.0 + 0.8 * np.sin((minute - 600) / 229.0)

    return _changed(house, change)


def _stove(evenings: bool) -> Made:
    """A stove is lit on most evenings; nobody meters it."""
    house = _house(days=40, mean_c=2.0)
    if evenings:
        day = ((house.time - house.time[0]) // 86_400_000).astype(int)
        house.stove[house.hours(17.5, 22.5) & (day % 5 != 0)] = 7500.0
    return house.made()


def _cylinder_by_sun() -> Made:
    """A solar collector heats the cylinder at noon on most days."""
    house = _house(days=24, mean_c=8.0)
    house.immersion[house.hours(11.0, 14.0)] = 2200.0
    return house.made()


def _hourly_means(house: House, value: dict[str, Floats]) -> None:
    """The logger keeps hourly means, of flow rate and temperatures too."""
    for name in ("flow", "return", "rate"):
        v = value[name][: len(value[name]) // 60 * 60].reshape(-1, 60)
        value[name][: v.size] = np.repeat(v.mean(axis=1), 60)


def _hourly() -> Made:
    made = _changed(_house(days=20), _hourly_means)
    readings = dict(made.readings)
    for name in ("flow", "return", "rate"):
        s = readings[name]
        readings[name] = Samples(s.time[::60], s.value[::60])
    return replace(made, readings=readings)


def _forward_only(house: House, value: dict[str, Floats]) -> None:
    """Six defrosts of five minutes a day; the heat meter counts no heat that flows back."""
    minute = house.minute[-len(value["elec"]) :]
    melts = (minute % 240 < 5) & (value["mode"] == 1.0)
    value["mode"] = np.where(melts, 3.0, value["mode"])
    value["heat"] = np.where(melts, 0.0, value["heat"])
    flow = value["flow"].copy()
    value["flow"] = np.where(melts, value["return"] - 4.0, flow)
    value["elec"] = np.where(melts, 700.0, value["elec"])


def _coarse(elec: float, heat: float, points: tuple[str, ...] = FEW, every: int = 1) -> Made:
    house = _house(days=24, points=points, steps={"elec_kwh": elec, "heat_kwh": heat}, every=every)
    return house.made()


UNDISINFECTED = frozenset({"disinfection_lacking"})
"""The test house keeps its cylinder at 50 °C and has no disinfection: true of every long situation with
it."""

SITUATIONS = [
    Situation(
        "heat-meter-in-the-heating-branch",
        "the heat meter sits behind the diverter, in the heating branch",
        lambda: _changed(_house(), _scaled(2.0, 0.0)),
        {MISPLACED: "watch"},
        {MISPLACED: "one_branch_only"},
    ),
    Situation(
        "heat-meter-in-the-cylinder-branch",
        "the heat meter sits in the cylinder's branch",
        lambda: _changed(_house(), _scaled(1.0, 0.0)),
        {MISPLACED: "watch"},
        {MISPLACED: "one_branch_only"},
    ),
    Situation(
        "second-circuit-unmetered",
        "half of the heating water passes the heat meter by",
        lambda: _changed(_house(days=24), _scaled(1.0, 0.5)),
        {MISPLACED: "watch"},
        {MISPLACED: "one_branch_only"},
    ),
    Situation(
        "immersion-heats-the-cylinder",
        "the unit makes no hot water: a metered immersion heater does",
        _immersion_only,
        forbids=frozenset({MISPLACED, "implausible_efficiency", "heat_meter_disagrees"}),
    ),
    Situation(
        "heat-meter-behind-heater",
        "the heat meter sits behind the in-line heater; the site file does not say so",
        lambda: _with_heater(seen=True, declared=False),
        {MISPLACED: "watch"},
        {MISPLACED: "behind_heater"},
    ),
    Situation(
        "heat-meter-behind-heater-declared",
        "the heat meter sits behind the in-line heater, as the site file says",
        lambda: _with_heater(seen=True, declared=True),
        forbids=ABOUT_METERS,
    ),
    Situation(
        "heat-meter-before-heater",
        "the heat meter sits before the in-line heater, as usual",
        lambda: _with_heater(seen=False, declared=False),
        forbids=ABOUT_METERS,
    ),
    Situation(
        "heat-meter-wrongly-declared",
        "the site file says behind the heater; the meter sits before it",
        lambda: _with_heater(seen=False, declared=True),
        {MISPLACED: "watch"},
        {MISPLACED: "behind_heater"},
    ),
    Situation(
        "clamp-on-the-kitchen",
        "the electricity clamp sits on the kitchen's circuit",
        lambda: _changed(_house(), _other_circuit),
        {MISPLACED: "act"},
        {MISPLACED: "other_circuit"},
    ),
    Situation(
        "car-on-the-meter",
        "a car is charged on the heat pump's meter",
        lambda: _changed(_house(), _other_load),
        {MISPLACED: "watch"},
        {MISPLACED: "other_load_inside"},
    ),
    Situation(
        "crankcase-heater",
        "healthy: a crankcase heater draws 35 W at rest",
        lambda: _changed(_house(), _crankcase),
        forbids=ABOUT_METERS,
    ),
    Situation(
        "all-meters-right",
        "healthy, every meter in its place",
        lambda: _house().made(),
        silent=True,
        allows=UNDISINFECTED,
    ),
    Situation(
        "heat-pulse-tenfold",
        "two registers alone; the heat meter's pulse value is ten times too high",
        lambda: _changed(_house(points=FEW), _register_times("heat_kwh", 10.0)),
        {MISPLACED: "watch"},
        {MISPLACED: "pulse_value"},
    ),
    Situation(
        "electricity-pulse-half",
        "every meter there; the electricity meter's pulse value is half of the true one",
        lambda: _changed(_house(), lambda house, value: value.__setitem__("elec", value["elec"] * 0.5)),
        {MISPLACED: "watch"},
        {MISPLACED: "pulse_value"},
    ),
    Situation(
        "heat-pulse-2.5",
        "the heat meter's pulse value is 2.5 times too high; flow and temperatures are right",
        lambda: _changed(_house(), _scaled(None, 2.5)),
        {MISPLACED: "act"},
        {MISPLACED: "pulse_value"},
    ),
    Situation(
        "two-registers-right", "healthy, two registers alone", lambda: _coarse(0.001, 0.001), silent=True
    ),
    Situation(
        "heat-in-whole-kwh",
        "healthy; the heat register counts whole kWh, the electricity in hundredths",
        lambda: _coarse(0.01, 1.0),
        forbids=CYCLES | ABOUT_METERS,
    ),
    Situation(
        "both-in-whole-kwh",
        "healthy; both registers count whole kWh",
        lambda: _coarse(1.0, 1.0, (*FEW, "room", "tank")),
        forbids=CYCLES | ABOUT_METERS,
    ),
    Situation(
        "both-in-tenths",
        "healthy; both registers count tenths of a kWh, read each minute",
        lambda: _coarse(0.1, 0.1),
        forbids=CYCLES | ABOUT_METERS,
    ),
    Situation(
        "whole-kwh-beside-the-mode",
        "healthy; whole kWh beside the unit's own word",
        lambda: _coarse(1.0, 1.0, (*FEW, "mode", "flow", "return")),
        forbids=CYCLES | ABOUT_METERS,
    ),
    Situation(
        "outdoor-at-minus-40",
        "the outdoor sensor shows -40 °C for a week, and the cylinder is cold for six days in it",
        lambda: _cold_sensor(steady=True),
        {"hot_water_shortfall": "note"},
        forbids=frozenset({"capacity_short", "room_below_target"}),
    ),
    Situation(
        "outdoor-about-minus-40",
        "the same with a reading that trembles",
        lambda: _cold_sensor(steady=False),
        {"hot_water_shortfall": "note"},
        forbids=frozenset({"capacity_short", "room_below_target"}),
    ),
    Situation(
        "loose-outdoor-cable",
        "healthy but for single outdoor readings of -50 °C",
        lambda: _changed(_house(), _loose_cable),
        silent=True,
        allows=UNDISINFECTED,
    ),
    Situation(
        "cooling-summer",
        "healthy: hot water and cooling in summer",
        lambda: _cooling_summer(net=True),
        forbids=ABOUT_METERS
        | {"heating_out_of_season", "efficiency_below_expected", "short_cycling", "low_flow"},
    ),
    Situation(
        "cooling-uncounted",
        "healthy: cooling in summer, and a heat meter that counts no cold",
        lambda: _cooling_summer(net=False),
        forbids=ABOUT_METERS | {"heating_out_of_season", "efficiency_below_expected", "short_cycling"},
    ),
    Situation(
        "stove-in-the-evening",
        "a stove that nobody meters on most evenings",
        lambda: _stove(True),
        forbids=ABOUT_METERS | {"heat_loss_below_design"},
    ),
    Situation(
        "no-stove", "the same house without a stove", lambda: _stove(False), silent=True, allows=UNDISINFECTED
    ),
    Situation(
        "solar-cylinder",
        "a solar collector heats the cylinder at noon",
        _cylinder_by_sun,
        forbids=ABOUT_METERS | {"high_standing_loss", "diverter_passing"},
    ),
    Situation(
        "heat-clock-9-minutes",
        "the heat meter's clock is nine minutes late",
        lambda: _changed(_house(), _late("heat", minutes=9)),
        {"clock_offset": "watch"},
    ),
    Situation(
        "electricity-clock-6-minutes",
        "the electricity meter's clock is six minutes late",
        lambda: _changed(_house(), _late("elec", minutes=6)),
        {"clock_offset": "watch"},
    ),
    Situation(
        "water-two-minutes-late",
        "healthy: water takes two minutes to the heat meter",
        lambda: _changed(_house(), _late("heat", "flow", "return", minutes=2)),
        forbids=ABOUT_METERS,
    ),
    Situation(
        "hourly-means", "healthy: flow rate and temperatures as hourly means", _hourly, forbids=ABOUT_METERS
    ),
    Situation(
        "forward-only-heat-meter",
        "healthy: defrosts, and a heat meter that counts no heat flowing back",
        lambda: _changed(_house(mean_c=0.0), _forward_only),
        forbids=ABOUT_METERS,
    ),
]
