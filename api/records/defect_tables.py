"""Write the tables of a defect pack as CSV: stored readings, events, points, figures, limits."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.minutes.operating_state import UNKNOWN, USE_UNKNOWN
from fieldfare.analysis.plant.quantities import MODES
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.readings import MS_PER_MINUTE, Samples
from fieldfare.api.core.site_rows import moment_text
from fieldfare.collector.csv.cells import harmless
from fieldfare.collector.store.protocol import Store
from fieldfare.collector.store.sealed import month_parts

READINGS = "readings"
_HEADER = b"time_utc,value,text,unit,meter_class\n"
_QUOTED = set(',"\r\n')
NOT_STATED = "not stated"
EVENTS = (
    "kind",
    "start_utc",
    "start_local",
    "end_utc",
    "minutes",
    "use",
    "heat_kwh",
    "electricity_kwh",
    "outdoor_c",
    "flow_c",
    "return_c",
    "cylinder_from_c",
    "cylinder_to_c",
    "ended_by",
    "cut",
    "fault_codes",
)
_USES = {code: word for word, code in MODES.items()} | {USE_UNKNOWN: "not known", UNKNOWN: "not known"}


@dataclass
class PointFile:
    """Location of a point's readings. stored_under : the store's key and the point's id there"""

    point: Point
    name: str
    stored_under: tuple[str, str]
    count: int = 0
    first: int | None = None
    last: int | None = None

    def append(self, folder: Path, samples: Samples) -> None:
        """Append readings, in order of time."""
        with (folder / self.name).open("ab") as file:
            if not self.count:
                file.write(_HEADER)
            _append(file, self.point, samples)
        self.count += len(samples.time)
        self.first = int(samples.time[0]) if self.first is None else self.first
        self.last = int(samples.time[-1])


@dataclass
class PointFiles:
    """Write the readings of each point concerned to its own file."""

    files: dict[str, PointFile] = field(default_factory=dict)

    def add(self, point: Point, key: str, there: str) -> None:
        """Find a point by store key and id."""
        stem = re.sub(r"[^A-Za-z0-9_.-]", "-", point.id).strip(".") or "point"
        taken = {f.name.lower() for f in self.files.values()}
        name, n = f"{READINGS}/{stem}.csv", 1
        while name.lower() in taken:
            n += 1
            name = f"{READINGS}/{stem}-{n}.csv"
        self.files[point.id] = PointFile(point, name, (key, there))

    def write(self, folder: Path, store: Store, start: int, end: int) -> None:
        """Write start <= time < end [ms], a month in memory at once; points without readings get no file."""
        (folder / READINGS).mkdir()
        keys = {f.stored_under[0] for f in self.files.values()}
        for first, last in month_parts(start, end):
            for key in sorted(keys):
                mine = [f for f in self.files.values() if f.stored_under[0] == key]
                found = store.read(key, [f.stored_under[1] for f in mine], first, last)
                for file in mine:
                    samples = found.get(file.stored_under[1])
                    if samples is not None and len(samples.time):
                        file.append(folder, samples)
        self.files = {name: f for name, f in self.files.items() if f.count}


def _append(file: BinaryIO, point: Point, samples: Samples) -> None:
    n = len(samples.time)
    shown = "ms" if (samples.time % 1000).any() else "s"
    time = pa.array(samples.time).cast(pa.timestamp("ms", "UTC")).cast(pa.timestamp(shown, "UTC"))
    text = pc.strftime(time, "%Y-%m-%dT%H:%M:%SZ")
    values, words = _values(point, samples)
    same = [harmless(t) if t else "" for t in (point.unit, meter_class(point))]
    columns = [text, values, words, *(pa.array([t] * n) for t in same)]
    plain = not any(set(w or "") & _QUOTED for w in (*same, *pc.unique(words).to_pylist()))
    options = pacsv.WriteOptions(include_header=False, quoting_style="none" if plain else "needed")
    pacsv.write_csv(pa.table(columns, names=_HEADER.decode().strip().split(",")), file, options)


def _values(point: Point, samples: Samples) -> tuple[pa.Array, pa.Array]:
    """Value and text of each reading: states have both, texts such as fault codes only text."""
    n = len(samples.time)
    if samples.value.dtype == object:
        return pa.nulls(n, pa.float64()), pa.array([harmless(str(v)) for v in samples.value], pa.string())
    states = point.kind.states if point.form == "state" else None
    if not states:
        return pa.array(samples.value), pa.nulls(n, pa.string())
    words = {code: word for word, code in states.items()}
    return pa.array(samples.value), pa.array([words.get(int(v), "") for v in samples.value], pa.string())


def meter_class(point: Point) -> str:
    """The meter class of the site file; empty for other points."""
    if not point.kind.energy or "power" not in point.kind.forms:
        return ""
    standard = "EN 1434" if "heat" in point.quantity and "pump" not in point.quantity else "EN 50470"
    return f"{point.meter_class} ({standard})" if point.meter_class else NOT_STATED


def write_table(path: Path, columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> None:
    """A CSV file in UTF-8; texts that a spreadsheet could run are escaped, None is an empty cell."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(columns)
        for row in rows:
            writer.writerow([_cell(row.get(name)) for name in columns])


def _cell(value: Any) -> Any:
    if isinstance(value, list | tuple):
        value = "; ".join(str(v) for v in value)
    if isinstance(value, str):
        return harmless(value) if value else ""
    if isinstance(value, float):
        return float(f"{value:.7g}") if np.isfinite(value) else ""
    return value


def point_rows(files: PointFiles, site: Site) -> list[dict[str, Any]]:
    """Table of points with readings: quantity, form, class and file."""
    return [
        {
            "file": f.name,
            "point": f.point.id,
            "quantity": f.point.quantity,
            "as": f.point.form,
            "unit": f.point.unit,
            "meter_class": meter_class(f.point),
            "also_counts": list(f.point.includes),
            "zone": f.point.zone,
            "stamp": f.point.stamp if f.point.form == "interval" else "",
            "readings": f.count,
            "first_utc": utc(f.first),
            "last_utc": utc(f.last),
            "site_zone": site.timezone,
        }
        for f in files.files.values()
    ]


def utc(ms: int | None) -> str:
    """A time as ISO 8601 with Z; empty for None."""
    return "" if ms is None else moment_text(ms)


def event_rows(site: Site, facts: Facts) -> list[dict[str, Any]]:
    """Table of runs, defrosts, cylinder charges, rests and reported faults by start, with the fault codes
    reported during each."""
    rows = [
        *_rows(site, facts.runs, "run", {"flow": "flow_c", "return": "return_c"}),
        *_rows(site, facts.defrosts, "defrost", {"heat_taken": "heat_kwh", "during": "use"}),
        *(
            row | {"use": "hot_water"}
            for row in _rows(
                site, facts.reheats, "reheat", {"from_c": "cylinder_from_c", "to_c": "cylinder_to_c"}
            )
        ),
        *_rows(site, facts.rests, "rest", {"outdoor_mean_c": "outdoor_c", "kind": "use"}),
        *_rows(site, facts.faults, "fault", {"outdoor_mean_c": "outdoor_c", "code": "fault_codes"}),
    ]
    faults = facts.faults
    for row in rows:
        begin, end = row.pop("_begin"), row.pop("_end")
        if row["kind"] != "fault" and len(faults):
            over = (faults["start"] < end) & (faults["end"] > begin)
            row["fault_codes"] = sorted({str(code) for code in faults["code"][over]})
    return sorted(rows, key=lambda row: (row["start_utc"], row["kind"]))


_SAME = {"heat": "heat_kwh", "electricity": "electricity_kwh", "outdoor": "outdoor_c", "flow": "flow_c"}


def _rows(site: Site, table: Table, kind: str, renamed: Mapping[str, str]) -> Iterator[dict[str, Any]]:
    if not len(table):
        return
    names = {**_SAME, "use": "use", "ended_by": "ended_by", "cut": "cut", "minutes": "minutes", **renamed}
    columns = {column: table[name].tolist() for name, column in names.items() if name in table}
    begins = table["start"].tolist()
    ends = table["end"].tolist() if "end" in table else None
    for n, begin in enumerate(begins):
        row = {column: values[n] for column, values in columns.items()}
        end = ends[n] if ends is not None else begin + int(row["minutes"]) * MS_PER_MINUTE
        if isinstance(row.get("use"), int):
            row["use"] = _USES.get(row["use"], "not known")
        local = datetime.fromtimestamp(begin / 1000, site.zone).isoformat(timespec="minutes")
        times = {"start_utc": utc(begin), "start_local": local, "end_utc": utc(end)}
        yield {**row, "kind": kind, **times, "_begin": begin, "_end": end}
