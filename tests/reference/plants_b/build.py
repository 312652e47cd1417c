"""Build one plant from its seed: home, fault, metering, truth."""

from pathlib import Path
from typing import Any

import numpy as np

from tests.reference.plants_b import faults_heating, faults_sensing, faults_service
from tests.reference.plants_b.export import write_plant
from tests.reference.plants_b.faults import STRENGTHS, Fault, onset, truth_of
from tests.reference.plants_b.homes import Home, commission, make_home, promise
from tests.reference.plants_b.metering import Metering, Options, make_metering
from tests.reference.plants_b.records import I_BLOCK, I_GB, I_HOUR, I_TOUT

FAULTS: tuple[Fault, ...] = (*faults_heating.FAULTS, *faults_service.FAULTS, *faults_sensing.FAULTS)
WORDS = (
    "ash",
    "birch",
    "cedar",
    "dock",
    "elder",
    "fern",
    "gorse",
    "hazel",
    "iris",
    "juniper",
    "kale",
    "larch",
    "maple",
    "nettle",
    "oak",
    "pine",
    "quince",
    "rowan",
    "sorrel",
    "thyme",
    "umber",
    "vetch",
    "willow",
    "yarrow",
)
RANDOM_KINDS = ("heat_meter", "electricity_only", "registers", "controller", "split_meters", "full")
RANDOM_SHARES = (0.3, 0.18, 0.14, 0.14, 0.1, 0.14)
HEALTHY_SHARE = 0.3


def identity(seed: int, metering: str) -> dict[str, str]:
    """Invented id and name of a home."""
    word = WORDS[seed % len(WORDS)]
    return {"id": f"b{seed:04d}-{metering[0]}-{word}", "name": f"{word.capitalize()} {seed}"}


def fault_of(seed: int, rng: np.random.Generator, family: str) -> tuple[Fault | None, str]:
    """Choose healthy or a fault; consecutive seeds walk through all faults."""
    if family == "healthy" or (family == "all" and rng.random() < HEALTHY_SHARE):
        return None, "plain"
    fault = FAULTS[(seed * 29) % len(FAULTS)]
    return fault, str(rng.choice(STRENGTHS, p=[0.2, 0.5, 0.3]))


def make_faulty_home(
    rng: np.random.Generator, fault: Fault, strength: str, days: int, day: int
) -> tuple[Home, float]:
    """Return a home with the fault in it and the fault's size."""
    x = fault.x[STRENGTHS.index(strength)]
    wish: dict[str, Any] = dict(fault.wish)
    if fault.kind in faults_heating.OVERSIZE_BY_X:
        wish["oversize"] = x
    climate = wish.pop("climate", None)
    start = f"{rng.integers(2023, 2026)}-{fault.start}" if fault.start else None
    home = make_home(rng, days, start, climate, **wish)
    if fault.kind not in faults_heating.OVERSIZE_BY_X:
        commission(home)
        if rng.random() < 0.5:
            promise(home)
    if fault.tune is not None:
        fault.tune(home)
    fault.change(home, x, day)
    return home, x


def build(
    seed: int, family: str = "all", metering: str = "full"
) -> tuple[Home, Any, Metering, dict[str, Any]]:
    """Return home, simulation, metering and truth of a seed. The same arguments give the same plant."""
    rng = np.random.default_rng([seed, 20261129])
    fault, strength = fault_of(seed, rng, family)
    days = int(rng.integers(120, 201))
    day = onset(rng, days)
    x = 0.0
    if fault is None:
        home = make_home(rng, days)
        commission(home)
        if rng.random() < 0.5:
            promise(home)
        absence(rng, home)
    else:
        home, x = make_faulty_home(rng, fault, strength, days, day)
    kinds = fault.kinds if fault and fault.kinds else ()
    kind = "full" if metering == "full" else str(rng.choice(RANDOM_KINDS, p=RANDOM_SHARES))
    if kinds and kind not in kinds:
        kind = kinds[int(rng.integers(len(kinds)))]
    per_minute = 1
    if metering == "random" and rng.random() < 0.06 and kind in ("heat_meter", "controller"):
        per_minute, home.days = 6, min(home.days, 40)  # a few send every ten seconds
        if fault is not None and fault.mid:
            per_minute, home.days = 1, days
    sim = home.simulate(per_minute)
    m = make_metering(rng, home, sim, Options(kind, **home.options))
    for change in home.sensing:
        change(m, home, sim)
    truth = healthy_truth(home, m) if fault is None else truth_of(fault, strength, home, day, m, x)
    title = "Nothing is wrong" if fault is None else fault.title
    truth = {
        "name": identity(seed, metering)["id"],
        "family": "healthy" if fault is None else "fault",
        "title": title,
        **truth,
    }
    return home, sim, m, truth


def absence(rng: np.random.Generator, home: Home) -> None:
    """Some households go away for a week, some of them with the heating turned down."""
    if rng.random() < 0.3:
        first = float(rng.integers(20, home.days - 20))
        home.occupants.away.append((first, first + float(rng.integers(4, 11))))
        home.occupants.away_set = 17.0 if rng.random() < 0.5 else None
    if rng.random() < 0.12:
        home.edits.append(tariff_block)
    if rng.random() < 0.12:
        home.edits.append(wood_stove)


def tariff_block(inputs: np.ndarray, home: Home) -> None:
    """The network operator blocks the unit for two hours every evening and one at noon."""
    hour = inputs[:, I_HOUR]
    inputs[:, I_BLOCK] = ((hour >= 17.0) & (hour < 19.0)) | ((hour >= 11.5) & (hour < 12.5))


def wood_stove(inputs: np.ndarray, home: Home) -> None:
    """A wood stove in the living room on most winter evenings; nobody meters it."""
    for day in range(home.days):
        first = home.minute(day + 0.72)
        if home.rng.random() < 0.6 and inputs[first, I_TOUT] < 9.0:
            inputs[first : home.minute(day + 0.9), I_GB] += 2800.0


def healthy_truth(home: Home, m: Metering) -> dict[str, Any]:
    """Truth of a healthy home: nothing may be told."""
    assessed = m.kind == "full" and m.spacing_s <= 300
    little = m.kind in ("electricity_only", "registers", "controller", "split_meters")
    verdict = ["in_order"] if assessed else ["not_known"] if little else ["in_order", "not_known"]
    may = ["heat_loss_below_design"] if wood_stove in home.edits else []
    return {
        "fault": {"kind": "none", "strength": None, "since": None, "parameters": {}},
        "must": [],
        "first_cause": [],
        "may": may,
        "must_not": ["unit_stopped", "frost_risk", "water_too_hot"],
        "verdict": {"in": verdict},
    }


def write(seed: int, out: Path, family: str = "all", metering: str = "full") -> Path:
    """Write the folder of a seed and return it."""
    home, sim, m, truth = build(seed, family, metering)
    folder = out / f"{family}-{metering}-{seed:04d}"
    write_plant(folder, home, sim, m, identity(seed, metering), truth)
    return folder
