"""Homes whose settings can be changed: of the project's simulator, three independent ones and the reference
engine.

Every one answers `run(seed, control, settings)`: the home of that seed, with the settings made in turn,
through the same weather and the same household.
"""

from __future__ import annotations

import copy
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import tomlkit
from numpy.typing import NDArray

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings
from fieldfare.collector.simulated.design.spec import Backup, EmitterSpec, PlantSpec
from fieldfare.collector.simulated.plant import Simulated, random_plant, simulate, with_meters
from fieldfare.collector.validation import decoded
from fieldfare.notebook import load_site, read_csv, read_frame
from tests.reference.engine.houses import HOUSES, House

FIRST, DAYS = date(2023, 11, 15), 100
CHARGING_H = 4.0
EARLY_HEATER_W, EARLY_HEATER_MIN = 6000.0, 6.0
PUMP_EXPONENT = 2.5
"""Of a pump's power over its flow (common practice: between 2 and 3)."""


@dataclass(frozen=True)
class Setting:
    """A change at the controls. lower : (outdoor [°C], kelvins by which the heating curve is lower there)
    set_back_k : depth of the night's set-back; None leaves it. cooler_k : the cylinder's setpoint and its
    reheat limit. flow_share : water flow over the present one. bivalent_c : outdoor temperature below which
    the back-up heater is released, and at once where it is warm. charge_hour : local hour from which the
    cylinder is charged, for CHARGING_H hours. warmer_k : the rooms' set temperature higher. water : share of
    the water that each of two zones gets; emitter : output of the second zone's emitters over the designed
    one"""

    lower: tuple[tuple[float, float], ...] = ()
    set_back_k: float | None = None
    cooler_k: float = 0.0
    flow_share: float = 1.0
    bivalent_c: float | None = None
    charge_hour: int | None = None
    warmer_k: float = 0.0
    water: tuple[float, float] | None = None
    emitter: float = 1.0

    @property
    def turns_zones(self) -> bool:
        """Whether it is about the balance of zones."""
        return self.water is not None or self.emitter != 1.0

    def lower_at(self, outdoor: float) -> float:
        """Kelvins by which the curve is lower; beyond the ends as at the end."""
        if not self.lower:
            return 0.0
        at, by = zip(*sorted(self.lower), strict=True)
        return float(np.interp(outdoor, at, by))


def shifted(lower_k: float) -> Setting:
    """The heating curve lowered as a whole."""
    return Setting(lower=((0.0, lower_k),))


@dataclass(frozen=True)
class Ran:
    """A home that ran. space_kwh : electricity but for the cylinder and for back-up heat; water_kwh : for the
    cylinder; backup_kwh : back-up heat. rooms, targets : mean of each zone [°C]. read : its readings, made
    when they are asked for"""

    site: Callable[[], Site]
    read: Callable[[Site], Readings]
    first: date
    last: date
    space_kwh: float
    water_kwh: float
    backup_kwh: float
    rooms: NDArray[np.float64]
    targets: NDArray[np.float64]


Run = Callable[[int, str, tuple[Setting, ...]], Ran]
SiteFile = Callable[[str], str]


def changed(spec: PlantSpec, setting: Setting) -> PlantSpec:
    """A plant of the project's simulator with a setting made."""
    control, pump, water = spec.control, spec.heat_pump, spec.hot_water
    curve = tuple((outdoor, flow - setting.lower_at(outdoor)) for outdoor, flow in control.curve)
    depth = control.setback_k if setting.set_back_k is None else setting.set_back_k
    pump = replace(
        pump,
        flow_m3_per_h=pump.flow_m3_per_h * setting.flow_share,
        pump_w=pump.pump_w * setting.flow_share**PUMP_EXPONENT,
    )
    if water is not None:
        water = replace(
            water,
            setpoint_c=water.setpoint_c - setting.cooler_k,
            reheat_below_c=water.reheat_below_c - setting.cooler_k,
        )
    if water is not None and setting.charge_hour is not None:
        water = replace(water, windows=((float(setting.charge_hour), setting.charge_hour + CHARGING_H),))
    backup = spec.backup
    if setting.bivalent_c is not None:
        backup = Backup(EARLY_HEATER_W, setting.bivalent_c, EARLY_HEATER_MIN)
    targets = tuple(target + setting.warmer_k for target in control.targets_c)
    control = replace(control, curve=curve, setback_k=depth, targets_c=targets)
    emitters = _emitters(spec, setting)
    return replace(spec, control=control, heat_pump=pump, hot_water=water, backup=backup, emitters=emitters)


def _emitters(spec: PlantSpec, setting: Setting) -> tuple[EmitterSpec, ...]:
    """Emitters with their valves turned so that each of two zones gets its share of the water."""
    each = list(spec.emitters)
    if len(each) == 2 and setting.water is not None:
        opened = np.array(setting.water) / np.array(spec.house.zone_shares)
        each = [replace(e, opened=float(o)) for e, o in zip(each, opened / opened.max(), strict=True)]
    if len(each) == 2:
        each[1] = replace(each[1], output_w=each[1].output_w * setting.emitter)
    return tuple(each)


@lru_cache(maxsize=16)
def _simulated(spec: PlantSpec) -> Simulated:
    return simulate(spec, FIRST, DAYS)


def own(seed: int, control: str, settings: tuple[Setting, ...]) -> Ran:
    """The project's simulator."""
    return ran_own(own_spec(seed, control), settings)


def own_spec(seed: int, control: str) -> PlantSpec:
    """A home of the project's simulator with a kind of control."""
    emitter: Any = "radiator" if control == "thermostat" else None
    kind: Any = control
    return random_plant(seed, meter_set="rich", hot_water=True, control=kind, emitter=emitter)


def ran_own(spec: PlantSpec, settings: tuple[Setting, ...], site_file: SiteFile = str) -> Ran:
    """A home of the project's simulator, run. site_file : what the site file is made to say"""
    if any(setting.turns_zones for setting in settings):
        spec = with_meters(spec, "full")  # only there every zone's set temperature is read
    for setting in settings:
        spec = changed(spec, setting)
    made = _simulated(spec)
    zones, kwh = len(spec.house.zones), made.truth.kwh
    return Ran(
        lambda: parse_site(site_file(made.site_toml)),
        lambda site: made.readings,
        FIRST,
        FIRST + timedelta(DAYS - 1),
        kwh["electricity"] - kwh["elec_hot_water"] - kwh["backup"],
        kwh["elec_hot_water"],
        kwh["backup"],
        np.mean([day["room_c"][:zones] for day in made.truth.days], axis=0),
        np.array(spec.control.targets_c[:zones]),
    )


@lru_cache(maxsize=2)
def _plant_a(seed: int) -> Any:
    from tests.reference.plants_a.plants import make_plant

    return make_plant(seed, None, days=DAYS, start=FIRST, name=f"a{seed:04d}")[0]


def plants_a(seed: int, control: str, settings: tuple[Setting, ...]) -> Ran:
    """The first independent simulator, every point measured."""
    from tests.reference.plants_a.engine import simulate as run
    from tests.reference.plants_a.home import RUN_IN_MIN

    plant = copy.deepcopy(_plant_a(seed))
    for setting in settings:
        _set_a(plant, setting)
    log, _ = run(plant.params, plant.drive, plant.schedule, RUN_IN_MIN)
    water = log["mode"] == 2
    power = log["hp_w"] + log["pump_w"]
    zones = [str(z + 1) for z in range(int(plant.params["zones"][0]))]
    folder = tempfile.TemporaryDirectory(prefix="advice-")

    def site() -> Site:
        from tests.reference.plants_a.plants import choose_metering, write

        write(plant, log, Path(folder.name), *choose_metering(seed, "full"))
        return load_site(Path(folder.name) / plant.name / "site.toml")

    def read(known: Site) -> Readings:
        return read_frame(read_csv(Path(folder.name) / plant.name / "readings.csv.gz", known), known)

    return Ran(
        site,
        read,
        FIRST,
        FIRST + timedelta(DAYS - 1),
        _kwh(power[~water]),
        _kwh(power[water]) + _kwh(log["imm_w"]),
        _kwh(log["bu_w"]),
        np.array([log["air" + z].mean() for z in zones]),
        np.array([log["set" + z].mean() for z in zones]),
    )


def _set_a(plant: Any, setting: Setting) -> None:
    p, drive, habits = plant.params, plant.drive, plant.habits
    for name in ("set1", "set2"):
        drive[name] += setting.warmer_k
    habits.target_c += setting.warmer_k
    for at, flow in (("x1", "y1"), ("x2", "y2")):
        p[flow] -= setting.lower_at(float(p[at][0]))
    for name in ("setp", "reheat"):
        p[name] -= setting.cooler_k
    if setting.set_back_k is not None:
        hour = plant.hour()
        night = (hour >= habits.setback_from) | (hour < habits.setback_to)
        usual = np.isclose(habits.target_c - drive["set1"], np.where(night, habits.setback_k, 0.0))
        for name in ("set1", "set2"):
            drive[name] -= np.where(night & usual, setting.set_back_k - habits.setback_k, 0.0)
        habits.setback_k = setting.set_back_k


def _kwh(watts: NDArray[np.float64]) -> float:
    """Energy of a power by the minute."""
    return float(watts.sum()) / 60000.0


def taken(table: pd.DataFrame, site: Site) -> Readings:
    """Readings of a simulator's table, with the words of states decoded as the collector does."""
    for point in site.point:
        column = table[point.id]
        if not (pd.api.types.is_numeric_dtype(column) or point.kind.is_text):
            words = {word: decoded(point, str(word)) for word in column.dropna().unique()}
            table[point.id] = column.map(words).astype(np.float64)
    return read_frame(table, site)


@lru_cache(maxsize=2)
def _home_b(seed: int) -> Any:
    from tests.reference.plants_b.homes import commission, make_home

    home = make_home(np.random.default_rng([seed, 20261129]), DAYS, FIRST.isoformat())
    commission(home)
    return home


def plants_b(seed: int, control: str, settings: tuple[Setting, ...]) -> Ran:
    """The second independent simulator, every point measured."""
    home = copy.deepcopy(_home_b(seed))
    for setting in settings:
        _set_b(home, setting)
    sim = home.simulate()
    water = sim.channel("use") == 2.0
    power = sim.channel("p_unit") + sim.channel("p_pump")
    metered: list[Any] = []

    def site() -> Site:
        from tests.reference.plants_b.export import site_text
        from tests.reference.plants_b.metering import Options, make_metering

        metered.append(make_metering(home.rng, home, sim, Options("full", **home.options)))
        return parse_site(site_text(home.site, {"id": f"b{seed:04d}", "name": f"Plant {seed}"}, metered[0]))

    def read(known: Site) -> Readings:
        from tests.reference.plants_b.export import table

        return taken(table(home, metered[0]), known)

    return Ran(
        site,
        read,
        FIRST,
        FIRST + timedelta(DAYS - 1),
        _kwh(power[~water]),
        _kwh(power[water]) + _kwh(sim.channel("p_imm")),
        _kwh(sim.channel("p_bu")),
        np.array([sim.channel(name).mean() for name in ("room_a", "room_b")]),
        np.array([home.occupants.set_a, home.occupants.set_b]),
    )


def _set_b(home: Any, setting: Setting) -> None:
    par = home.par
    for at, flow in (("curve_x0", "curve_y0"), ("curve_x1", "curve_y1")):
        par[flow] -= setting.lower_at(par[at])
    par["flow_set_max"] = max(par["flow_set_max"], par["curve_y0"] + 2.0)
    for name in ("dhw_set", "dhw_on"):
        par[name] -= setting.cooler_k
    home.occupants.set_a += setting.warmer_k
    home.occupants.set_b += setting.warmer_k
    if setting.set_back_k is not None:
        home.occupants.setback_k = setting.set_back_k


@lru_cache(maxsize=2)
def home_c(seed: int) -> Any:
    """A home of the third independent simulator as it was designed."""
    from tests.reference.plants_c.homes import make_home

    return make_home(seed, DAYS)


def plants_c(seed: int, control: str, settings: tuple[Setting, ...]) -> Ran:
    """The third independent simulator, for development; every point measured."""
    return ran_c(seed, home_c(seed), settings)


def ran_c(seed: int, designed: Any, settings: tuple[Setting, ...], site_file: SiteFile = str) -> Ran:
    """A home of the third independent simulator, run. site_file : what the site file is made to say"""
    from tests.reference.plants_c.run import kwh, run
    from tests.reference.plants_c.spec import COLUMN, HOT_WATER

    home = copy.deepcopy(designed)
    for setting in settings:
        _set_c(home.spec, setting)
    out = run(home)
    charging = (out[:, COLUMN["diverter"]] > 0.5) | (out[:, COLUMN["mode"]] == HOT_WATER)
    power = out[:, COLUMN["p_unit"]] + out[:, COLUMN["p_pump"]]
    metered: list[Any] = []

    def site() -> Site:
        from tests.reference.plants_c.build import clean, site_tables
        from tests.reference.plants_c.metering import make_metering

        metered.append(make_metering(home, "full"))
        tables = site_tables(designed, metered[0], {"id": f"c{seed:04d}", "name": f"Plant {seed}"})
        return parse_site(site_file(tomlkit.dumps(clean(tables))))

    def read(known: Site) -> Readings:
        from tests.reference.plants_c.metering import make_frame

        return taken(make_frame(home, out, metered[0]), known)

    first = date.fromisoformat(str(home.start))
    return Ran(
        site,
        read,
        first,
        first + timedelta(home.days - 1),
        _kwh(power[~charging]),
        _kwh(power[charging]) + kwh(out, "p_imm"),
        kwh(out, "p_bu"),
        np.array([out[:, COLUMN[name]].mean() for name in ("room0", "room1")]),
        np.array([home.spec["room_set0"], home.spec["room_set1"]]),
    )


def _set_c(spec: dict[str, float], setting: Setting) -> None:
    for at, flow in (("t_cold", "f_cold"), ("t_warm", "f_warm")):
        spec[flow] -= setting.lower_at(spec[at])
    for name in ("setpoint", "below"):
        spec[name] -= setting.cooler_k
    for name in ("room_set0", "room_set1"):
        spec[name] += setting.warmer_k
    if setting.set_back_k is not None:
        spec["setback_k"] = setting.set_back_k
    for name in ("flow", "flow2"):
        spec[name] *= setting.flow_share
    for name in ("pump_w", "pump2_w"):
        spec[name] *= setting.flow_share**PUMP_EXPONENT
    if setting.bivalent_c is not None:
        spec.update(bu_w=EARLY_HEATER_W, bu_below=setting.bivalent_c, bu_wait=EARLY_HEATER_MIN, bu_free=1.0)
    if setting.water is not None:
        spec["share0"] = setting.water[0]
    spec["out1"] *= setting.emitter
    if setting.charge_hour is not None:
        first = 60.0 * setting.charge_hour
        spec.update(dhw_from=first, dhw_to=(first + 60.0 * CHARGING_H) % 1440.0)


@dataclass(frozen=True)
class _SetHouse(House):
    """A house of the engine with the mild end of its curve and its set temperature changed. mild_k : lower
    than as designed; warmer_k : higher than what its emitters and curve are designed for [K]"""

    mild_k: float = 0.0
    warmer_k: float = 0.0

    @property
    def _designed(self) -> House:
        as_set = {f.name: getattr(self, f.name) for f in fields(House)}
        return House(**as_set | {"target_c": self.target_c - self.warmer_k})

    @property
    def design_load_kw(self) -> float:
        return self._designed.design_load_kw

    @property
    def emitter_kw(self) -> float:
        return self._designed.emitter_kw

    @property
    def curve(self) -> tuple[float, float]:
        cold, mild = self._designed.curve
        return cold, mild - self.mild_k


@lru_cache(maxsize=4)
def _ran_engine(house: House, last: date) -> pd.DataFrame:
    from tests.reference.engine.run import simulate as run

    return run(house, (FIRST.month, FIRST.day), (last.month, last.day))


def engine(seed: int, control: str, settings: tuple[Setting, ...]) -> Ran:
    """The reference engine: the seed counts its houses. They have a room thermostat and no hot water."""
    from tests.reference.engine.export import POINTS as points
    from tests.reference.engine.export import ZONES, readings, site_text

    designed = list(HOUSES.values())[seed % len(HOUSES)]
    house = _SetHouse(**vars(designed))
    for setting in settings:
        cold, mild = setting.lower_at(house.design_outdoor_c), setting.lower_at(15.0)
        depth = house.set_back_k if setting.set_back_k is None else setting.set_back_k
        house = replace(
            house,
            curve_k=house.curve_k - cold,
            mild_k=house.mild_k + mild - cold,
            set_back_k=depth,
            target_c=house.target_c + setting.warmer_k,
            warmer_k=house.warmer_k + setting.warmer_k,
        )
    last = FIRST + timedelta(DAYS - 1)
    ran = _ran_engine(house, last)
    power = (ran["Heat Pump Electricity Rate"] + ran["Pump Electricity Rate"]).to_numpy()
    first = date(2023, FIRST.month, FIRST.day)

    def read(known: Site) -> Readings:
        _, offset, _ = ZONES[house.climate]
        table = readings(ran)
        table.index = (table.index - pd.Timedelta(hours=offset)).tz_localize("UTC")
        return read_frame(table, known)

    return Ran(
        lambda: parse_site(site_text(designed, points)),
        read,
        first,
        first + timedelta(DAYS - 1),
        _kwh(power),
        0.0,
        0.0,
        np.array([ran["Zone Mean Air Temperature"].mean()]),
        np.array([house.target_c]),
    )
