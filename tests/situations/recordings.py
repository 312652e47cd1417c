"""Situations of clocks, registers, gateways and sensors with wrong records."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import numpy as np

from fieldfare.analysis.readings import Readings, Samples
from tests.situations.case import Made, Situation
from tests.situations.controls import CALM, COLD_ROOMS, GRAVE, NOT_FINE, TROUBLE, house
from tests.situations.house import USUAL, Floats, House
from tests.situations.stopped import RICH, STOPPED

REGISTERS = ("elec_kwh", "heat_kwh", "outdoor", "room", "flow", "return")
DOUBT = frozenset(
    {
        "meter_misplaced",
        "implausible_efficiency",
        "unit_mismatch",
        "heat_meter_disagrees",
        "sensor_stuck",
        "data_gap",
        "clock_offset",
        "flow_return_swapped",
        "outdoor_sensor_biased",
        "register_reset",
    }
)
BLAMES = frozenset(
    {
        STOPPED,
        "efficiency_below_expected",
        "efficiency_fell",
        "performance_below_promise",
        "short_cycling",
        "capacity_short",
        "low_flow",
        "high_standby",
        "heating_out_of_season",
        "heat_loss_above_design",
        "heat_loss_below_design",
    }
)


def shown(home: House, change: Callable[[House, dict[str, Floats], dict[str, Floats]], None]) -> Made:
    """The readings with times [ms] and values changed; a point whose values are dropped is silent."""
    made = home.made()
    time = {p: np.asarray(s.time, dtype=np.float64) for p, s in made.readings.items()}
    value = {
        p: np.array(s.value, dtype=np.float64) if p != "fault" else s.value for p, s in made.readings.items()
    }
    change(home, time, value)
    readings: Readings = {
        p: Samples(time[p].astype(np.int64), value[p]) for p in made.readings if len(time[p])
    }
    return replace(made, readings=readings)


def _since(home: House, time: Floats, day: float) -> Floats:
    return time >= home.time[home.between(day)][0]


def _frozen(day: float, *points: str) -> Callable[[House, dict[str, Floats], dict[str, Floats]], None]:
    """The last value of some points is repeated from a day on; all points where none is named."""

    def change(home: House, time: dict[str, Floats], value: dict[str, Floats]) -> None:
        for p in points or tuple(value):
            late = _since(home, time[p], day)
            if late.any():
                value[p][late] = value[p][~late][-1]

    return change


def _zeros(day: float, until: float = 1e9) -> Callable[[House, dict[str, Floats], dict[str, Floats]], None]:
    def change(home: House, time: dict[str, Floats], value: dict[str, Floats]) -> None:
        for p in value:
            if p != "fault":
                late = _since(home, time[p], day)
                if until < 1e8:
                    late &= ~_since(home, time[p], until)
                value[p][late] = 0.0

    return change


def _ends(day: float, *points: str) -> Callable[[House, dict[str, Floats], dict[str, Floats]], None]:
    def change(home: House, time: dict[str, Floats], value: dict[str, Floats]) -> None:
        for p in points:
            early = ~_since(home, time[p], day)
            time[p], value[p] = time[p][early], value[p][early]

    return change


def _hour_late(*points: str) -> Callable[[House, dict[str, Floats], dict[str, Floats]], None]:
    """A meter without summer time: an hour late from the night of the change."""

    def change(home: House, time: dict[str, Floats], value: dict[str, Floats]) -> None:
        for p in points:
            time[p] = time[p] + 3_600_000.0 * _since(home, time[p], 6.04)

    return change


def _replaced(home: House, time: dict[str, Floats], value: dict[str, Floats]) -> None:
    """The electricity meter is changed for a new one, which starts at nothing."""
    late = _since(home, time["elec_kwh"], 9.4)
    value["elec_kwh"][late] -= value["elec_kwh"][late][0]


def _rolls_over(home: House, time: dict[str, Floats], value: dict[str, Floats]) -> None:
    """A register of four digits and two places passes 9999.99 in the second week."""
    start = 9999.99 - (value["heat_kwh"][len(value["heat_kwh"]) // 2] - value["heat_kwh"][0])
    value["heat_kwh"] = (value["heat_kwh"] - value["heat_kwh"][0] + start) % 10_000.0


def _pulse_changed(
    point: str, factor: float
) -> Callable[[House, dict[str, Floats], dict[str, Floats]], None]:
    """Somebody sets another pulse value in the middle of the season."""

    def change(home: House, time: dict[str, Floats], value: dict[str, Floats]) -> None:
        late = _since(home, time[point], 14.0)
        if point.endswith("kwh"):
            at = value[point][late][0]
            value[point][late] = at + (value[point][late] - at) * factor
        else:
            value[point][late] *= factor

    return change


def _other_house() -> Made:
    """Two sites' electricity meters are swapped: this one shows a smaller house of other habits."""
    mine = house(days=21)
    other = House(days=21, points=("elec",), loss_w_per_k=130.0, target_c=22.5, pause=25)
    other.heats[other.hours(22.5, 24.0) | other.hours(0.0, 5.5)] = False
    elec = other.made().readings["elec"]
    made = mine.made()
    return replace(made, readings=made.readings | {"elec": elec})


def _outdoors_indoors(home: House, time: dict[str, Floats], value: dict[str, Floats]) -> None:
    """The outdoor sensor hangs in the plant room."""
    value["outdoor"] = 17.5 + 0.08 * value["outdoor"]


def _swapped_heat(home: House, time: dict[str, Floats], value: dict[str, Floats]) -> None:
    """The heat meter's two sensors are swapped: all its heat is negative."""
    value["heat"] = -value["heat"]


def _reversed_clamp(home: House, time: dict[str, Floats], value: dict[str, Floats]) -> None:
    """The electricity clamp is the wrong way round."""
    value["elec"] = -value["elec"]


def _glycol(home: House, time: dict[str, Floats], value: dict[str, Floats]) -> None:
    """Water with 30 % glycol, which neither the meter nor the site file knows: it reads 6 % too high."""
    value["heat"] = value["heat"] * 1.06


def _dead_since(home: House, day: float) -> House:
    home.supply[home.between(day)] = False
    return home


def _locked_since(home: House, day: float) -> House:
    home.free[home.between(day)] = False
    return home


def _summer_time(**more: object) -> House:
    return house(first=date(2026, 3, 23), mean_c=4.0, **more)


SITUATIONS = [
    Situation(
        "heat-meter-an-hour-late-since-summer-time",
        "the heat meter's clock did not follow the change to summer time",
        lambda: shown(_summer_time(), _hour_late("heat", "flow", "return", "rate")),
        {"clock_offset": "watch"},
        forbids=BLAMES,
        verdict=TROUBLE,
    ),
    Situation(
        "summer-time-begins",
        "healthy: the change to summer time",
        lambda: _summer_time().made(),
        silent=True,
        verdict=CALM,
    ),
    Situation(
        "meter-replaced",
        "healthy: a new electricity meter that starts at nothing",
        lambda: shown(house(points=REGISTERS), _replaced),
        silent=True,
    ),
    Situation(
        "register-rolls-over",
        "healthy: the heat register passes its last digit",
        lambda: shown(house(points=REGISTERS), _rolls_over),
        silent=True,
    ),
    Situation(
        "heat-pulse-tenfold-in-mid-season",
        "the heat meter counts ten times as much from the third week on",
        lambda: shown(house(days=28, points=REGISTERS), _pulse_changed("heat_kwh", 10.0)),
        one_of=(DOUBT, "watch"),
        forbids=BLAMES,
        verdict=TROUBLE,
        slow=True,
    ),
    Situation(
        "electricity-pulse-double-in-mid-season",
        "the electricity meter counts twice as much from the third week on",
        lambda: shown(house(days=28, points=REGISTERS), _pulse_changed("elec_kwh", 2.0)),
        one_of=(DOUBT | {"efficiency_fell", "efficiency_below_expected"}, "watch"),
        verdict=TROUBLE,
        slow=True,
    ),
    Situation(
        "electricity-meter-of-another-house",
        "two sites' electricity meters are swapped",
        _other_house,
        one_of=(DOUBT, "watch"),
        forbids=frozenset({STOPPED, "high_standby"}),
        verdict=TROUBLE,
        slow=True,
    ),
    Situation(
        "outdoor-sensor-indoors",
        "the outdoor sensor hangs in the plant room in winter",
        lambda: shown(house(days=21), _outdoors_indoors),
        one_of=(frozenset({"outdoor_sensor_biased", "sensor_stuck"}), "watch"),
        forbids=BLAMES,
        verdict=TROUBLE,
    ),
    Situation(
        "outdoor-sensor-indoors-and-dead",
        "the same, and the unit is without supply for the last three days",
        lambda: shown(_dead_since(house(days=21), 18.0), _outdoors_indoors),
        {STOPPED: "act"},
        verdict=GRAVE,
        slow=True,
    ),
    Situation(
        "heat-meter-sensors-swapped",
        "the heat meter's sensors are swapped: all heat is negative",
        lambda: shown(house(days=21), _swapped_heat),
        one_of=(DOUBT, "watch"),
        forbids=BLAMES,
        verdict=TROUBLE,
    ),
    Situation(
        "clamp-reversed",
        "the electricity clamp is the wrong way round: all power is negative",
        lambda: shown(house(days=21), _reversed_clamp),
        one_of=(DOUBT, "watch"),
        forbids=BLAMES,
        verdict=TROUBLE,
    ),
    Situation(
        "glycol-unknown",
        "healthy, with antifreeze that nobody noted: heat reads 6 % too high",
        lambda: shown(house(days=21), _glycol),
        forbids=BLAMES,
        slow=True,
    ),
    Situation(
        "twice-a-day",
        "healthy, read twice a day",
        lambda: house(days=28, points=REGISTERS, every=720).made(),
        silent=True,
        verdict=CALM,
        slow=True,
    ),
    Situation(
        "twice-a-day-and-dead",
        "no supply for four days, read twice a day",
        lambda: _dead_since(house(days=14, points=REGISTERS, every=720), 10.0).made(),
        {STOPPED: "act"},
        verdict=GRAVE,
    ),
    Situation(
        "twice-a-day-and-locked-out",
        "locked out for four days, read twice a day",
        lambda: _locked_since(house(days=14, points=REGISTERS, every=720), 10.0).made(),
        {STOPPED: "act"},
        verdict=GRAVE,
        slow=True,
    ),
    Situation(
        "heat-meter-silent",
        "the heat meter's readings end five days ago, all else goes on",
        lambda: shown(house(), _ends(9.0, "heat")),
        {"data_gap": "watch"},
        forbids=BLAMES,
        verdict=TROUBLE,
    ),
    Situation(
        "room-sensor-silent",
        "the room sensor's readings end five days ago, all else goes on",
        lambda: shown(house(), _ends(9.0, "room")),
        one_of=(DOUBT, "watch"),
        forbids=BLAMES,
        verdict=TROUBLE,
        slow=True,
    ),
    Situation(
        "tank-sensor-silent",
        "the cylinder sensor's readings end five days ago, all else goes on",
        lambda: shown(house(), _ends(9.0, "tank")),
        one_of=(DOUBT, "watch"),
        forbids=BLAMES,
        verdict=TROUBLE,
        slow=True,
    ),
    Situation(
        "electricity-register-frozen",
        "the electricity register stands still for five days while the unit heats",
        lambda: shown(house(points=(*REGISTERS, "mode")), _frozen(9.0, "elec_kwh")),
        one_of=(DOUBT, "watch"),
        forbids=BLAMES,
        verdict=TROUBLE,
    ),
    Situation(
        "heat-register-frozen",
        "the heat meter's battery is empty: its register stands still for five days",
        lambda: shown(house(points=(*REGISTERS, "mode")), _frozen(9.0, "heat_kwh")),
        one_of=(DOUBT, "watch"),
        forbids=BLAMES,
        verdict=TROUBLE,
        slow=True,
    ),
    Situation(
        "power-frozen-and-dead",
        "the unit is dead for four days, its electricity meter repeats a running unit's power",
        lambda: shown(_dead_since(house(mean_c=0.0), 10.0), _frozen(9.9, "elec")),
        one_of=(COLD_ROOMS, "act"),
        verdict=GRAVE,
    ),
    Situation(
        "gateway-repeats-itself",
        "the gateway repeats its last values for four days: nobody knows how the home is",
        lambda: shown(house(), _frozen(10.0)),
        one_of=(frozenset({"sensor_stuck", "data_gap"}), "act"),
        forbids=BLAMES,
        verdict=TROUBLE,
    ),
    Situation(
        "gateway-repeats-itself-and-dead",
        "the same, and the unit is dead",
        lambda: shown(_dead_since(house(mean_c=0.0), 10.0), _frozen(10.0)),
        one_of=(frozenset({"sensor_stuck", "data_gap"}), "act"),
        verdict=TROUBLE,
        slow=True,
    ),
    Situation(
        "all-values-zero",
        "the gateway sends noughts for everything for four days",
        lambda: shown(house(), _zeros(10.0)),
        one_of=(frozenset({"sensor_stuck", "data_gap"}), "act"),
        forbids=BLAMES | {"room_below_target", "frost_risk", "hot_water_shortfall"},
        verdict=TROUBLE,
    ),
    Situation(
        "all-values-zero-for-two-hours",
        "healthy: the gateway sent noughts for two hours while it was restarted",
        lambda: shown(house(), _zeros(10.4, 10.48)),
        silent=True,
        verdict=CALM,
    ),
    Situation(
        "three-days-of-data",
        "healthy, three days of readings: too few to tell",
        lambda: house(days=3, points=USUAL).made(),
        silent=True,
        verdict=frozenset({"not_known"}),
    ),
    Situation(
        "dead-and-clock-a-day-ahead",
        "the gateway's clock is a day ahead; the unit is dead for two days",
        lambda: _ahead(_dead_since(house(days=12, points=RICH), 10.0)),
        {STOPPED: "act"},
        verdict=NOT_FINE,
    ),
]


def _ahead(home: House) -> Made:
    made = home.made()
    moved = {p: Samples(s.time + 86_400_000, s.value) for p, s in made.readings.items()}
    return replace(made, readings=moved)
