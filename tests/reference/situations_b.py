"""Situations from the field: stops, unsafe hot water, pressure, misplaced meters, and healthy look-alikes."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from tests.reference.plants_b import faults_sensing as sensing
from tests.reference.plants_b import faults_service as service
from tests.reference.plants_b import records as r
from tests.reference.plants_b.build import tariff_block, wood_stove
from tests.reference.plants_b.export import write_plant
from tests.reference.plants_b.faults import later, state
from tests.reference.plants_b.homes import Home, commission, make_home
from tests.reference.plants_b.metering import Options, make_metering

COLD = (
    "unit_stopped",
    "frost_risk",
    "room_below_target",
    "hot_water_shortfall",
    "capacity_short",
    "fault_reported",
    "pasteurisation_missed",
    "disinfection_lacking",
    "heat_loss_below_design",
    "sensor_stuck",
)
TROUBLE = ("watch", "act", "urgent")
QUIET = ("in_order", "not_known")


@dataclass(frozen=True)
class Situation:
    """One situation: how the home is made, what happens, what must be told."""

    name: str
    title: str
    days: int
    start: str
    change: Callable[[Home], None]
    must: tuple[tuple[tuple[str, ...], str], ...] = ()
    causes: tuple[str, ...] = ()
    may: tuple[str, ...] = ()
    must_not: tuple[str, ...] = ()
    verdict: tuple[str, ...] = TROUBLE
    since: int | None = None
    climate: str = "continental"
    wish: dict[str, Any] = field(default_factory=dict)
    metering: dict[str, Any] = field(default_factory=dict)
    spacing: int = 60


def nothing(home: Home) -> None:
    """Leave the home as it is."""


def between(home: Home, first: float, last: float) -> slice:
    """Minutes of a span of days."""
    return slice(home.minute(first), home.minute(min(last, home.days)))


def edit(home: Home, column: int, first: float, last: float, value: float) -> None:
    """Set an input column in a span of days."""

    def change(inputs: np.ndarray, h: Home) -> None:
        inputs[between(h, first, last), column] = value

    home.edits.append(change)


def frost(home: Home, first: float, last: float, shift: float) -> None:
    """Shift the outdoor temperature in a span, with ramps of half a day."""

    def change(inputs: np.ndarray, h: Home) -> None:
        days = np.arange(len(inputs)) / 1440.0
        weight = np.clip((days - first) / 0.5, 0, 1) * np.clip((last - days) / 0.5, 0, 1)
        inputs[:, r.I_TOUT] += shift * weight

    home.edits.append(change)


def power_lost_in_frost(home: Home) -> None:
    """The unit's fuse blows in frost; the gateway lives on its own supply."""
    frost(home, 7.0, 14.0, -6.0)
    later(home, 9.3, unit_power=0.0)
    own = ["mode", "comp_speed", "starts", "hours", "error", "flow_target", "defrosting", "diverter"]

    def silent(frame):
        """Without power the unit's own values are missing; meters and clamp-on sensors go on."""
        dead = frame.index >= frame.index[0] + np.timedelta64(home.minute(9.3), "m")
        frame.loc[dead, [name for name in own if name in frame.columns]] = None
        return frame

    home.sensing.append(lambda m, h, sim: m.post.append(silent))


def after_power_cut(home: Home) -> None:
    """Four hours without power; the unit comes back with heating switched off."""
    later(home, 8.1, unit_power=0.0)
    later(home, 8.25, unit_power=1.0, heat_enabled=0.0)


def holiday_left_on(home: Home) -> None:
    """The family is back, but holiday mode (15 degC, no hot water) stays on."""
    home.occupants.away.append((6.0, 13.0))
    edit(home, r.I_SETA, 6.0, 99.0, 15.0)
    edit(home, r.I_SETB, 6.0, 99.0, 15.0)
    later(home, 6.0, dhw_enabled=0.0)


def hand_set_absence(home: Home) -> None:
    """The same, and switched back on the day of return."""
    home.occupants.away.append((8.0, 18.0))
    edit(home, r.I_SETA, 8.0, 17.5, 15.0)
    edit(home, r.I_SETB, 8.0, 17.5, 15.0)
    later(home, 8.0, dhw_enabled=0.0)
    later(home, 17.5, dhw_enabled=1.0)


def heater_carries(home: Home) -> None:
    """After a compressor fault the back-up heater heats the house; rooms stay warm."""
    home.par.update(bu_max=9000.0, bu_emergency=1.0, imm_max=3000.0)
    later(home, 8.4, compressor_enabled=0.0, imm_assist=2.0)


def welded_immersion(home: Home) -> None:
    """The immersion heater's relay is welded; its thermostat stands at 78 degC."""
    home.par["imm_max"] = 3000.0
    later(home, 6.0, imm_timer_on=0.0, imm_timer_off=24.0, imm_set=78.0)


def stove(home: Home, watts: float, first: float = 0.0) -> None:
    """A stove heats the cylinder through a coil in the evening."""
    for day in range(int(first), home.days):
        later(home, day + 0.75, stove_w=watts, solar_max=92.0)
        later(home, day + 0.93, stove_w=0.0)


def topped_up(home: Home) -> None:
    """A leak; someone tops up every Saturday."""
    home.par["leak_l_day"] = 0.7
    for day in range(5, home.days, 7):
        amount = 4.6

        def change(sim, amount=amount) -> None:
            sim.s["water_l"][0] += amount

        home.events.append((home.minute(day + 0.42), change))


def open_loop(home: Home) -> None:
    """The filling loop is left open after a service."""
    later(home, 5.5, fill_l_h=0.6)


def car_charger(home: Home) -> None:
    """A car charger hangs on the heat pump's meter."""

    def add(values, h, m, sim):
        hour = np.repeat(sim.inputs[:, r.I_HOUR], sim.per_minute)
        day = np.arange(len(values)) // (1440 * sim.per_minute)
        charging = (hour >= 0.5) & (hour < 3.5) & (day % 3 != 1)
        return values + 7200.0 * charging

    home.sensing.append(sensing.signal("elec", add))


def pump_dies(home: Home) -> None:
    """The circulation pump fails in frost; the unit trips on low flow again and again."""
    frost(home, 9.0, 16.0, -5.0)
    later(home, 10.2, pump_failed=1.0)


def false_hot_sensor(home: Home) -> None:
    """The cylinder sensor jumps to 40 K too high: the unit never heats the water again."""
    later(home, 7.0, cyl_offset=40.0, dis_on=0.0)

    def show(values, h, m, sim):
        first = sensing.from_day(values, m, 7.0)
        values[first:] += 40.0
        return values

    home.sensing.append(sensing.signal("cyl", show))


def setback_deep(home: Home) -> None:
    """A set-back of 4 K at night and slow recovery till noon."""
    home.occupants.setback_k = 4.0
    home.occupants.night = (21.5, 6.0)


def service_day(home: Home) -> None:
    """A visit: power off twice, a fault code from testing, some water lost and refilled."""
    for first, last in ((12.40, 12.52), (12.58, 12.61)):
        later(home, first, unit_power=0.0)
        later(home, last, unit_power=1.0)
    state(home, 12.62, lock=300.0, fault=33.0)
    for day, litres in ((12.45, -1.2), (12.50, 1.3)):
        home.events.append((home.minute(day), lambda sim, x=litres: sim.s["water_l"].__iadd__(x)))


def failing_sensor(home: Home) -> None:
    """The logger's outdoor sensor shows -50 degC for two days; the plant has its own and is fine."""

    def show(values, h, m, sim):
        values[sensing.from_day(values, m, 10.0) : sensing.from_day(values, m, 12.0)] = -50.0
        return values

    home.sensing.append(sensing.signal("t_out", show))


def guests(home: Home) -> None:
    """A weekend with six guests: much hot water."""

    def change(inputs: np.ndarray, h: Home) -> None:
        span = between(h, 15.0, 17.0)
        inputs[span, r.I_DRAW] += np.roll(inputs[span, r.I_DRAW], 35) + np.roll(inputs[span, r.I_DRAW], -25)

    home.edits.append(change)


def edited(change: Callable[[np.ndarray, Home], None]) -> Callable[[Home], None]:
    """Return a change that edits the inputs."""
    return lambda home: home.edits.append(change)


def set_many(**values: float) -> Callable[[Home], None]:
    """Return a change that sets parameters from the start."""
    return lambda home: home.par.update(values)


def at_day(day: float, **values: float) -> Callable[[Home], None]:
    """Return a change that sets parameters at a day."""
    return lambda home: later(home, day, **values)


def lock_at(day: float) -> Callable[[Home], None]:
    """Return a change that locks the unit out for good."""
    return lambda home: state(home, day, lock=-1.0, fault=21.0)


WATER = {"dhw": True, "dis": True}
STOP = (("unit_stopped", "frost_risk"), "act")
SITUATIONS = (
    Situation(
        "power-lost-frost",
        "Unit without power in frost",
        12,
        "2025-01-08",
        power_lost_in_frost,
        (STOP,),
        ("no_power", "power_loss"),
        COLD,
        verdict=("act", "urgent"),
        since=9,
    ),
    Situation(
        "off-in-mild-weather",
        "Unit switched off in mild weather, rooms cool slowly",
        16,
        "2024-10-20",
        at_day(9.5, heat_enabled=0.0, dhw_enabled=0.0),
        ((("unit_stopped",), "watch"),),
        ("switched_off",),
        COLD,
        since=9,
        climate="northern_plain",
        wish=WATER,
    ),
    Situation(
        "after-power-cut",
        "After a power cut heating stays off, hot water works",
        20,
        "2024-11-25",
        after_power_cut,
        ((("unit_stopped", "room_below_target"), "watch"),),
        ("switched_off",),
        COLD,
        since=8,
        wish=WATER,
    ),
    Situation(
        "holiday-left-on",
        "Holiday mode left on after the family's return",
        26,
        "2025-01-20",
        holiday_left_on,
        ((("unit_stopped", "room_below_target", "hot_water_shortfall"), "watch"),),
        (),
        COLD,
        since=13,
        wish=WATER,
    ),
    Situation(
        "locked-out",
        "Lock-out in winter without reset",
        14,
        "2025-02-01",
        lock_at(8.7),
        ((("unit_stopped",), "act"), (("fault_reported", "unit_stopped"), "watch")),
        ("locked_out",),
        COLD,
        verdict=("act", "urgent"),
        since=8,
    ),
    Situation(
        "no-hot-water",
        "Heating works, hot water does not",
        15,
        "2025-02-10",
        at_day(6.5, dhw_enabled=0.0),
        ((("hot_water_shortfall", "unit_stopped", "reheat_incomplete", "disinfection_lacking"), "watch"),),
        (),
        COLD,
        since=6,
        wish=WATER,
    ),
    Situation(
        "heater-carries",
        "Compressor rests, the back-up heater carries the house",
        18,
        "2025-01-12",
        heater_carries,
        ((("backup_heater_use", "unit_stopped"), "act"),),
        (),
        (
            *COLD,
            "capacity_short",
            "efficiency_fell",
            "efficiency_below_expected",
            "performance_below_promise",
        ),
        verdict=("act", "urgent"),
        since=8,
        wish={**WATER, "backup": True},
    ),
    Situation(
        "welded-immersion",
        "Immersion relay welded: water at 78 degC",
        14,
        "2025-03-03",
        welded_immersion,
        ((("water_too_hot",), "watch"), (("immersion_use", "water_too_hot"), "watch")),
        (),
        ("reheat_incomplete", "high_standing_loss", "performance_below_promise"),
        since=6,
        wish=WATER,
    ),
    Situation(
        "lukewarm-store",
        "Store at 43 degC, no disinfection at all",
        35,
        "2025-03-01",
        lambda h: service.no_disinfection(h, 43.0, 0),
        ((("disinfection_lacking",), "watch"),),
        ("none_scheduled",),
        ("hot_water_shortfall",),
        wish=WATER,
    ),
    Situation(
        "disinfection-59",
        "Scheduled disinfection reaches 59 degC",
        30,
        "2025-02-01",
        set_many(dis_set=58.6, dis_hold_s=1200.0),
        ((("pasteurisation_missed", "disinfection_lacking"), "watch"),),
        (),
        wish=WATER,
    ),
    Situation(
        "disinfection-one-minute",
        "Disinfection holds 60 degC for one minute",
        30,
        "2024-11-01",
        set_many(dis_set=60.6, dis_hold_s=40.0),
        ((("pasteurisation_missed", "disinfection_lacking"), "watch"),),
        (),
        wish=WATER,
    ),
    Situation(
        "stove-overheats",
        "A stove overheats the cylinder",
        20,
        "2025-01-05",
        lambda h: stove(h, 9000.0),
        ((("water_too_hot",), "watch"),),
        ("other_source",),
        ("implausible_efficiency", "high_standing_loss"),
        wish=WATER,
    ),
    Situation(
        "topped-up-weekly",
        "Leak, topped up every Saturday",
        38,
        "2025-01-03",
        topped_up,
        ((("pressure_falling", "pressure_low", "pressure_swings"), "watch"),),
        (),
        wish=WATER,
    ),
    Situation(
        "filling-loop",
        "Filling loop left open: pressure at the relief valve",
        15,
        "2025-02-20",
        open_loop,
        ((("pressure_high", "pressure_swings"), "watch"),),
        ("filling_loop_open",),
        since=5,
        wish=WATER,
    ),
    Situation(
        "vessel-empty",
        "Expansion vessel empty: pressure swings daily",
        25,
        "2025-01-15",
        lambda h: service.dead_vessel(h, 0.13, 0),
        ((("pressure_swings", "pressure_high"), "watch"),),
        ("vessel_empty",),
        ("pressure_low", "pressure_falling"),
        wish=WATER,
    ),
    Situation(
        "car-on-meter",
        "A car charger on the heat pump's meter",
        30,
        "2025-02-01",
        car_charger,
        (
            (
                (
                    "meter_misplaced",
                    "heat_meter_disagrees",
                    "implausible_efficiency",
                    "efficiency_below_expected",
                    "performance_below_promise",
                ),
                "watch",
            ),
        ),
        ("other_load_inside",),
        (
            "short_cycling",
            "high_standby",
            "heating_out_of_season",
            "unit_mismatch",
            "electricity_above_expected",
        ),
        wish=WATER,
    ),
    Situation(
        "meter-one-branch",
        "Heat meter sees the rooms' branch only",
        35,
        "2025-01-10",
        lambda h: sensing.branch(h, 0.0, 0),
        ((("meter_misplaced", "heat_meter_disagrees", "implausible_efficiency"), "watch"),),
        ("one_branch_only",),
        sensing.DISTRUST,
        wish=WATER,
    ),
    Situation(
        "meter-pulse-ten",
        "Electricity meter counts a tenth",
        30,
        "2025-01-10",
        lambda h: sensing.scaled_electricity(h, 0.1, 0),
        ((("meter_misplaced", "implausible_efficiency", "unit_mismatch"), "watch"),),
        ("pulse_value",),
        sensing.DISTRUST,
        wish=WATER,
    ),
    Situation(
        "pump-dead-frost",
        "Circulation pump dead in frost",
        15,
        "2025-01-14",
        pump_dies,
        ((("unit_stopped", "fault_reported", "frost_risk", "low_flow"), "act"),),
        (),
        (*COLD, "low_flow", "falling_flow", "short_cycling"),
        verdict=("act", "urgent"),
        since=10,
        wish=WATER,
    ),
    Situation(
        "false-hot-sensor",
        "Cylinder sensor reads 40 K too high: cold water",
        15,
        "2025-02-15",
        false_hot_sensor,
        ((("water_too_hot", "sensor_stuck", "hot_water_shortfall", "unit_stopped"), "watch"),),
        ("sensor_fault",),
        (*COLD, "high_standing_loss"),
        since=7,
        wish=WATER,
    ),
    # healthy look-alikes
    Situation(
        "summer",
        "Summer: no heating, only hot water",
        35,
        "2025-07-01",
        nothing,
        must_not=("unit_stopped", "room_below_target", "capacity_short"),
        verdict=QUIET,
        wish=WATER,
    ),
    Situation(
        "absence",
        "Absence with heating turned down by hand",
        30,
        "2025-01-10",
        hand_set_absence,
        must_not=("unit_stopped", "room_below_target", "capacity_short"),
        may=("disinfection_lacking", "pasteurisation_missed"),
        verdict=QUIET,
        wish=WATER,
    ),
    Situation(
        "deep-set-back",
        "Deep set-back with slow recovery",
        30,
        "2025-01-15",
        setback_deep,
        must_not=("unit_stopped", "room_below_target"),
        verdict=QUIET,
        wish={**WATER, "oversize": 1.35},
    ),
    Situation(
        "service-day",
        "A service visit",
        24,
        "2025-02-10",
        service_day,
        must_not=("unit_stopped", "frost_risk", "pressure_falling"),
        may=("fault_reported",),
        verdict=QUIET,
        wish=WATER,
    ),
    Situation(
        "tight-house",
        "Very tight house needs no heat at 10 degC",
        28,
        "2025-04-22",
        set_many(heat_limit=9.5),
        must_not=("unit_stopped", "room_below_target"),
        verdict=QUIET,
        climate="maritime",
        wish={**WATER, "hlc": 42.0, "backup": False, "people": 2, "controls": 2},
    ),
    Situation(
        "coarse-registers",
        "Registers in whole kilowatt-hours",
        40,
        "2025-01-05",
        nothing,
        must_not=("implausible_efficiency", "register_reset", "sensor_stuck"),
        verdict=QUIET,
        wish=WATER,
        metering={"kind": "registers"},
        spacing=900,
    ),
    Situation(
        "tariff-block",
        "The tariff blocks the unit for two hours a day",
        30,
        "2025-01-12",
        edited(tariff_block),
        must_not=("unit_stopped", "short_cycling", "room_below_target"),
        verdict=QUIET,
        wish={**WATER, "oversize": 1.35},
    ),
    Situation(
        "cooling",
        "Cooling in summer",
        30,
        "2025-07-05",
        set_many(cooling=1.0, buf_l=200.0),
        must_not=("heating_out_of_season", "flow_return_swapped", "unit_stopped", "implausible_efficiency"),
        verdict=QUIET,
        climate="southern_inland",
        wish={**WATER, "emitters": "underfloor", "controls": 0, "buffer": 1},
    ),
    Situation(
        "failing-sensor",
        "Outdoor sensor fails for two days, the plant is fine",
        30,
        "2025-02-05",
        failing_sensor,
        ((("sensor_stuck", "data_gap", "outdoor_sensor_biased"), "note"),),
        may=("sensor_stuck", "data_gap", "outdoor_sensor_biased"),
        must_not=("capacity_short", "unit_stopped", "frost_risk"),
        verdict=("in_order", "not_known", "watch"),
        wish=WATER,
    ),
    Situation(
        "wood-stove",
        "A wood stove that nobody meters",
        35,
        "2025-01-05",
        edited(wood_stove),
        must_not=("unit_stopped", "efficiency_below_expected"),
        may=("heat_loss_below_design",),
        verdict=QUIET,
        wish=WATER,
    ),
    Situation(
        "cold-snap",
        "Four days far below the design temperature",
        24,
        "2025-01-10",
        lambda h: frost(h, 12.0, 16.0, -21.0),
        may=("backup_heater_use",),
        must_not=("unit_stopped", "efficiency_fell"),
        verdict=("in_order", "not_known", "watch"),
        wish={**WATER, "oversize": 1.3},
    ),
    Situation(
        "guests",
        "A weekend with six guests",
        24,
        "2025-02-03",
        guests,
        must_not=("unit_stopped", "slow_reheat"),
        may=("hot_water_shortfall",),
        verdict=QUIET,
        wish=WATER,
    ),
)


def build(index: int) -> tuple[Home, Any, Any, dict[str, Any]]:
    """Return home, simulation, metering and truth of one situation."""
    situation = SITUATIONS[index]
    rng = np.random.default_rng([index, 40711])
    home = make_home(
        rng, situation.days, situation.start, situation.climate, **{"shift_k": -0.5, **situation.wish}
    )
    if situation.name not in ("summer", "cooling"):
        commission(home)
    if home.par["dis_on"]:  # the first disinfection comes within the first week
        home.par["dis_day"] = float(rng.integers(1, 6))
    situation.change(home)
    sim = home.simulate()
    options = Options(
        **{
            "kind": "full",
            "spacing_s": situation.spacing,
            "gaps": False,
            "form": "wide",
            "complete": True,
            **home.options,
            **situation.metering,
        }
    )
    m = make_metering(rng, home, sim, options)
    for change in home.sensing:
        change(m, home, sim)
    if situation.name == "coarse-registers":
        for p in m.points:
            if p.kind == "register":
                p.step = 1.0
    since = None if situation.since is None else home.date(situation.since)
    truth = {
        "name": f"s-{situation.name}",
        "family": "situation",
        "title": situation.title,
        "fault": {"kind": situation.name, "strength": "plain", "since": since, "parameters": {}},
        "must": [{"any_of": list(codes), "severity_at_least": level} for codes, level in situation.must],
        "first_cause": list(situation.causes),
        "may": sorted({c for codes, _ in situation.must for c in codes} | set(situation.may)),
        "must_not": list(situation.must_not),
        "verdict": {"in": list(situation.verdict)},
    }
    return home, sim, m, truth


def write_all(out: Path):
    """Write all situations; yield each folder."""
    for index, situation in enumerate(SITUATIONS):
        home, sim, m, truth = build(index)
        folder = out / situation.name
        identity = {"id": f"s-{situation.name}", "name": situation.name.replace("-", " ").capitalize()}
        write_plant(folder, home, sim, m, identity, truth)
        yield folder
