"""Write a home's folder: site file, readings and truth."""

import gzip
import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv

from tests.reference.plants_b.homes import Home
from tests.reference.plants_b.metering import MODES, Metering, Point

FAULT_TEXT = {0: "0", 7: "E07", 12: "E12", 21: "E21", 33: "E33", 41: "E41"}


def toml_value(value: Any) -> str:
    """Format one TOML value."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(toml_value(v) for v in value) + "]"
    if isinstance(value, np.datetime64):
        return str(value)
    if isinstance(value, str):
        return json.dumps(value)
    return repr(round(value.item() if hasattr(value, "item") else value, 6))


def toml_table(head: str, table: dict[str, Any]) -> str:
    """Format one TOML table; nested tables follow it."""
    inner = {k: v for k, v in table.items() if isinstance(v, dict)}
    lines = [head] + [f"{k} = {toml_value(v)}" for k, v in table.items() if k not in inner]
    name = head.strip("[]")
    for key, sub in inner.items():
        lines += [f"[{name}.{key}]"] + [f"{json.dumps(k)} = {toml_value(v)}" for k, v in sub.items()]
    return "\n".join(lines) + "\n"


def site_text(site: dict[str, Any], identity: dict[str, str], m: Metering) -> str:
    """The site file."""
    parts = [toml_table("[site]", {**identity, **site["site"]})]
    for key in ("design", "heat_pump"):
        parts.append(toml_table(f"[{key}]", site[key]))
    parts += [toml_table("[[heat_pump.rating]]", row) for row in site["rating"]]
    if "heating_curve" in site:
        parts.append(toml_table("[heating_curve]", site["heating_curve"]))
    parts += [toml_table("[[emitter]]", row) for row in site["emitter"]]
    for key in ("hot_water", "buffer", "cost"):
        if key in site:
            parts.append(toml_table(f"[{key}]", site[key]))
    if m.csv:
        parts.append(toml_table("[csv]", m.csv))
    for p in m.points:
        table = {"id": p.id, "quantity": p.quantity, "as": p.kind}
        if p.unit:
            table["unit"] = p.unit
        parts.append(toml_table("[[point]]", {**table, **p.extra}))
    return "\n".join(parts)


def sample(p: Point, m: Metering, at: np.ndarray) -> np.ndarray:
    """Values of a point at record indices `at` (the record that has just ended)."""
    signal = m.signals[p.signal]
    if p.kind == "state":
        values = signal[at].astype(int)
        if p.signal == "mode":
            return MODES[values].astype(object)
        if p.signal == "fault":
            return np.array([FAULT_TEXT.get(v, f"E{v:02d}") for v in values], dtype=object)
        return values.astype(object)
    if p.kind == "register" and p.unit != "kWh":
        return np.floor(signal[at])
    if p.kind in ("register", "interval"):
        total = np.concatenate([[0.0], np.cumsum(signal) * m.record_s / 3.6e6])[at + 1]
        if p.kind == "interval":
            energy = np.diff(np.append(total, total[-1]))  # stamped at the interval's start
            return rounded(energy * p.factor, p.step)
        return np.floor((total + p.start) * p.factor / p.step + 1e-9) * p.step
    values = signal[at]
    if p.kind == "power" and m.record_s == 60 and m.spacing_s >= 300:
        values = 0.5 * (signal[at] + signal[np.maximum(at - 1, 0)])
    return rounded(values * p.factor, p.step)


def rounded(values: np.ndarray, step: float) -> np.ndarray:
    """Round to a resolution."""
    return np.round(values / step) * step if step else values


def table(home: Home, m: Metering) -> pd.DataFrame:
    """All readings on the common spacing, with gaps as missing rows."""
    records = len(m.signals["elec"])
    every = max(1, m.spacing_s // m.record_s)
    at = np.arange(every - 1, records, every)
    stamps = pd.to_datetime(str(home.start)) + pd.to_timedelta((at + 1) * m.record_s, unit="s")
    frame = pd.DataFrame({p.id: sample(p, m, at) for p in m.points}, index=stamps.tz_localize("UTC"))
    days = (at + 1) * m.record_s / 86400.0
    keep = np.ones(len(at), bool)
    for first, last in m.drop:
        keep &= ~((days >= first) & (days < last))
    if m.missing:
        keep &= home.rng.random(len(at)) >= m.missing
    frame = frame[keep]
    for change in m.post:
        frame = change(frame)
    return frame


def decimals(p: Point) -> int:
    """Digits after the decimal mark that a resolution needs."""
    return max(0, round(-np.log10(p.step) + 0.3)) if 0 < p.step < 1 else 0 if p.step else 3


def text_columns(frame: pd.DataFrame, m: Metering) -> dict[str, pa.Array]:
    """Values as text, each in its own resolution; a missing value is an empty text."""
    out = {}
    for p in m.points:
        column = frame[p.id]
        if p.kind == "state":
            text = pa.array(column.map(lambda v: "" if v is None or v != v else str(v)), pa.string())
        else:
            values = column.to_numpy(float)
            absent = np.isnan(values)
            digits = decimals(p)
            clean = np.round(np.nan_to_num(values), digits)
            numbers = pa.array(clean if digits else clean.astype("int64"), mask=absent)
            text = pc.fill_null(pc.cast(numbers, pa.string()), "")
        if m.csv.get("decimal", ".") != ".":
            text = pc.replace_substring(text, ".", m.csv["decimal"])
        out[p.id] = text
    return out


def time_column(frame: pd.DataFrame, m: Metering) -> tuple[pa.Array, np.ndarray]:
    """Times as text, and which rows are kept: a local export leaves out the hour that occurs twice."""
    keep = np.ones(len(frame), bool)
    stamps = frame.index.tz_localize(None)
    form = "%Y-%m-%dT%H:%M:%SZ"
    if m.csv:
        form = m.csv["time_format"]
    if "timezone" in m.csv:
        stamps = frame.index.tz_convert(m.csv["timezone"]).tz_localize(None)
        keep = ~stamps.duplicated(keep=False)
    return pc.strftime(pa.array(stamps.to_numpy().astype("datetime64[s]")), format=form), keep


def write_readings(folder: Path, home: Home, m: Metering) -> Path:
    """Write readings.csv.gz, wide or long."""
    frame = table(home, m)
    text = text_columns(frame, m)
    times, keep = time_column(frame, m)
    delimiter = m.csv.get("delimiter", ",")
    if m.form == "wide":
        names = [m.csv.get("time_column", "time"), *text]
        rows = pa.table([times, *text.values()], names=names)
        if not keep.all():
            rows = rows.filter(pa.array(keep))
    else:
        names = ["time", "point", "value"]
        rows = long_rows(times, text, m)
    path = folder / "readings.csv.gz"
    options = csv.WriteOptions(include_header=False, delimiter=delimiter, quoting_style="none")
    with gzip.open(path, "wb", compresslevel=2) as out:
        out.write((delimiter.join(names) + "\n").encode())
        csv.write_csv(rows, out, options)
    return path


def long_rows(times: pa.Array, text: dict[str, pa.Array], m: Metering) -> pa.Table:
    """One row a reading; with a gateway that sends on change, only changes and one reading an hour."""
    hourly = np.zeros(len(times), bool)
    hourly[:: max(1, 3600 // m.spacing_s)] = True
    orders, points, values = [], [], []
    for number, column in enumerate(text.values()):
        codes = column.dictionary_encode().indices.to_numpy()
        keep = pc.not_equal(column, "").to_numpy(zero_copy_only=False)
        if m.on_change and len(codes):
            keep &= np.append(True, codes[1:] != codes[:-1]) | hourly
        at = np.flatnonzero(keep)
        orders.append(at)
        points.append(np.full(len(at), number))
        values.append(column.take(pa.array(at)))
    order = np.concatenate(orders)
    sorted_by_time = np.argsort(order, kind="stable")
    names = pa.array(list(text)).take(pa.array(np.concatenate(points)[sorted_by_time]))
    value = pa.concat_arrays(values).take(pa.array(sorted_by_time))
    return pa.table(
        [times.take(pa.array(order[sorted_by_time])), names, value], names=["time", "point", "value"]
    )


def figures(home: Home, sim: Any) -> dict[str, float]:
    """The truth at the plant itself."""
    k = sim.per_minute * 60000.0

    def kwh(name: str) -> float:
        return float(sim.channel(name).sum() / k)

    unit, heater, immersion, pump = kwh("p_unit"), kwh("p_bu"), kwh("p_imm"), kwh("p_pump")
    heat = kwh("q_meter")
    total = unit + heater + immersion + pump
    return {
        "H2": round(heat / max(unit, 1e-6), 3),
        "H4": round((heat + heater + immersion) / max(total, 1e-6), 3),
        "heat_loss_w_per_k": round(home.heat_loss_w_per_k, 1),
        "starts": int(sim.channel("starts")[-1]),
        "defrosts": int(sim.channel("defrosts")[-1]),
        "electricity_kwh": round(total, 1),
        "heat_kwh": round(heat + heater + immersion, 1),
        "backup_kwh": round(heater, 1),
        "immersion_kwh": round(immersion, 1),
        "hot_water_kwh": round(kwh("q_dhw"), 1),
    }


def write_plant(
    folder: Path, home: Home, sim: Any, m: Metering, identity: dict[str, str], truth: dict
) -> None:
    """Write the three files of one plant."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text(site_text(home.site, identity, m))
    write_readings(folder, home, m)
    truth = {
        **truth,
        "metering": m.kind,
        "spacing_min": m.spacing_s / 60,
        "days": home.days,
        "figures": figures(home, sim),
    }
    (folder / "truth.json").write_text(json.dumps(truth, indent=1, default=float) + "\n")
