"""Situations of a unit that runs without effect, of hand-overs, gateways and sensors, and healthy ones beside
them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import numpy as np

from fieldfare.analysis.readings import Samples
from tests.situations.case import Made, Situation
from tests.situations.controls import CALM, GRAVE, NOT_FINE, TROUBLE, house
from tests.situations.house import USUAL, Floats, House
from tests.situations.recordings import DOUBT
from tests.situations.stopped import ELECTRIC, FEW, STOPPED

ROOM = ("elec", "outdoor", "room", "target")
MADE_HOT = "[hot_water]\ncylinder_litres = 200\nsetpoint_c = 60.0\n"


def _barren(since: float, home: House) -> Made:
    home.gives[home.between(since)] = False
    return home.made()


def _from(home: House, point: str, since: float, change: Callable[[Floats], Floats]) -> Made:
    """One point's readings from a day on as something makes them."""
    made = home.made()
    s = made.readings[point]
    later = s.time >= int(home.time[home.between(since)][0])
    shown = np.where(later, change(np.asarray(s.value, dtype=np.float64)), s.value)
    return replace(made, readings=made.readings | {point: Samples(s.time, shown)})


def _defrosts_on(home: House) -> Made:
    """From eleven at night on the unit defrosts without an end, taking a little heat from the water."""
    home.free[home.between(9.5)] = False
    made = home.made(9.9)
    begin = int(home.time[home.between(9.5)][0])
    own = {"elec": 800.0, "heat": -300.0, "mode": 3.0}
    changed = {
        point: Samples(s.time, np.where(s.time >= begin, own[point], s.value))
        for point, s in made.readings.items()
        if point in own
    }
    return replace(made, readings=made.readings | changed)


def _heater_from_the_start(home: House) -> Made:
    """The compressor has never run: a heater behind both meters does its work, half an hour at a time."""
    home.free[:] = False
    home.backup[(home.minute // 30) % 2 == 0] = 9000.0
    return home.made()


def _cut(home: House, first: float, last: float, until: float = 1e9, *, gateway: bool) -> Made:
    out = home.between(first, last)
    home.supply[out] = False
    home.sent[out] = not gateway
    return home.made(until)


def _repeats(home: House, since: float) -> Made:
    """The gateway repeats the last values of every point."""
    made = home.made()
    begin = int(home.time[home.between(since)][0])
    held = {
        point: Samples(s.time, np.where(s.time < begin, s.value, s.value[np.flatnonzero(s.time < begin)[-1]]))
        for point, s in made.readings.items()
    }
    return replace(made, readings=held)


def _clock_jumps(home: House, since: float, hours: float) -> Made:
    made = home.made()
    begin = int(home.time[home.between(since)][0])
    moved = {
        point: Samples(np.where(s.time >= begin, s.time + int(hours * 3_600_000), s.time), s.value)
        for point, s in made.readings.items()
    }
    return replace(made, readings=moved)


def _summer(home: House, since: float, *, supply: bool) -> Made:
    (home.supply if not supply else home.free)[home.between(since)] = False
    return home.made()


def _no_hot_water() -> Made:
    home = house(days=10, mean_c=1.0)
    home.reheats[home.between(9.1)] = False
    return home.made(9.95)


def _gap(home: House, first: float, last: float) -> Made:
    home.sent[home.between(first, last)] = False
    return home.made()


UPSTAIRS = '[[point]]\nid = "up"\nquantity = "room_temperature"\nas = "gauge"\nunit = "degC"\nzone = "up"\n'
ITS_TARGET = UPSTAIRS.replace('"up"\nquantity = "room', '"up_t"\nquantity = "target_room')


def _zone_dead(*, own_target: bool) -> Made:
    """A second zone falls to 15 °C and stays there; the first is warm."""
    home = house(days=16, points=USUAL, mean_c=1.0)
    made = home.made()
    room = made.readings["room"]
    days = np.maximum(room.time - int(home.time[home.between(9.0)][0]), 0) / 86_400_000.0
    own = {"up": Samples(room.time, room.value - 0.3 - 5.3 * (1.0 - np.exp(-days / 0.8)))}
    more = UPSTAIRS
    if own_target:
        own["up_t"], more = Samples(room.time, np.full(len(room.time), 20.5)), UPSTAIRS + ITS_TARGET
    return replace(made, site_text=made.site_text + more, readings=made.readings | own)


JULY = date(2026, 7, 6)
SITUATIONS = [
    Situation(
        "runs-and-gives-no-heat",
        "the compressor turns for three days and gives no heat: rooms and cylinder go cold",
        lambda: _barren(7.0, house(days=10, mean_c=1.0)),
        {STOPPED: "urgent"},
        words={STOPPED: "gives no heat"},
        verdict=frozenset({"urgent"}),
    ),
    Situation(
        "runs-and-gives-no-heat-no-heat-meter",
        "the same; electricity, outdoors and room alone are metered",
        lambda: _barren(7.0, house(days=10, points=ROOM, mean_c=1.0)),
        {STOPPED: "urgent"},
        words={STOPPED: "goes cold"},
        verdict=frozenset({"urgent"}),
    ),
    Situation(
        "heat-meter-at-nothing-for-a-day",
        "healthy, but the heat meter has shown nothing for a day",
        lambda: _from(house(days=12, mean_c=1.0), "heat", 11.0, lambda v: 0.0 * v),
        one_of=(DOUBT, "watch"),
        forbids=frozenset({STOPPED}),
        verdict=TROUBLE,
    ),
    Situation(
        "heat-meter-at-nothing-few-meters",
        "the same; electricity, heat and outdoors alone are metered",
        lambda: _from(house(days=12, points=FEW, mean_c=1.0), "heat", 11.0, lambda v: 0.0 * v),
        one_of=(DOUBT, "watch"),
        forbids=frozenset({STOPPED}),
        verdict=TROUBLE,
    ),
    Situation(
        "defrost-without-an-end",
        "the unit has defrosted for nine hours at -1 °C; the rooms cool",
        lambda: _defrosts_on(house(days=10, points=USUAL, mean_c=-1.0)),
        {STOPPED: "act"},
        words={STOPPED: "gives no heat"},
        verdict=GRAVE,
    ),
    Situation(
        "heater-from-the-first-day",
        "the compressor never ran: a heater behind both meters has heated since hand-over",
        lambda: _heater_from_the_start(house(days=14, points=FEW, mean_c=1.0, heater_inside=True)),
        {STOPPED: "act"},
        words={STOPPED: "direct electric heat"},
        verdict=GRAVE,
    ),
    Situation(
        "flow-sensor-ten-kelvin-high",
        "the flow sensor reads 10 K too high; curve and heat meter are right",
        lambda: _from(house(days=20, points=USUAL, mean_c=1.0), "flow", -1.0, lambda v: v + 10.0),
        {"heat_meter_disagrees": "act"},
        forbids=frozenset({"flow_temperature_above_curve", "low_flow"}),
        verdict=TROUBLE,
    ),
    Situation(
        "flow-sensor-ten-kelvin-high-of-late",
        "the same for the last five days",
        lambda: _from(house(days=20, points=USUAL, mean_c=1.0), "flow", 15.0, lambda v: v + 10.0),
        {"heat_meter_disagrees": "act"},
        forbids=frozenset({"flow_temperature_above_curve", "low_flow"}),
        verdict=TROUBLE,
        slow=True,
    ),
    Situation(
        "cylinder-sensor-stands-still",
        "the cylinder's sensor has shown 58.2 °C for six days",
        lambda: _from(house(mean_c=1.0), "tank", 8.0, lambda v: 0.0 * v + 58.2),
        {"sensor_stuck": "act"},
        verdict=TROUBLE,
        slow=True,
    ),
    Situation(
        "power-cut-of-six-hours-over",
        "the unit's supply failed for six hours at -2 °C and came back two hours ago; all is well",
        lambda: _cut(house(days=10, mean_c=-2.0), 9.3, 9.55, 9.65, gateway=False),
        forbids=frozenset({STOPPED, "frost_risk"}),
    ),
    Situation(
        "power-cut-of-six-hours-gateway-too",
        "healthy: no power for six hours four days ago, the gateway too",
        lambda: _cut(house(days=12, mean_c=1.0), 7.5, 7.75, gateway=True),
        silent=True,
        verdict=CALM,
    ),
    Situation(
        "handed-over-yesterday",
        "healthy, a day of readings: too few to tell",
        lambda: house(days=1, mean_c=1.0).made(),
        silent=True,
        verdict=frozenset({"not_known"}),
    ),
    Situation(
        "handed-over-yesterday-and-dead",
        "no supply on the only day seen, the rooms fall from 18 °C",
        lambda: _cut(house(days=1, mean_c=1.0, start_room_c=18.0), -1.0, 9.0, gateway=False),
        {STOPPED: "urgent"},
        causes={STOPPED: "no_power"},
        verdict=GRAVE,
    ),
    Situation(
        "gateway-repeats-itself-for-a-day",
        "the gateway has repeated its last values for a day",
        lambda: _repeats(house(days=12, points=USUAL, mean_c=1.0), 11.0),
        one_of=(DOUBT, "watch"),
        forbids=frozenset({STOPPED}),
        verdict=TROUBLE,
    ),
    Situation(
        "clock-jumps-ahead",
        "healthy: the gateway's clock jumps three hours ahead and stays so",
        lambda: _clock_jumps(house(days=12, mean_c=1.0), 7.0, 3.0),
        silent=True,
        allows=frozenset({"clock_offset"}),
        slow=True,
    ),
    Situation(
        "summer-and-dead",
        "hot water only in summer; no supply for two and a half days",
        lambda: _summer(house(days=12, points=USUAL, first=JULY, mean_c=19.0), 9.5, supply=False),
        {STOPPED: "act"},
        causes={STOPPED: "no_power"},
        verdict=GRAVE,
    ),
    Situation(
        "summer-and-locked-out-few-meters",
        "hot water only in summer; locked out for two days, electricity and outdoors alone are metered",
        lambda: _summer(
            replace(House(days=14, first=JULY, points=ELECTRIC, mean_c=19.0), extra=MADE_HOT),
            12.0,
            supply=True,
        ),
        verdict=NOT_FINE,
    ),
    Situation(
        "no-hot-water-for-a-day",
        "the rooms are heated, the cylinder has not been for twenty hours",
        _no_hot_water,
        {STOPPED: "act"},
        words={STOPPED: "still heats the rooms"},
        verdict=GRAVE,
    ),
    Situation(
        "held-at-a-third-of-its-output",
        "the unit gives no more than 3.2 kW in frost: the rooms stay at 13 °C",
        lambda: house(points=USUAL, mean_c=-4.0, most_w=3200.0).made(),
        {"room_below_target": "urgent"},
        forbids=frozenset({"heat_loss_below_design", STOPPED}),
        verdict=GRAVE,
    ),
    Situation(
        "one-of-two-zones-dead",
        "the upper zone has stayed at 15 °C for six days, 20.5 °C asked for; the lower one is warm",
        lambda: _zone_dead(own_target=True),
        {"room_below_target": "act"},
        causes={"room_below_target": "zone_not_opening"},
        words={"room_below_target": "Zone up stays"},
        forbids=frozenset({STOPPED}),
        verdict=GRAVE,
    ),
    Situation(
        "one-of-two-zones-dead-no-target",
        "the same, and no target is measured there: the other zone's says nothing of it",
        lambda: _zone_dead(own_target=False),
        {"room_below_target": "note"},
        words={"room_below_target": "no set temperature is measured there"},
        forbids=frozenset({STOPPED}),
        verdict=NOT_FINE,
        slow=True,
    ),
    Situation(
        "gateway-back-for-a-fortnight",
        "healthy: no readings for four days, all well in the sixteen days since",
        lambda: _gap(house(days=25, points=USUAL, mean_c=1.0), 5.0, 9.0),
        silent=True,
        slow=True,
    ),
    Situation(
        "gateway-back-since-yesterday",
        "no readings for four days; since yesterday they come again",
        lambda: _gap(house(days=15, points=USUAL, mean_c=1.0), 9.5, 13.5),
        {"data_gap": "watch"},
        forbids=frozenset({STOPPED}),
        slow=True,
    ),
]
