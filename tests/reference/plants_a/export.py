"""Write a plant's folder: site.toml, readings and truth.json."""

import gzip
import json
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import csv as pa_csv

from tests.reference.plants_a.home import Plant, begin_utc
from tests.reference.plants_a.meters import Channel


def toml_value(value: object) -> str:
    """Return a value in TOML form."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(k)} = {toml_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(v) for v in value) + "]"
    if isinstance(value, float | np.floating):
        return repr(round(float(value), 4))
    if isinstance(value, int | np.integer):
        return str(int(value))
    if isinstance(value, str):
        return json.dumps(value)
    return str(value)


def table(name: str, values: dict, array: bool = False) -> str:
    """Return a TOML table; None values are left out."""
    head = f"[[{name}]]" if array else f"[{name}]"
    return "\n".join([head, *(f"{k} = {toml_value(v)}" for k, v in values.items() if v is not None)]) + "\n"


def emitter_tables(plant: Plant) -> list[str]:
    """Return the emitters as the installer knows them."""
    p, out = plant.facts["asked"][0], []
    for i, zone in enumerate(plant.facts["zone_names"], start=1):
        if p[f"floor{i}"] > 0.5:
            # output at the excess of mean water temperature over the room at design flow
            excess = float(p["y1"]) - 3.0 - plant.design["indoor_c"]
            output = float(p[f"ua_tube{i}"]) * max(excess - 5.0, 2.0) / 1000.0
            row = {
                "zone": zone,
                "kind": "underfloor",
                "output_kw": round(output, 2),
                "output_excess_k": round(excess, 1),
            }
        else:
            row = {
                "zone": zone,
                "kind": "radiator",
                "output_kw": round(float(p[f"phi{i}"]) / 1000.0, 2),
                "output_excess_k": 50.0,
            }
        out.append(table("emitter", row, True))
    return out


def site_toml(plant: Plant, channels: list[Channel], csv: dict) -> str:
    """Return the site file. It states what the installer knew (`facts`), not what has gone wrong since."""
    f, p = plant.facts, plant.facts["asked"][0]
    handed = plant.start - timedelta(days=f.get("days_since_hand_over", 200))
    parts = [
        table(
            "site",
            {
                "id": plant.name,
                "name": f"Plant {plant.name}",
                "timezone": f["timezone"],
                "latitude": plant.climate.latitude,
                "longitude": plant.climate.longitude,
                "handed_over": handed,
                "floor_area_m2": round(f["area"], 0),
            },
        ),
        table("design", plant.design),
        table(
            "heat_pump",
            {
                "source": "air",
                "rated_output_kw": f["ratings"][0]["output_kw"],
                "min_output_kw": f["min_output_kw"],
                "max_flow_c": float(p["t_max"]),
                "flow_m3_per_h": float(p["q_nom"]),
                "antifreeze": f["antifreeze"],
                "antifreeze_percent": f["antifreeze_percent"],
                "refrigerant": f["refrigerant"],
            },
        ),
        *(table("heat_pump.rating", r, True) for r in f["ratings"]),
        table(
            "heating_curve",
            {
                "points": [
                    [float(p["x1"]), float(p["y1"] + p["shift"])],
                    [float(p["x2"]), float(p["y2"] + p["shift"])],
                ]
            },
        ),
        *emitter_tables(plant),
    ]
    if f["hot_water"]:
        parts.append(
            table(
                "hot_water",
                {
                    "cylinder_litres": int(p["cyl_l"]),
                    "setpoint_c": float(p["setp"]),
                    "reheat_below_c": float(p["reheat"]),
                    "pasteurise_c": f.get("past_c"),
                    "pasteurise_every_days": 7 if f.get("past_c") else None,
                    "standing_loss_kwh_per_day": round(float(p["ua_cyl"]) * 45.0 * 24.0 / 1000.0 * 1.05, 2),
                },
            )
        )
    if p["buffer"] > 0.5:
        kind = "parallel" if p["buffer"] > 1.5 else "series"
        parts.append(table("buffer", {"litres": int(p["buffer_l"]), "arrangement": kind}))
    parts.append(
        table(
            "cost",
            {
                "currency": "EUR",
                "electricity": 0.28,
                "previous_fuel": "natural_gas",
                "previous_fuel_price": 0.09,
                "previous_efficiency": 0.84,
            },
        )
    )
    parts.append(table("csv", csv))
    for channel in channels:
        entry = dict(channel.entry)
        values = entry.pop("values", None)
        text = table("point", entry, True)
        if values:
            text += table("point.values", {json.dumps(k): v for k, v in values.items()})
        parts.append(text)
    return "\n".join(parts)


def sample(channel: Channel, step: int) -> np.ndarray:
    """Return the values of a channel at every `step` minutes, at the meter's resolution."""
    v = channel.values
    n = len(v) // step
    if channel.kind == "mean":
        out = v[: n * step].reshape(n, step).mean(axis=1)
    else:
        out = v[step - 1 : n * step : step]
    if channel.kind == "state":
        return out
    if channel.resolution > 0:
        floor = np.floor if channel.kind == "register" else np.round
        out = np.round(floor(out / channel.resolution + 1e-9) * channel.resolution, 6)
    return out.astype(float)


def draw_gaps(rng: np.random.Generator, n: int, step: int, days: int, share: float) -> np.ndarray:
    """Return a mask of the rows that never arrived; `share` scales their number."""
    lost = np.zeros(n, bool)
    for _ in range(rng.poisson(days / 30.0 * share)):
        a = int(rng.integers(0, n))
        lost[a : a + max(1, int(rng.lognormal(4.2, 1.1) / step))] = True
    return lost


def spoil(plant: Plant, channel: Channel, values: np.ndarray, step: int) -> np.ndarray:
    """Apply faults of single sensors: stuck from a day on, or failing to -40 degC."""
    stuck = plant.sensing.get("stuck")
    if stuck and channel.entry["quantity"] == stuck["quantity"]:
        i = int(stuck["day"] * 1440 / step)
        values = values.copy()
        values[i:] = values[i]
    silent = plant.sensing.get("silent")
    if silent and channel.entry["quantity"] in silent["quantities"]:
        values = values.astype(object)
        values[int(silent["day"] * 1440 / step) :] = None
    dead = plant.sensing.get("minus40")
    if dead and channel.entry["quantity"] == dead["quantity"]:
        i = int(dead["day"] * 1440 / step)
        rng = np.random.default_rng([5, plant.seed])
        out = rng.random(len(values)) < dead.get("share", 1.0)
        out[:i] = False
        values = np.where(out, -40.0, values)
    return values


def stamps(plant: Plant, n: int, step: int, naive: bool) -> pd.Series:
    """Return the times at the end of each interval as text: UTC, or local without offset."""
    zone = ZoneInfo(plant.facts["timezone"])
    begin = pd.Timestamp(begin_utc(plant.start, plant.facts["timezone"]))
    times = begin + pd.to_timedelta((np.arange(n) + 1) * step, unit="min")
    if naive:
        return pd.Series(times.tz_convert(zone).strftime("%Y-%m-%d %H:%M:%S"))
    return pd.Series(times.strftime("%Y-%m-%dT%H:%M:%SZ"))


def write_plant(
    plant: Plant, channels: list[Channel], step: int, folder: Path, rng: np.random.Generator
) -> None:
    """Write the site file and the readings of `plant` into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    naive, semicolon, long = (
        rng.random() < 0.25,
        rng.random() < 0.15,
        len(channels) <= 8 and step >= 5 and rng.random() < 0.4,
    )
    csv: dict = {}
    if naive:
        csv["timezone"] = plant.facts["timezone"]
    if semicolon:
        csv["delimiter"] = ";"
    columns = {c.entry["id"]: spoil(plant, c, sample(c, step), step) for c in channels}
    n = len(next(iter(columns.values())))
    time = stamps(plant, n, step, naive)
    shift = plant.sensing.get("clock_shift_min", 0)
    if shift:
        k = round(shift / step)
        for c in channels:
            if c.device == plant.sensing.get("clock_device", "heat"):
                key = c.entry["id"]
                columns[key] = np.concatenate([np.full(k, np.nan), columns[key][: n - k]])
    keep = ~draw_gaps(rng, n, step, plant.days, plant.sensing.get("gap_share", 1.0))
    for a, b in plant.sensing.get("blackouts", ()):
        keep[int(a * 1440 / step) : int(b * 1440 / step)] = False
    frame = pd.DataFrame({"time": time, **columns}).loc[keep]
    if long:
        frame = (
            frame.melt(id_vars="time", var_name="point", value_name="value")
            .dropna()
            .sort_values("time", kind="stable")
        )
        frame["value"] = frame["value"].map(lambda v: v if isinstance(v, str) else f"{v:.10g}")
    write_csv(frame, folder / "readings.csv.gz", ";" if semicolon else ",")
    (folder / "site.toml").write_text(site_toml(plant, channels, csv or {"time_column": "time"}))
    (folder / "truth.json").write_text(json.dumps(plant.truth, indent=1) + "\n")


def write_csv(frame: pd.DataFrame, path: Path, delimiter: str) -> None:
    """Write a frame as compressed CSV, the same bytes for the same frame."""
    options = pa_csv.WriteOptions(delimiter=delimiter, quoting_style="needed")
    sink = pa.BufferOutputStream()
    pa_csv.write_csv(pa.Table.from_pandas(frame, preserve_index=False), sink, options)
    path.write_bytes(gzip.compress(sink.getvalue().to_pybytes(), 3, mtime=0))
