"""Situations of controls, valves and pumps: unlisted faults, and healthy houses that look similar."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from fieldfare.analysis.readings import Samples
from tests.situations.case import Made, Situation
from tests.situations.house import USUAL, House
from tests.situations.meters import RATING
from tests.situations.stopped import RICH, STOPPED
from tests.situations.wet import Wet

TROUBLE = frozenset({"watch", "act", "urgent"})
GRAVE = frozenset({"act", "urgent"})
CALM = frozenset({"in_order", "not_known"})
NOT_FINE = TROUBLE | {"not_known"}
COLD_ROOMS = frozenset({"room_below_target", "unit_stopped"})
NO_WATER = frozenset({"hot_water_shortfall", "unit_stopped", "reheat_incomplete"})
NONE: dict[str, Any] = {"disinfect_c": None, "planned_c": None, "setpoint_c": 60.0, "reheat_c": 52.0}


def house(days: int = 14, points: tuple[str, ...] = RICH, **more: Any) -> House:
    """A healthy house with hot enough stored water, before a fault is added."""
    return House(days=days, points=points, extra=RATING, setpoint_c=60.0, reheat_c=52.0, **more)


def _pump_dead(home: House, since: float = 9.0) -> Made:
    home.pumps[home.between(since)] = False
    return home.made()


def _valve(position: int, home: House, since: float = 8.0) -> Made:
    home.valve[home.between(since)] = position
    return home.made()


def _cools(home: House, since: float = 10.0) -> Made:
    home.cools[home.between(since)] = True
    home.reheats[:] = "tank" in home.points
    return home.made()


def _emergency(home: House) -> Made:
    """Switched to emergency operation three weeks ago and forgotten: direct heaters do all the work."""
    home.free[:] = False
    home.backup[:] = 6000.0
    home.immersion[home.hours(3, 5)] = 2500.0
    return home.made()


def _battery_dead(home: House, silent: bool) -> Made:
    """The room thermostat's battery dies: its last words stay, or it falls silent; nothing calls for heat."""
    home.heats[home.between(8.0)] = False
    made = home.made()
    stop = int(home.time[home.between(8.0)][0])
    own = {}
    for point in ("room", "target", "call"):
        s = made.readings[point]
        kept, gone = s.between(0, stop), s.between(stop, 1 << 62)
        frozen = np.full(len(gone.time), 0.0 if point == "call" else kept.value[-1])
        own[point] = kept if silent else Samples(s.time, np.concatenate((kept.value, frozen)))
    return replace(made, readings=made.readings | own)


def _sun_on_the_sensor(home: House) -> Made:
    """The room sensor stands in the sun: five kelvin too high around noon, by day after day."""
    made = home.made()
    room = made.readings["room"]
    minute = (room.time // 60_000) % 1440
    extra = (
        5.0 * np.clip(np.sin((minute - 600) / 300.0 * np.pi), 0.0, 1.0) * ((minute > 600) & (minute < 900))
    )
    return replace(made, readings=made.readings | {"room": Samples(room.time, room.value + extra)})


def _stays_at_fourteen(points: tuple[str, ...]) -> Made:
    """Half of the emitters are shut: the unit runs and the rooms stay at 14 °C."""
    home = house(points=points, loss_w_per_k=420.0, start_room_c=14.0, mean_c=-1.0)
    return home.made()


def _overheated() -> Made:
    """The thermostat is bridged and the curve too high for the house: the rooms stay near 25 °C."""
    return house(days=21, by_room=False, loss_w_per_k=150.0, start_room_c=24.0, mean_c=1.0).made()


def _frost_protection(home: House) -> Made:
    """A week away with 8 °C asked for and no hot water: the unit has nothing to do, and is fit."""
    span = home.between(6.0)
    home.target[span] = 8.0
    home.reheats[span] = False
    home.draws[span] = False
    return home.made()


def _power_cut(home: House, all_silent: bool) -> Made:
    """The street is without power for two hours of a winter evening."""
    span = home.between(10.75, 10.75 + 2.0 / 24.0)
    home.supply[span] = False
    if all_silent:
        home.sent[span] = False
    return home.made()


def _mode_says_heating(home: House) -> Made:
    """The compressor is dead; the unit goes on saying that it heats. Nobody meters electricity or heat."""
    span = home.between(9.0)
    home.free[span] = False
    made = home.made()
    mode = made.readings["mode"]
    stop = int(home.time[span][0])
    value = np.where(mode.time >= stop, 1.0, mode.value)
    return replace(made, readings=made.readings | {"mode": Samples(mode.time, value)})


def _frozen_speed(home: House) -> Made:
    """The compressor is dead; the last speed stays in the gateway's memory."""
    span = home.between(9.0)
    home.free[span] = False
    made = home.made()
    speed = made.readings["speed"]
    stop = int(home.time[span][0])
    value = np.where(speed.time >= stop, 45.0, speed.value)
    return replace(made, readings=made.readings | {"speed": Samples(speed.time, value)})


def _night_lock_outs(home: House) -> Made:
    """Each night from two to seven the unit locks out and comes back by itself: rooms are cold till noon."""
    home.free[home.hours(1.0, 8.0) & home.between(4.0)] = False
    return home.made()


def _sunny_with_flow() -> Made:
    """Sun in the rooms from ten on: the unit rests for hours and its water cools below any usual start."""
    home = House(days=9, mean_c=3.0, points=("elec", "outdoor", "room", "flow"))
    home.stove[home.between(8.0) & home.hours(10.0, 15.0)] = 4500.0
    return home.made(8.0 + 14.5 / 24.0)


def _fault_with_each_defrost(home: House) -> Made:
    """A code shown for six minutes at each defrost of a frosty week: no fault at all."""
    made = home.made()
    mode, heat = made.readings["mode"], made.readings["heat"]
    runs = np.convolve(mode.value == 1.0, np.ones(40), "full")[: len(mode.value)] > 39.5
    begins, last = [], -200
    for i in np.flatnonzero(runs).tolist():
        if i - last > 170:
            begins.append(i)
            last = i
    melts = np.zeros(len(mode.value), dtype=bool)
    for i in begins:
        melts[i : i + 6] = True
    fault = made.readings["fault"]
    own = {
        "mode": Samples(mode.time, np.where(melts, 3.0, mode.value)),
        "heat": Samples(heat.time, np.where(melts, -2500.0, heat.value)),
        "fault": Samples(fault.time, np.where(melts, "D1", "").astype(object)),
    }
    return replace(made, readings=made.readings | own)


def _dripping_valve(wet: Wet) -> None:
    """The cylinder's safety valve drips four litres an hour of hot water, day and night."""
    wet.source[wet.day >= 3.0] = -4.0 * 1.163 * 38.0


def _forty_five(points: tuple[str, ...] | None = None) -> Wet:
    wet = Wet(setpoint_c=45.0, reheat_c=39.0, disinfect_c=None, planned_c=None)
    return wet if points is None else replace(wet, points=points)


def _no_tank_sensor() -> Made:
    return _forty_five(tuple(p for p in Wet().points if p != "tank")).made()


FEW_WORDS = ("mode", "flow", "return", "rate", "outdoor", "room")

SITUATIONS = [
    Situation(
        "pump-dead-unit-tries",
        "the circulation pump is dead for five days; the unit starts and trips every half hour",
        lambda: _pump_dead(house(mean_c=1.0)),
        one_of=(frozenset({"unit_stopped", "fault_reported", "low_flow", "frost_risk"}), "act"),
        verdict=GRAVE,
        causes={STOPPED: "locked_out"},
    ),
    Situation(
        "pump-dead-few-meters",
        "the same; electricity, outdoors and room alone are metered",
        lambda: _pump_dead(house(mean_c=1.0, points=("elec", "outdoor", "room"))),
        one_of=(frozenset({"unit_stopped", "short_cycling"}), "act"),
        verdict=GRAVE,
        causes={STOPPED: "locked_out"},
    ),
    Situation(
        "valve-stuck-to-the-cylinder",
        "the three-way valve stays towards the cylinder for six winter days: rooms get nothing",
        lambda: _valve(2, house(mean_c=2.0)),
        one_of=(COLD_ROOMS, "act"),
        verdict=GRAVE,
    ),
    Situation(
        "valve-stuck-to-the-cylinder-no-target",
        "the same without a room target",
        lambda: _valve(
            2, house(mean_c=2.0, points=("elec", "heat", "flow", "return", "outdoor", "room", "tank", "mode"))
        ),
        one_of=(COLD_ROOMS, "watch"),
        verdict=TROUBLE,
        slow=True,
    ),
    Situation(
        "valve-stuck-to-the-rooms",
        "the three-way valve stays towards the rooms for six days: no hot water",
        lambda: _valve(1, house(mean_c=2.0)),
        one_of=(NO_WATER, "act"),
        verdict=GRAVE,
        causes={"reheat_incomplete": "diverter_stuck"},
    ),
    Situation(
        "cooling-in-winter",
        "somebody set the unit to cooling four winter days ago: it cools the rooms",
        lambda: _cools(house(mean_c=2.0)),
        one_of=(COLD_ROOMS, "act"),
        verdict=GRAVE,
        causes={STOPPED: "set_to_cooling"},
    ),
    Situation(
        "cooling-in-winter-no-mode",
        "the same; the unit's word is not read",
        lambda: _cools(
            house(mean_c=2.0, points=("elec", "heat", "flow", "return", "rate", "outdoor", "room", "target"))
        ),
        one_of=(COLD_ROOMS, "act"),
        verdict=GRAVE,
        slow=True,
    ),
    Situation(
        "emergency-operation-for-weeks",
        "emergency operation for three weeks: back-up and immersion heaters do all the work",
        lambda: _emergency(house(days=21, points=(*RICH, "backup", "immersion"))),
        one_of=(frozenset({"unit_stopped", "backup_heater_use"}), "act"),
        verdict=GRAVE,
        slow=True,
    ),
    Situation(
        "emergency-operation-unmetered",
        "the same; the heaters have no meters, rooms and water are warm",
        lambda: _emergency(house(days=21)),
        expects={STOPPED: "act"},
        verdict=TROUBLE,
        slow=True,
    ),
    Situation(
        "thermostat-battery-dead-last-words",
        "the thermostat's battery is dead: it repeats 20 °C, calls for nothing, rooms cool",
        lambda: _battery_dead(house(mean_c=-1.0), silent=False),
        one_of=(frozenset({"unit_stopped", "sensor_stuck"}), "watch"),
        verdict=TROUBLE,
    ),
    Situation(
        "thermostat-battery-dead-silent",
        "the same; its readings end",
        lambda: _battery_dead(house(mean_c=-1.0), silent=True),
        {STOPPED: "act"},
        verdict=GRAVE,
        slow=True,
    ),
    Situation(
        "room-sensor-in-the-sun",
        "healthy, but the room sensor stands in the sun at noon",
        lambda: _sun_on_the_sensor(house(days=28)),
        silent=True,
        verdict=CALM,
        slow=True,
    ),
    Situation(
        "fourteen-degrees-and-running",
        "the unit runs day and night, the rooms stay at 14 °C",
        lambda: _stays_at_fourteen(RICH),
        one_of=(frozenset({"room_below_target", "capacity_short"}), "act"),
        verdict=GRAVE,
    ),
    Situation(
        "fourteen-degrees-no-target",
        "the same without a room target",
        lambda: _stays_at_fourteen(tuple(p for p in USUAL if p != "target")),
        one_of=(frozenset({"room_below_target", "capacity_short"}), "watch"),
        verdict=TROUBLE,
    ),
    Situation(
        "twenty-six-degrees",
        "rooms at 25 °C for weeks with 20.5 asked for",
        _overheated,
        verdict=TROUBLE,
    ),
    Situation(
        "frost-protection-week",
        "healthy: a week away with frost protection alone",
        lambda: _frost_protection(house(mean_c=3.0)),
        forbids=frozenset(
            {STOPPED, "room_below_target", "frost_risk", "hot_water_shortfall", "sensor_stuck"}
        ),
    ),
    Situation(
        "power-cut-of-two-hours",
        "healthy: no power for two hours, the gateway too",
        lambda: _power_cut(house(), all_silent=True),
        silent=True,
        verdict=CALM,
    ),
    Situation(
        "power-cut-meters-go-on",
        "healthy: the unit's supply fails for two hours",
        lambda: _power_cut(house(), all_silent=False),
        silent=True,
        verdict=CALM,
        slow=True,
    ),
    Situation(
        "says-heating-and-is-dead",
        "the compressor is dead for five days, its word is still heating; no energy meters",
        lambda: _mode_says_heating(house(mean_c=1.0, points=FEW_WORDS)),
        one_of=(frozenset({*COLD_ROOMS, "implausible_efficiency"}), "watch"),
        verdict=TROUBLE,
    ),
    Situation(
        "speed-frozen-and-dead",
        "the compressor is dead for five days, its speed repeats 45 %",
        lambda: _frozen_speed(house(mean_c=1.0, points=(*USUAL, "speed"))),
        one_of=(COLD_ROOMS, "act"),
        verdict=GRAVE,
    ),
    Situation(
        "locks-out-each-night",
        "locked out from one to eight each night for ten days, rooms cold until noon",
        lambda: _night_lock_outs(house(mean_c=-3.0)),
        one_of=(COLD_ROOMS, "watch"),
        verdict=TROUBLE,
    ),
    Situation(
        "sunny-day-flow-metered",
        "healthy: sun warms the rooms, the unit rests and its water cools",
        _sunny_with_flow,
        forbids=frozenset({STOPPED}),
    ),
    Situation(
        "code-with-each-defrost",
        "healthy: a code that comes for minutes with each defrost",
        lambda: _fault_with_each_defrost(house(mean_c=0.5)),
        forbids=frozenset({STOPPED, "fault_reported"}),
    ),
    Situation(
        "tank-sensor-out-of-its-pocket",
        "the cylinder's sensor fell out: the unit charges without an end, the water is too hot",
        lambda: Wet(pocket_lost_day=10.0, **NONE).made(),
        one_of=(
            frozenset({"sensor_stuck", "reheat_incomplete", "hot_water_shortfall", "unit_stopped"}),
            "watch",
        ),
        verdict=TROUBLE,
        causes={"reheat_incomplete": "sensor_fault"},
    ),
    Situation(
        "safety-valve-drips",
        "the cylinder's safety valve drips four litres an hour of hot water",
        lambda: Wet(change=_dripping_valve).made(),
        {"high_standing_loss": "watch"},
        verdict=TROUBLE,
        slow=True,
    ),
    Situation(
        "forty-five-for-a-month",
        "45 °C stored for a month, no disinfection",
        lambda: _forty_five().made(),
        {"disinfection_lacking": "watch"},
        verdict=TROUBLE,
        slow=True,
    ),
    Situation(
        "forty-five-no-tank-sensor",
        "45 °C set, no disinfection scheduled, no cylinder sensor",
        _no_tank_sensor,
        verdict=NOT_FINE,
    ),
    Situation(
        "summer-room-heat",
        "the unit heats rooms in July with a flow of 30 °C, rooms at 25 °C",
        lambda: House(
            first=date(2026, 7, 6), days=14, mean_c=17.0, cutoff_c=30.0, target_c=25.5, extra=RATING
        ).made(),
        {"heating_out_of_season": "watch"},
        verdict=TROUBLE,
    ),
]
