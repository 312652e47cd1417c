"""Make one plant by seed: healthy, or with one fault of some strength, and simulate it."""

import zlib
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
from scipy.ndimage import minimum_filter1d

from tests.reference.plants_a.engine import simulate
from tests.reference.plants_a.export import write_plant
from tests.reference.plants_a.faults import PLANT_FAULTS
from tests.reference.plants_a.faults_sensing import SENSING_FAULTS
from tests.reference.plants_a.faults_water import WATER_FAULTS
from tests.reference.plants_a.home import RUN_IN_MIN, Plant, draw_plant
from tests.reference.plants_a.meters import SETS, build_channels
from tests.reference.plants_a.truth import fill_truth

FAULTS = {**PLANT_FAULTS, **WATER_FAULTS, **SENSING_FAULTS}
STRENGTHS = ("plain", "plain", "gross", "plain", "faint")


def two_zones(pl: Plant) -> bool:
    """Return whether the home has two zones."""
    return bool(pl.params["zones"][0] > 1.5)


def has_water(pl: Plant) -> bool:
    """Return whether the home makes hot water."""
    return bool(pl.facts["hot_water"])


def inverter(pl: Plant) -> bool:
    """Return whether the unit modulates."""
    return bool(pl.params["fixed"][0] < 0.5)


def direct_inverter(pl: Plant) -> bool:
    """Return whether an inverter unit feeds radiators without a parallel buffer."""
    return inverter(pl) and pl.params["buffer"][0] < 1.5 and pl.params["floor1"][0] < 0.5


def cold_place(pl: Plant) -> bool:
    """Return whether the winter brings frost."""
    return pl.climate.mean_c - pl.climate.half_range_k < 3.0


def open_curve(pl: Plant) -> bool:
    """Return whether no room thermostat closes the heating side."""
    return inverter(pl) and pl.params["thermostat1"][0] < 0.5


def weather_led(pl: Plant) -> bool:
    """Return whether the home is heated by the curve alone and the unit is large enough."""
    return open_curve(pl) and pl.facts["bivalent_c"] is None


def cooling_home(pl: Plant) -> bool:
    """Return whether the home can cool: inverter unit, underfloor everywhere, hot water."""
    return (
        inverter(pl)
        and has_water(pl)
        and pl.facts["kind"] == "underfloor"
        and pl.params["thermostat1"][0] < 0.5
    )


SUITABLE: dict[str, Callable[[Plant], bool]] = {
    "chopping": direct_inverter,
    "oversized": direct_inverter,
    "restricted": direct_inverter,
    "zone_stuck": two_zones,
    "coil_airflow": cold_place,
    "low_refrigerant": cold_place,
    "undersized": cold_place,
    "pump_on": inverter,
    "curve_low": weather_led,
    "curve_high": open_curve,
    "no_compensation": weather_led,
    "bivalent_high": inverter,
    "behind_heater": inverter,
    "low_flow": inverter,
    "falling_flow": inverter,
    "buffer_mixing": inverter,
    "warm_heating": direct_inverter,
    **dict.fromkeys([*WATER_FAULTS, "immersion_timer"], has_water),
}
SUITABLE["buffer_mixing"] = inverter
SUITABLE["cooling_home"] = cooling_home
STARTS = {"warm_heating": date(2024, 6, 20)}


def fault_order(seed: int) -> str:
    """Return the fault of `seed`: all faults take turns in a fixed shuffled order."""
    names = sorted(FAULTS)
    order = np.random.default_rng(2024).permutation(len(names))
    return names[order[(seed // 2) % len(names)]]


def draw_suitable(seed: int, kind: str, **options: object) -> tuple[Plant, np.ndarray, np.ndarray]:
    """Return the first home from `seed` on that suits the fault, with log and ledger before the fault."""
    check = SUITABLE.get(kind)
    if kind in STARTS:
        options["start"] = STARTS[kind]
    for k in range(40):
        pl = draw_plant(seed + 100_000 * k, **options)
        pl.facts["asked"] = pl.params.copy()
        if check is None or check(pl):
            healthy = commission(pl)
            if healthy is not None:
                return pl, *healthy
    raise RuntimeError(f"no home suits the fault {kind}")


def cold_share(plant: Plant, log: np.ndarray) -> float:
    """Return the share of the heating season in which a zone is 1 K below its target, outside recovery.

    The target counts as the lowest of the last five hours, so that the morning after a set-back is no fault.
    """
    worst = 0.0
    for z in ("1", "2")[: int(plant.params["zones"][0])]:
        target = minimum_filter1d(log["set" + z], 300, origin=149)
        worst = max(worst, float((log["air" + z] < target - 1.0)[log["season"] > 0.5].mean()))
    return worst


def commission(plant: Plant) -> tuple[np.ndarray, np.ndarray] | None:
    """Simulate the healthy home; return log and ledger, or None where an engineer would not hand it over.

    The installer may raise the heating curve a little. Accepted are: rooms 1 K below target for at most 2 %
    of the season, 14 starts a day and 1.5 an hour of running, 4 % of heat from the back-up heater, and hardly
    any lukewarm hot water.
    """
    for _ in range(3):
        log, ledger = simulate(plant.params, plant.drive, plant.schedule, RUN_IN_MIN)
        starts = float(log["starts"][-1])
        if starts > 14.0 * plant.days or starts > 1.5 * float(log["hours"][-1]):
            return None
        if float(log["short_l"].sum()) > 0.5 * plant.days:
            return None
        if float(log["bu_w"].sum()) > 0.04 * float(log["q_meter"].sum()):
            return None
        if cold_share(plant, log) <= 0.02:
            return log, ledger
        plant.params["shift"] += 1.5
        plant.facts["asked"]["shift"] = plant.params["shift"]
    return None


def promise(plant: Plant, log: np.ndarray) -> None:
    """Write the designer's seasonal performance: what the healthy home reaches, or a little less."""
    rng = np.random.default_rng([72, plant.seed])
    water = log["mode"] == 2
    for name, mask in (("spf_space", ~water), ("spf_hot_water", water)):
        power = float(log["hp_w"][mask].sum())
        if power > 60000.0 * 10 and (name == "spf_space" or plant.facts["hot_water"]):
            value = float(log["q_meter"][mask].sum()) / power
            plant.design[name] = round(value * float(rng.uniform(0.92, 1.0)), 1)
    if plant.facts["hot_water"]:
        per_year = float(log["q_dhw"][water].sum()) / 60000.0 * 365.0 / plant.days
        plant.design["hot_water_kwh_per_year"] = round(per_year, -2)


def true_anyway(plant: Plant) -> list[str]:
    """Return codes true of this home though nothing is broken: a timed defrost ignores the coil's state."""
    codes = ["defrost_without_frost", "excessive_defrost"]
    return codes if plant.params["def_timer"][0] > 0.5 else []


def make_plant(
    seed: int, kind: str | None, strength: str = "plain", **options: object
) -> tuple[Plant, np.ndarray, np.ndarray]:
    """Return plant, minute log and energy ledger; `kind` None is healthy."""
    plant, log, ledger = draw_suitable(seed, kind or "", **options)
    promise(plant, log)
    plant.truth = {"must": [], "may": []}
    if kind is not None:
        function = FAULTS[kind]
        plant.truth = function(plant, strength, np.random.default_rng([73, seed]))
        plant.family = "fault"
        plant.title = f"{(function.__doc__ or '').strip()} ({strength})"
        since = plant.truth.get("since")
        plant.truth["fault"] = {
            "kind": kind,
            "strength": strength,
            "since": plant.day(since) if since is not None else None,
            "parameters": plant.truth.get("parameters", {}),
        }
        if strength == "faint":
            for demand in plant.truth["must"]:
                demand["severity_at_least"] = "note"
        log, ledger = simulate(plant.params, plant.drive, plant.schedule, RUN_IN_MIN)
        if kind == "curve_low" and strength != "faint":
            # emitters are often generous: lower the curve until the rooms show it
            while cold_share(plant, log) < 0.12 and plant.params["shift"][0] > -16.0:
                plant.params["shift"] -= 2.0
                log, ledger = simulate(plant.params, plant.drive, plant.schedule, RUN_IN_MIN)
        if kind in ("curve_low", "undersized", "zone_stuck") and cold_share(plant, log) < 0.03:
            plant.truth["visible"] = False
    plant.truth["may"] = [*plant.truth["may"], *true_anyway(plant)]
    return plant, log, ledger


def choose_metering(seed: int, metering: str) -> tuple[str, int]:
    """Return the metering set and spacing [min] for `full` or `random`."""
    rng = np.random.default_rng([74, seed])
    if metering == "full":
        return "full", int(rng.choice([1, 1, 2, 5]))
    names = list(SETS)
    weights = np.array([SETS[n] for n in names], float)
    name = str(rng.choice(names, p=weights / weights.sum()))
    spacing = {
        "full": [1, 2, 5, 5, 15],
        "heat_meter": [1, 5, 15, 60],
        "electricity_only": [1, 5, 15, 60],
        "registers_only": [15, 60, 60],
        "coarse_registers": [5, 15, 60],
        "gateway_no_heat_meter": [1, 1, 2, 5],
    }[name]
    return name, int(rng.choice(spacing))


def write(
    plant: Plant, log: np.ndarray, out: Path, metering: str, step: int, hidden: tuple[str, ...] = ()
) -> Path:
    """Write the plant's folder and return it; figures named in `hidden` have no meaning here."""
    rng = np.random.default_rng([75, plant.seed, zlib.crc32(metering.encode())])
    channels = build_channels(plant, log, metering, rng)
    fill_truth(plant, log, channels, metering, step)
    for figure in hidden:
        plant.truth["figures"][figure] = None
    folder = out / plant.name
    write_plant(plant, channels, step, folder, rng)
    return folder


def make_and_write(
    seed: int, out: Path, family: str, metering: str, daily: tuple[date, np.ndarray] | None = None
) -> Path:
    """Make the plant of `seed` (even seeds healthy, odd seeds faulty, unless `family` says) and write it."""
    faulty = family == "fault" or (family == "all" and seed % 2 == 1)
    kind = fault_order(seed if family == "all" else 2 * seed) if faulty else None
    strength = STRENGTHS[zlib.crc32(f"{seed}".encode()) % len(STRENGTHS)] if faulty else "plain"
    name = f"a{seed:04d}-{(kind or 'healthy').replace('_', '-')}"
    options = {} if daily is None else {"daily": daily, "climate": "inland"}
    plant, log, _ = make_plant(seed, kind, strength, name=name, **options)
    return write(plant, log, out, *choose_metering(seed, metering))
