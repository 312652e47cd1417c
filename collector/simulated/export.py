"""Write a simulated system as files: site file, CSV export and truth."""

from __future__ import annotations

import gzip as gzip_module
from pathlib import Path
from typing import Literal

import numpy as np
import orjson
import pandas as pd
import pyarrow as pa
import pyarrow.csv as pa_csv

from fieldfare.analysis.readings import Samples
from fieldfare.collector.simulated.design.spec import Meter, PlantSpec
from fieldfare.collector.simulated.plant import Simulated
from fieldfare.collector.simulated.site import MODE_WORDS, site_toml


def write(
    simulated: Simulated,
    folder: Path,
    form: Literal["wide", "long"] = "wide",
    gzip: bool = False,
    naive_local: bool = False,
    delimiter: str = ",",
    decimal: str = ".",
) -> list[Path]:
    """Write `<id>.toml`, `<id>.csv` (or `.csv.gz`) and `<id>.truth.json`.

    simulated : Simulated; folder : Path, created if missing; form : "wide" (a column per point) or "long" (a
        row per reading)
    gzip : bool; naive_local : bool, times in the site's zone without offset, else UTC with Z
    delimiter, decimal : str, one character each, not the same
    Returns list of Path. Raises ValueError if delimiter and decimal are the same.
    """
    if delimiter == decimal:
        raise ValueError(f"delimiter and decimal must differ, both are {decimal!r}")
    spec = simulated.spec
    folder.mkdir(parents=True, exist_ok=True)
    site, truth = folder / f"{spec.id}.toml", folder / f"{spec.id}.truth.json"
    table = folder / f"{spec.id}.csv{'.gz' if gzip else ''}"
    site.write_text(
        site_toml(spec, delimiter=delimiter, decimal=decimal, naive_local=naive_local), encoding="utf-8"
    )
    frame = wide(simulated, naive_local) if form == "wide" else long(simulated, naive_local, decimal)
    with gzip_module.open(table, "wb", compresslevel=4) if gzip else table.open("wb") as out:
        if decimal == ".":
            options = pa_csv.WriteOptions(delimiter=delimiter, quoting_style="none")
            # pandas uses NaN for an empty cell; the CSV leaves it empty
            pa_csv.write_csv(pa.Table.from_pandas(frame, preserve_index=False), out, write_options=options)
        else:
            frame.to_csv(out, index=False, sep=delimiter, decimal=decimal)
    truth.write_bytes(orjson.dumps(simulated.truth.summary(), option=orjson.OPT_SERIALIZE_NUMPY))
    return [site, table, truth]


def clock_text(time_ms: np.ndarray, spec: PlantSpec, naive_local: bool) -> np.ndarray:
    """Instants as ISO 8601 text.

    time_ms : int64 (n,) [UTC ms]
    Returns object array (n,): UTC with Z, or local time without offset (a repeated hour appears twice).
    """
    stamps = time_ms.astype("datetime64[ms]")
    if not naive_local:
        text = np.datetime_as_string(stamps, unit="s")
        return np.asarray(np.char.add(text, "Z"))
    local = pd.DatetimeIndex(stamps).tz_localize("UTC").tz_convert(spec.climate.timezone).tz_localize(None)
    return np.datetime_as_string(local.to_numpy().astype("datetime64[s]"), unit="s")


def _written(meter: Meter, samples: Samples) -> np.ndarray:
    """Values as in a gateway's export: words for modes, whole numbers for other states."""
    if meter.quantity == "fault_code":
        return samples.value
    if meter.quantity == "operating_mode":
        return np.array(MODE_WORDS, dtype=object)[samples.value.astype(int)]
    return samples.value


def wide(simulated: Simulated, naive_local: bool = False) -> pd.DataFrame:
    """Wide table: one row per instant, one column per point, empty where a point has no reading."""
    spec = simulated.spec
    held = [s.time for s in simulated.readings.values() if len(s.time)]
    times = np.unique(np.concatenate(held)) if held else np.array([], dtype=np.int64)
    columns: dict[str, np.ndarray] = {"time": clock_text(times, spec, naive_local)}
    for meter in spec.meters:
        samples = simulated.readings[meter.id]
        value = _written(meter, samples)
        at = np.searchsorted(times, samples.time)
        if value.dtype == object:
            column = np.full(len(times), None, dtype=object)
        else:
            column = np.full(len(times), np.nan)
        column[at] = value
        columns[meter.id] = column
    return pd.DataFrame(columns)


def long(simulated: Simulated, naive_local: bool = False, decimal: str = ".") -> pd.DataFrame:
    """Long table: one row per reading (time, point, value as text with this decimal sign), by time."""
    spec = simulated.spec
    times, points, values = [], [], []
    for number, meter in enumerate(spec.meters):
        samples = simulated.readings[meter.id]
        value = _written(meter, samples)
        times.append(samples.time)
        points.append(np.full(len(value), number))
        if value.dtype != object:
            text = np.char.mod("%.10g", value)
            value = (np.char.replace(text, ".", decimal) if decimal != "." else text).astype(object)
        values.append(value)
    time = np.concatenate(times)
    point = np.concatenate(points)
    order = np.lexsort((point, time))
    names = np.array([m.id for m in spec.meters], dtype=object)
    return pd.DataFrame(
        {
            "time": clock_text(time[order], spec, naive_local),
            "point": names[point[order]],
            "value": np.concatenate(values)[order],
        }
    )
