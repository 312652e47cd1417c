"""Build one plant: home, fault, run, readings, truth; write its folder."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import tomlkit
from pyarrow import csv

from tests.reference.plants_c.faults import COLD, COSTS, FAULTS
from tests.reference.plants_c.homes import PLACES, Home, design_table, make_home, rating_points
from tests.reference.plants_c.metering import Metering, make_frame, make_metering
from tests.reference.plants_c.physics import WATER_J, capacity
from tests.reference.plants_c.run import figures, run
from tests.reference.plants_c.spec import UNDERFLOOR

STRENGTHS = (0.7, 0.85, 1.0)
LOUD = ["watch", "act", "urgent"]


def site_tables(home: Home, m: Metering, identity: dict[str, str]) -> dict[str, Any]:
    """The site file's tables, true to the plant as built."""
    s = home.spec
    tables: dict[str, Any] = {
        "site": {
            **identity,
            "timezone": PLACES[home.climate][0],
            "latitude": PLACES[home.climate][1],
            "floor_area_m2": round(s["area"], 1),
        },
        "design": design_table(home),
        "heat_pump": {
            "source": "air",
            "rated_output_kw": rating_points(s)[0]["output_kw"],
            "min_output_kw": round(s["min_share"] * capacity(s["q_nom"], 7.0, 35.0) / 1000, 2),
            "max_flow_c": s["flow_max"],
            "flow_m3_per_h": round(s["flow"] / WATER_J * 3.6, 2),
            "rating": rating_points(s),
        },
        "heating_curve": {"points": [[s["t_cold"], s["f_cold"]], [s["t_warm"], s["f_warm"]]]},
        "emitter": [emitter_table(s, z, zone) for z, zone in (("0", "downstairs"), ("1", "upstairs"))],
    }
    if s["dhw"]:
        tables["hot_water"] = {
            "cylinder_litres": s["litres"],
            "setpoint_c": s["setpoint"],
            "reheat_below_c": s["below"],
            "standing_loss_kwh_per_day": round(s["ua_cyl"] * 45 * 0.024, 2),
        }
        if s["dis_c"]:
            tables["hot_water"] |= {"pasteurise_c": s["dis_c"], "pasteurise_every_days": 7}
    if s["parallel"]:
        litres = round((s["c_sup"] + s["c_ret"]) / WATER_J)
        tables["buffer"] = {"litres": litres, "arrangement": "parallel"}
    tables["cost"] = {"currency": "EUR", "electricity": 0.3}
    tables["point"] = [
        {"id": p.id, "quantity": p.quantity, "as": p.kind, **({"unit": p.unit} if p.unit else {}), **p.extra}
        for p in m.points
    ]
    return tables


def emitter_table(s: dict[str, float], z: str, zone: str) -> dict[str, Any]:
    """One [[emitter]]: radiators at 50 K; a floor at 9 K between surface and room and 15 K of its water."""
    if s["kind" + z] == UNDERFLOOR:
        return {
            "zone": zone,
            "kind": "underfloor",
            "output_kw": round(s["out" + z] * 0.0524, 2),
            "output_excess_k": 13.7,
        }  # 8.92 * 5^1.1 = 52.4 W/m2 needs 5 K + 52.4/6 K
    return {
        "zone": zone,
        "kind": "radiator",
        "output_kw": round(s["out" + z] / 1000, 2),
        "output_excess_k": 50.0,
    }


def clean(table: Any) -> Any:
    """Plain numbers for the site file: floats rounded, numpy numbers made Python's."""
    if isinstance(table, dict):
        return {k: clean(v) for k, v in table.items()}
    if isinstance(table, list):
        return [clean(v) for v in table]
    if isinstance(table, float | np.floating):
        return round(float(table), 3)
    return table


def to_arrow(column: pd.Series) -> pa.Array:
    """A column for the export; what is missing is an empty cell."""
    if column.dtype == object or str(column.dtype).startswith("str"):
        return pa.array(column.astype(object).to_numpy(), pa.string(), from_pandas=True)
    values = column.to_numpy(float)
    return pa.array(np.round(values, 3), mask=np.isnan(values))


def write_readings(path: Path, frame: pd.DataFrame, long: bool) -> None:
    """Write the readings, wide or long; long has only changes and one row an hour of each point."""
    times = frame.index.strftime("%Y-%m-%dT%H:%M:%SZ")
    columns = {name: to_arrow(frame[name]) for name in frame}
    if long:
        hourly = np.asarray(frame.index.minute == 0)
        parts = []
        for name, column in columns.items():
            value = pd.Series(column.cast(pa.string()).to_numpy(zero_copy_only=False), dtype=object)
            keep = ((value != value.shift()).to_numpy() | hourly) & value.notna().to_numpy()
            parts.append(pd.DataFrame({"time": times[keep], "point": name, "value": value[keep].to_numpy()}))
        rows = pd.concat(parts).sort_values("time", kind="stable")
        table = pa.table({name: pa.array(rows[name].to_numpy(), pa.string()) for name in rows})
    else:
        table = pa.table({"time": pa.array(times.to_numpy(), pa.string()), **columns})
    with pa.CompressedOutputStream(str(path), "gzip") as sink:
        csv.write_csv(table, sink, csv.WriteOptions(quoting_style="needed"))


def effects(true: dict[str, float], sound: dict[str, float]) -> tuple[dict[str, float], list[str]]:
    """What the fault did against the same plant without it, and the codes that this makes true."""
    per_heat = [f["electricity_kwh"] / max(f["heat_kwh"], 1.0) for f in (true, sound)]
    size = {key: round(true[key] - sound[key], 3) for key in true}
    size["electricity_per_heat_ratio"] = round(per_heat[0] / max(per_heat[1], 1e-6), 4)
    may: list[str] = []
    if size["electricity_per_heat_ratio"] > 1.04 or size["electricity_kwh"] > 0.06 * sound["electricity_kwh"]:
        may += COSTS
    if size["room_deficit_k"] > 0.15:
        may += COLD
    may += ["backup_heater_use"] if size["backup_kwh"] > 10 else []
    may += ["immersion_use"] if size["immersion_kwh"] > 10 else []
    may += ["short_cycling"] if true["starts"] > 1.35 * sound["starts"] + 20 else []
    may += ["excessive_defrost"] if true["defrosts"] > 1.35 * sound["defrosts"] + 20 else []
    may += ["hot_water_shortfall"] if size["litres_below_40c"] > 100 else []
    may += ["pump_always_on"] if size["pump_kwh"] > 0.5 * sound["pump_kwh"] else []
    return size, may


def too_small(least: tuple[str, float], size: dict[str, float], days: int) -> bool:
    """Whether a fault's effect is too small to matter: energy of a year, anything else as it is."""
    effect, amount = least
    return bool(effect) and size[effect] * (365.0 / days if effect.endswith("_kwh") else 1.0) < amount


def build_truth(
    name: str,
    kind: str | None,
    home: Home,
    m: Metering,
    day: float,
    strength: float,
    true: dict[str, float],
    sound: dict[str, float],
) -> dict[str, Any]:
    """The truth of a plant."""
    truth: dict[str, Any] = {
        "name": name,
        "fault": None,
        "must": [],
        "may": [],
        "must_not": [],
        "first_cause": [],
        "verdict": {"in": ["in_order"]},
    }
    if m.kind != "full":
        truth["verdict"]["in"].append("not_known")
    if kind:
        fault = FAULTS[kind]
        size, also = effects(true, sound)
        truth["fault"] = {
            "kind": kind,
            "from_day": day,
            "strength": strength,
            "size": size,
            "changes": [vars(c) for c in home.changes],
        }
        truth["may"] = sorted(set(fault.may) | set(also))
        metered = {p.quantity for p in m.points}
        truth["verdict"]["in"] = LOUD
        small = too_small(fault.least, size, home.days)
        seen = (set(fault.needs) <= metered) and m.kind in ("full", "heat", "unit") and not small
        if seen:
            truth["must"] = [{"any_of": list(fault.must), "severity_at_least": fault.severity}]
            truth["first_cause"] = list(fault.causes) if m.spacing <= fault.finest else []
        if not seen or fault.severity == "note":
            truth["may"] = sorted(set(truth["may"]) | set(fault.must))
            truth["verdict"]["in"] = ["in_order", "not_known", *LOUD]
    return truth | {
        "metering": m.kind,
        "spacing_min": m.spacing,
        "days": home.days,
        "climate": home.climate,
        "control": home.spec["control"],
        "figures": true,
    }


def fault_of(seed: int, family: str) -> str | None:
    """The fault of a seed: even seeds are healthy in the family `all`."""
    if family == "healthy" or (family == "all" and seed % 2 == 0):
        return None
    kinds = list(FAULTS)
    return kinds[((seed if family == "fault" else (seed + 1) // 2) - 1) % len(kinds)]


def prepare(seed: int, family: str, days: int) -> tuple[Home, str | None, float, float]:
    """The home of a seed with its fault built in: home, fault, day of its start, strength."""
    kind = fault_of(seed, family)
    rng = np.random.default_rng([seed, 77])
    season = str(rng.choice(["winter", "winter", "winter", "spring", "summer"])) if kind is None else ""
    home = make_home(seed, days, season or FAULTS[kind or ""].season)
    strength = float(rng.choice(STRENGTHS))
    day = 0.0
    if kind:
        day = float(int(days * rng.uniform(0.35, 0.5))) if FAULTS[kind].late else 0.0
        FAULTS[kind].build(home, day, strength)
    elif rng.random() < 0.1:
        home.spec["stove_w"] = 2000.0
    return home, kind, day, strength


def write(seed: int, out: Path, family: str = "all", metering: str = "full", days: int = 90) -> Path:
    """Write the plant of a seed; return its folder."""
    home, kind, day, strength = prepare(seed, family, days)
    name = f"c-{seed:04d}-{(kind or 'healthy').replace('_', '-')}"
    channels = run(home)
    true = figures(channels)
    sound = true
    if home.changes:
        sound = figures(run(home, faulty=False))
    elif kind and not home.edits:
        sound = figures(run(make_home(seed, days, FAULTS[kind].season)))
    m = make_metering(home, metering)
    frame = make_frame(home, channels, m)
    folder = out / name
    folder.mkdir(parents=True, exist_ok=True)
    identity = {"id": name, "name": f"Plant {seed}"}
    (folder / "site.toml").write_text(tomlkit.dumps(clean(site_tables(home, m, identity))))
    write_readings(folder / "readings.csv.gz", frame, m.long)
    truth = build_truth(name, kind, home, m, day, strength, true, sound)
    (folder / "truth.json").write_text(json.dumps(truth, indent=1, default=float) + "\n")
    return folder
