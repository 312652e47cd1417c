"""Situations of water that is too hot, lukewarm, or at a wrong pressure, and of healthy plants that look
alike."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.situations.case import Situation
from tests.situations.wet import METERED, Floats, Wet

HOT, LACKING, MISSED = "water_too_hot", "disinfection_lacking", "pasteurisation_missed"
HIGH, SWINGS, FALLING, LOW = "pressure_high", "pressure_swings", "pressure_falling", "pressure_low"
SLOW, SHORT, LEAK, LOSS = "slow_reheat", "reheat_incomplete", "diverter_passing", "high_standing_loss"
SAFE = frozenset({HOT, LACKING, MISSED, HIGH, SWINGS, FALLING, LOW})
UNMETERED = tuple(p for p in METERED if p != "immersion")
NONE = {"disinfect_c": None, "planned_c": None}


# ---- what is done to the water


def _stuck(level_c: float) -> Wet:
    """The disinfection programme does not end: the immersion heater holds the cylinder at a level."""
    return Wet(disinfect_c=level_c, hold_min=60 * 24 * 40, planned_c=60.0)


def _solar(wet: Wet) -> None:
    """Fine weather on a solar coil whose limit is broken; the unit is off, nobody is at home."""
    wet.on[:] = False
    wet.draws[:] = 0.3
    day = np.clip(np.sin((wet.minute - 420) / 780.0 * np.pi), 0.0, 1.0) * wet.hours(7, 20)
    wet.source[:] = 2600.0 * day


def _hidden_heater(level_c: float) -> Wet:
    """An immersion heater that nobody meters, on a thermostat of its own."""
    return Wet(points=UNMETERED, disinfect_c=level_c, hold_min=60 * 24 * 40, planned_c=None)


def _jumping(wet: Wet, tank: Floats) -> Floats:
    shown = tank.copy()
    for at in range(300, len(shown), 517):
        shown[at : at + 14] = 92.0
    return shown


def _one_spike(wet: Wet, tank: Floats) -> Floats:
    shown = tank.copy()
    shown[20_000:20_003] = 95.0
    return shown


def _absence(wet: Wet) -> None:
    gone = (wet.day >= 10) & (wet.day < 20)
    wet.on[gone] = False
    wet.draws[gone] = 0.0


def _leaking(
    litres_a_week: float, top_ups: tuple[float, ...] = (), top_up_l: float = 0.0, until: float = 1e9
) -> Wet:
    def change(wet: Wet) -> None:
        wet.fill[:] = np.where(wet.day < until, -litres_a_week / 10_080.0, 0.0)
        for day in top_ups:
            wet.fill[int((day + 1) * 1440)] = top_up_l

    return Wet(days=56, change=change)


def _filling(litres_a_week: float) -> Wet:
    def change(wet: Wet) -> None:
        wet.fill[wet.day >= 6] = litres_a_week / 10_080.0

    return Wet(change=change)


def _one_top_up(wet: Wet) -> None:
    wet.fill[20 * 1440] = 1.5


def _set_back(wet: Wet) -> None:
    wet.heats[wet.hours(0, 6) | wet.hours(22, 24)] = False


def _was_hot(wet: Wet, tank: Floats) -> Floats:
    return np.where((wet.day >= 5) & (wet.day < 7), np.maximum(tank, 78.0), tank)


def _hardly_drawn(wet: Wet) -> None:
    wet.draws[:] = 0.05


def _by_the_clock(wet: Wet) -> None:
    wet.stir[wet.hours(6, 22)] = 5.0


def _small_draws(wet: Wet) -> None:
    wet.draws[:] = 1.0
    wet.source[wet.hours(8, 21) & (wet.minute % 47 < 2)] = -9000.0


def _drawn_while_charged(wet: Wet) -> None:
    """Water is drawn in the mornings and evenings alone, and all through the charges that it calls for."""
    wet.draws[:] = 0.0
    rng = np.random.default_rng(3)
    watts = np.repeat(rng.uniform(1500.0, 4500.0, len(wet.source) // 10 + 1), 10)[: len(wet.source)]
    often = wet.hours(6, 8) | wet.hours(19, 21)
    wet.source[often] = -watts[often]


def _snap(wet: Wet) -> None:
    """Most of the days are colder than the design."""
    wet.outdoor[wet.day >= 4] -= 13.0


SITUATIONS = [
    # ---- scalding
    Situation(
        "disinfection-stuck-at-70",
        "the disinfection programme does not end, the immersion heater holds 70 °C",
        lambda: _stuck(70.0).made(),
        {HOT: "watch"},
        {HOT: "disinfection_stuck"},
    ),
    Situation(
        "disinfection-stuck-at-60",
        "the weekly disinfection does not end: 60 °C held day and night",
        lambda: _stuck(60.5).made(),
        {HOT: "watch"},
        {HOT: "disinfection_stuck"},
    ),
    Situation(
        "disinfection-held-for-two-hours",
        "a weekly disinfection at 60 °C that is held for two hours",
        lambda: Wet(disinfect_c=61.0, hold_min=120, planned_c=60.0).made(),
        forbids=frozenset({HOT}),
    ),
    Situation(
        "disinfection-held-and-nobody-draws",
        "the same while hardly any water is drawn: it stays hot for most of a day",
        lambda: Wet(disinfect_c=61.0, hold_min=120, planned_c=60.0, change=_hardly_drawn).made(),
        forbids=frozenset({HOT}),
    ),
    Situation(
        "disinfection-stuck-at-78",
        "the same at 78 °C: its thermostat has failed",
        lambda: _stuck(78.0).made(),
        {HOT: "act"},
        {HOT: "disinfection_stuck"},
    ),
    Situation(
        "solar-coil-boils",
        "a solar coil heats the cylinder beyond 85 °C, the unit is off",
        lambda: Wet(days=14, mean_c=18.0, change=_solar, **NONE).made(),
        {HOT: "urgent"},
        {HOT: "other_source"},
    ),
    Situation(
        "hidden-heater-at-80",
        "an immersion heater that nobody meters holds 80 °C",
        lambda: _hidden_heater(80.0).made(),
        {HOT: "act"},
        {HOT: "other_source"},
    ),
    Situation(
        "hidden-heater-at-68", "the same at 68 °C", lambda: _hidden_heater(68.0).made(), {HOT: "watch"}
    ),
    Situation(
        "tank-sensor-jumps",
        "the cylinder sensor jumps to 92 °C for minutes, twice a day and more",
        lambda: Wet(tank_shown=_jumping).made(),
        {HOT: "watch"},
        {HOT: "sensor_fault"},
    ),
    Situation(
        "disinfection-at-70-weekly",
        "a weekly disinfection at 70 °C as scheduled",
        lambda: Wet(disinfect_c=70.0, planned_c=70.0).made(),
        forbids=SAFE,
    ),
    Situation(
        "disinfection-at-70-and-nobody-draws",
        "the same while hardly any water is drawn: it stays hot for most of a day",
        lambda: Wet(disinfect_c=70.0, planned_c=70.0, change=_hardly_drawn).made(),
        forbids=frozenset({HOT}),
    ),
    Situation(
        "kept-at-62",
        "stored at 62 °C throughout, no schedule",
        lambda: Wet(setpoint_c=62.0, reheat_c=57.0, flow_limit_c=75.0, **NONE).made(),
        forbids=SAFE,
    ),
    Situation(
        "one-spike",
        "one reading of 95 °C for three minutes",
        lambda: Wet(tank_shown=_one_spike).made(),
        forbids=SAFE,
    ),
    Situation(
        "solar-kept-at-62",
        "a solar coil heats the cylinder to 62 °C in summer, as it should",
        lambda: Wet(days=21, mean_c=18.0, change=_solar, source_limit_c=62.0, **NONE).made(),
        forbids=frozenset({HOT}),
    ),
    Situation(
        "disinfection-stuck-quarter-hours",
        "the programme does not end at 78 °C; readings every 15 minutes",
        lambda: Wet(disinfect_c=78.0, hold_min=60 * 24 * 40, every=15).made(),
        {HOT: "act"},
        {HOT: "disinfection_stuck"},
    ),
    Situation(
        "scalded-three-weeks-ago",
        "78 °C for two days three weeks ago, since then as usual",
        lambda: Wet(tank_shown=_was_hot).made(),
        {HOT: "watch"},
    ),
    # ---- disinfection
    Situation("usual-weekly-run", "50 °C stored, 60 °C held each week", lambda: Wet().made(), silent=True),
    Situation(
        "fifty-five-with-weekly-hour",
        "55 °C stored, 60 °C held for an hour each week",
        lambda: Wet(setpoint_c=55.0, reheat_c=50.0, hold_min=60).made(),
        forbids=SAFE,
    ),
    Situation(
        "fifty-six-without-schedule",
        "56 °C stored, hardly ever below 50 °C, no schedule",
        lambda: Wet(setpoint_c=58.0, reheat_c=54.0, **NONE).made(),
        forbids=SAFE,
    ),
    Situation(
        "forty-eight-with-nothing",
        "48 °C stored, no disinfection at all",
        lambda: Wet(setpoint_c=48.0, reheat_c=42.0, **NONE).made(),
        {LACKING: "watch"},
        {LACKING: "none_scheduled"},
    ),
    Situation(
        "lukewarm-store",
        "42 °C stored to save money, no disinfection",
        lambda: Wet(setpoint_c=42.0, reheat_c=37.0, **NONE).made(),
        {LACKING: "act"},
        {LACKING: "none_scheduled"},
    ),
    Situation(
        "sixty-for-a-minute",
        "the weekly run touches 60 °C and is stirred cold at once",
        lambda: Wet(hold_min=1, stirred=True).made(),
        {MISSED: "watch", LACKING: "watch"},
        {LACKING: "setpoint_too_low"},
    ),
    Situation(
        "programme-at-fifty-five",
        "the programme is set to 55 °C and runs each week",
        lambda: Wet(setpoint_c=47.0, reheat_c=42.0, disinfect_c=55.0, planned_c=55.0).made(),
        {LACKING: "watch"},
        {LACKING: "setpoint_too_low"},
    ),
    Situation(
        "programme-off",
        "60 °C are scheduled each week, the programme is off",
        lambda: Wet(disinfect_c=None).made(),
        {MISSED: "act", LACKING: "watch"},
        {LACKING: "none_scheduled"},
    ),
    Situation(
        "seventy-for-minutes",
        "a weekly run to 70 °C, held for five minutes and stirred cold",
        lambda: Wet(disinfect_c=70.0, planned_c=70.0, hold_min=5, stirred=True).made(),
        forbids=SAFE,
    ),
    Situation(
        "lukewarm-in-an-absence",
        "hot water off for ten days away, weekly runs before and after",
        lambda: Wet(days=35, change=_absence).made(),
        forbids=frozenset({LACKING, HOT}),
    ),
    Situation(
        "no-tank-sensor",
        "no cylinder sensor and no schedule: nothing can be said",
        lambda: Wet(points=tuple(p for p in METERED if p != "tank"), **NONE).made(),
        forbids=SAFE,
    ),
    # ---- pressure
    Situation(
        "vessel-empty",
        "the expansion vessel has lost its charge",
        lambda: Wet(vessel_litres=1.2).made(),
        {SWINGS: "act"},
        {SWINGS: "vessel_empty", HIGH: "vessel_empty"},
    ),
    Situation(
        "vessel-a-bit-small",
        "the vessel is a size too small, and does",
        lambda: Wet(vessel_litres=8.0).made(),
        forbids=SAFE,
    ),
    Situation(
        "vessel-large", "a vessel of twice the size", lambda: Wet(vessel_litres=35.0).made(), forbids=SAFE
    ),
    Situation(
        "hot-radiators",
        "a combined circuit at 55 °C: a wide swing with a sound vessel",
        lambda: Wet(heating_c=55.0, vessel_litres=14.0).made(),
        forbids=SAFE,
    ),
    Situation(
        "filling-loop-drips",
        "the filling loop is not shut: a fifth of a litre a day",
        lambda: _filling(1.4).made(),
        {HIGH: "watch"},
        {HIGH: "filling_loop_open"},
    ),
    Situation(
        "filling-loop-open",
        "the filling loop stands open, the relief valve runs",
        lambda: _filling(60.0).made(),
        {HIGH: "act"},
        {HIGH: "filling_loop_open"},
    ),
    Situation(
        "topped-up-weekly",
        "a leak, topped up every week",
        lambda: _leaking(1.5, tuple(range(7, 56, 7)), 1.5).made(),
        {FALLING: "watch"},
    ),
    Situation(
        "topped-up-twice-a-week",
        "a larger leak, topped up every few days",
        lambda: _leaking(3.0, tuple(np.arange(3.5, 56.0, 3.5)), 1.5).made(),
        {FALLING: "act"},
    ),
    Situation(
        "slow-leak", "a third of a litre a week is lost", lambda: _leaking(0.35).made(), {FALLING: "watch"}
    ),
    Situation(
        "leak-mended",
        "a leak mended and topped up a month ago",
        lambda: _leaking(1.0, (28.0,), 4.0, until=28.0).made(),
        forbids=frozenset({FALLING, LOW}),
    ),
    Situation(
        "one-top-up",
        "topped up once, without a leak",
        lambda: Wet(days=42, change=_one_top_up).made(),
        forbids=SAFE,
    ),
    Situation(
        "coarse-gauge",
        "a sound circuit, its gauge shows tenths of a bar",
        lambda: Wet(gauge_bar=0.1).made(),
        forbids=SAFE,
    ),
    Situation(
        "set-back-mornings",
        "the heating rests by night and warms a cold circuit each morning",
        lambda: Wet(change=_set_back).made(),
        forbids=SAFE,
    ),
    Situation(
        "leak-coarse-gauge",
        "a litre a week is lost; the gauge shows tenths of a bar, read each quarter of an hour",
        lambda: replace(_leaking(1.0), gauge_bar=0.1, every=15).made(),
        {FALLING: "watch"},
    ),
    # ---- charges
    Situation(
        "twenty-two-minutes",
        "a small cylinder is charged in twenty minutes",
        lambda: Wet(litres=150.0, coil_w_per_k=420.0).made(),
        forbids=frozenset({SLOW}),
    ),
    Situation(
        "near-the-flow-limit",
        "52 °C asked for at a flow limit of 55 °C: the last kelvins take their time",
        lambda: Wet(setpoint_c=52.0, reheat_c=45.0, flow_limit_c=55.0).made(),
        forbids=frozenset({SLOW, SHORT, LEAK}),
    ),
    Situation(
        "beyond-the-flow-limit",
        "59 °C asked for at a flow limit of 55 °C",
        lambda: Wet(setpoint_c=59.0, reheat_c=50.0, flow_limit_c=55.0).made(),
        {SHORT: "watch"},
        {SHORT: "setpoint_above_reach"},
        forbids=frozenset({SLOW}),
    ),
    Situation(
        "scaled-coil",
        "the coil passes an eighth of what it should",
        lambda: Wet(coil_w_per_k=100.0).made(),
        {SLOW: "watch"},
        {SLOW: "coil_or_scale"},
    ),
    Situation(
        "diverter-leaks-while-charging",
        "30 % of each charge goes into the heating circuit",
        lambda: Wet(leak=0.3).made(),
        {LEAK: "watch"},
        forbids=frozenset({LOSS, SLOW}),
    ),
    # ---- cooling
    Situation(
        "poor-insulation",
        "the cylinder loses two and a half times what it should",
        lambda: Wet(loss_w_per_k=5.0).made(),
        {LOSS: "watch"},
        {LOSS: "insulation"},
        forbids=frozenset({LEAK}),
    ),
    Situation(
        "poor-insulation-in-a-cold-snap",
        "the same, and colder than the design on most days",
        lambda: Wet(loss_w_per_k=5.0, change=_snap).made(),
        {LOSS: "watch"},
    ),
    Situation(
        "circulation-by-the-clock",
        "a circulation pump runs from six to ten",
        lambda: Wet(change=_by_the_clock).made(),
        {LOSS: "watch"},
        {LOSS: "secondary_circulation"},
    ),
    Situation(
        "drawn-while-charged",
        "every charge overlaps a draw; the diverter is tight",
        lambda: Wet(change=_drawn_while_charged).made(),
        forbids=frozenset({LOSS, LEAK}),
    ),
    Situation(
        "diverter-leaks-and-water-is-drawn",
        "30 % of each charge goes into the heating circuit, and water is drawn meanwhile",
        lambda: Wet(leak=0.3, change=_drawn_while_charged).made(),
        {LEAK: "watch"},
        forbids=frozenset({LOSS}),
    ),
    Situation(
        "small-draws-all-day",
        "a little water is drawn every three quarters of an hour",
        lambda: Wet(change=_small_draws).made(),
        forbids=frozenset({LOSS, LEAK}),
    ),
]
