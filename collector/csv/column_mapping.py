"""Propose a mapping of a CSV export's columns from their names, units and values, for a person to confirm."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from fieldfare.analysis.plant.quantities import QUANTITIES
from fieldfare.analysis.plant.toml_text import quoted

_WORDS: tuple[tuple[str, str], ...] = (
    (r"dist\w*.*(flow|supply)|(flow|supply).*(dist|secondary)", "distribution_flow_temperature"),
    (r"dist\w*.*return|return.*(dist|secondary)", "distribution_return_temperature"),
    (
        r"(target|set|setpoint|demand|soll).*(flow|supply|vorlauf)"
        r"|(flow|supply|vorlauf).*(target|setpoint|soll)",
        "target_flow_temperature",
    ),
    (
        r"(target|set|setpoint|soll).*(room|indoor|raum)|(room|indoor|raum).*(target|setpoint|soll)",
        "target_room_temperature",
    ),
    (r"(flow|volume|water).*rate|volumen.?strom|durchfluss|\bvol.*flow|l/min|m3/h|m³/h", "flow_rate"),
    (r"return|r[uü]cklauf|\brlt?\b", "return_temperature"),
    (r"\bflow|supply|vorlauf|\bvlt?\b", "flow_temperature"),
    (r"humid|feuchte|\brh\b", "outdoor_humidity"),
    (r"solar|irradi|\bsun\b|strahlung", "solar_irradiance"),
    (r"outdoor|outside|ambient|aussen|außen|\boat\b|weather", "outdoor_temperature"),
    (r"room|indoor|inside|raum|living|lounge", "room_temperature"),
    (r"cylinder|tank|dhw.*temp|hot.?water.*temp|speicher|warmwasser.*temp", "cylinder_temperature"),
    (r"buffer|puffer", "buffer_temperature"),
    (r"press|druck|\bbar\b", "system_pressure"),
    (r"defrost|abtau", "defrost_active"),
    (r"mode|status|state|betriebs", "operating_mode"),
    (r"call|demand|anforderung", "heat_call"),
    (r"divert|valve|ventil", "diverter_to_hot_water"),
    (r"start|anzahl", "compressor_starts"),
    (r"hours|stunden", "compressor_hours"),
    (r"speed|freq|drehzahl|modulation", "compressor_speed"),
    (r"fault|error|alarm|st[oö]rung", "fault_code"),
    (r"immersion", "immersion_electricity"),
    (r"back.?up|booster|heizstab", "backup_heater_electricity"),
    (r"pump.*(elec|power|energy)|circulation", "circulation_pump_electricity"),
    (r"\bfan\b|l[uü]fter", "fan_electricity"),
    (r"\bpv\b|photovolt", "pv_output"),
    (r"boiler.*heat|heat.*boiler|kessel.*w[aä]rme|solar.*heat|heat.*solar", "other_heat_output"),
    (r"house|import|grid|haus", "house_electricity"),
    (r"heat.*(dhw|hot)|(dhw|hot).*heat|w[aä]rme.*ww", "hot_water_heat"),
    (r"space.*heat", "space_heat"),
    (r"heat(?!.?pump)|w[aä]rme(?!pumpe)|thermal|\bq\b", "heat_output"),
    (r"elec|power|energy|strom|\bp\b|\bhp\b|heat.?pump|w[aä]rmepumpe|leistung", "heat_pump_electricity"),
)
"""Patterns for column names, the most specific first."""
AGREED = "# columns as agreed on in the browser"
"""Start of the section that the columns page added to a site file, so that it can be replaced."""
_TIME = re.compile(r"time|date|zeit|datum|timestamp|\bts\b|utc", re.I)
_CLOCK = re.compile(r"time|clock|hour|zeit|uhrzeit", re.I)
"""A column with only the time of day."""
_ISO = re.compile(r"\d{4}-?\d\d-?\d\d([T ]|$)")
_UNIT = re.compile(r"[\[(]\s*([^\])]+?)\s*[\])]")
_UNITS_IN_NAMES = (
    ("kwh", "kWh"),
    ("mwh", "MWh"),
    ("wh", "Wh"),
    ("kw", "kW"),
    ("w", "W"),
    ("degf", "degF"),
    ("lpm", "l/min"),
)


_DATES = (
    ("%d/%m/%Y", "day/month/year"),
    ("%m/%d/%Y", "month/day/year"),
    ("%d.%m.%Y", "day.month.year"),
    ("%d-%m-%Y", "day-month-year"),
    ("%Y/%m/%d", "year/month/day"),
    ("%d.%m.%y", "day.month.year, two digits"),
    ("%d/%m/%y", "day/month/year, two digits"),
)
_CLOCKS = (
    ("%H:%M:%S", "hours:minutes:seconds"),
    ("%H:%M", "hours:minutes"),
    ("%I:%M:%S %p", "hours:minutes:seconds, am or pm"),
    ("%I:%M %p", "hours:minutes, am or pm"),
)
TIME_FORMATS: tuple[tuple[str, str], ...] = (
    ("iso", "2026-01-31 23:59 (ISO 8601)"),
    ("unix", "seconds since 1970"),
    ("unix_ms", "milliseconds since 1970"),
    *((f"{d} {c}", f"{name}, {clock}") for d, name in _DATES for c, clock in _CLOCKS),
)
"""Forms of times that an export may have, as the site file names them, and in words."""


@dataclass(frozen=True)
class Column:
    """A column with its likely quantity, form and unit; quantity is empty where nothing fits.

    why : the evidence for the quantity
    """

    name: str
    quantity: str
    form: str
    unit: str
    why: str
    sample: str


@dataclass(frozen=True)
class MappingProposal:
    """A proposed column mapping; `problem` says why the export can't be read."""

    delimiter: str
    decimal: str
    time_column: str
    is_long: bool
    columns: tuple[Column, ...]
    problem: str = ""
    time_format: str = "iso"
    time_sample: str = ""


def propose(text: str) -> MappingProposal:
    """Read an export's first lines and propose a mapping.

    Returns Proposal; its `problem` is not empty where the text can't be read.
    """
    lines = [line for line in text.lstrip("\ufeff").splitlines() if line.strip()]
    if len(lines) < 2:
        return MappingProposal(",", ".", "", False, (), "The file needs a header and at least one row.")
    delimiter = max(",;\t|", key=lambda d: lines[0].count(d))
    if delimiter not in lines[0]:
        return MappingProposal(
            ",",
            ".",
            "",
            False,
            (),
            "The first line holds a single column; names parted by commas, semicolons or tabs are needed.",
        )
    rows = list(csv.reader(lines[:200], delimiter=delimiter))
    header, body = [c.strip() for c in rows[0]], [r for r in rows[1:] if len(r) == len(rows[0])]
    decimal = (
        ","
        if delimiter != "," and any(re.fullmatch(r"-?\d+,\d+", c.strip()) for r in body for c in r)
        else "."
    )
    time_column = next((c for c in header if _TIME.search(c)), header[0])
    is_long = {"point", "value"} <= {c.lower() for c in header}
    if is_long:
        names = list(dict.fromkeys(r[[c.lower() for c in header].index("point")] for r in body))
        at = [c.lower() for c in header].index("value")
        columns = tuple(_column(n, [r[at] for r in body if n in r], decimal) for n in names)
    else:
        columns = tuple(
            _column(c, [r[i] for r in body], decimal) for i, c in enumerate(header) if c != time_column
        )
    clock = next((c for c in header if c != time_column and _CLOCK.fullmatch(c)), "")
    at_time = header.index(time_column)
    times = [r[at_time].strip() for r in body if r[at_time].strip()]
    form = time_format_of(times)
    problem = _time_problem(time_column, clock, times, form)
    return MappingProposal(
        delimiter,
        decimal,
        time_column,
        is_long,
        () if problem else columns,
        problem,
        form,
        times[0] if times else "",
    )


def _time_problem(column: str, clock: str, times: list[str], form: str) -> str:
    """Return why the times can't be read, or an empty text."""
    if clock and times and not any(":" in t for t in times[:20]):
        return (
            f"Date and time stand in two columns, {column!r} and {clock!r}. Join them into one column, such"
            " as 2026-01-31 23:59, and upload the file again."
        )
    if times and form == "iso" and not all(_ISO.match(t) for t in times[:60]):
        return (
            f"The times in column {column!r} are written as {times[0][:40]!r}, which is not a known form of"
            " date and time. Write them as 2026-01-31 23:59, and upload the file again."
        )
    return ""


def time_format_of(times: list[str]) -> str:
    """Return how an export writes its times, as the site file's `time_format`; `iso` is the default.

    Where day and month are ambiguous, choose the order with the smallest steps between rows.
    """
    sample = [*times[:60], *times[-60:]]
    if not sample or all(_ISO.match(t) for t in sample):
        return "iso"
    if all(re.fullmatch(r"\d{9,10}(\.\d+)?", t) for t in sample):
        return "unix"
    if all(re.fullmatch(r"\d{12,13}", t) for t in sample):
        return "unix_ms"
    fits = {}
    for form, _ in TIME_FORMATS:
        if "%" in form and (read := _read_times(sample, form)) is not None:
            steps = [(b - a).total_seconds() for a, b in pairwise(read)]
            fits[form] = (sum(s < 0 for s in steps), sum(abs(s) for s in steps))
    return min(fits, key=lambda f: fits[f], default="iso")


def _read_times(times: list[str], form: str) -> list[datetime] | None:
    try:
        return [datetime.strptime(t, form) for t in times]  # noqa: DTZ007 (only their order counts)
    except ValueError:
        return None


def _column(name: str, cells: list[str], decimal: str) -> Column:
    unit = _unit_of(name)
    bare = re.sub(r"[_\-.]+", " ", _UNIT.sub("", name)).lower()
    numbers = [v for c in cells if (v := _number(c, decimal)) is not None]
    sample = next((c.strip() for c in cells if c.strip()), "")
    quantity = next(
        (q for pattern, q in _WORDS if re.search(pattern, bare) or re.search(pattern, name.lower())), ""
    )
    quantity = _fits(quantity, unit, bare)
    why = "its name" if quantity else ""
    if not quantity and unit in ("degC", "degF"):
        return Column(name, "", "gauge", unit, "", sample)
    if not quantity:
        return Column(name, "", "", unit, "", sample)
    form = _form(quantity, unit, numbers)
    if unit:
        why += f" and the unit {unit}"
    if form == "register":
        why += " and values that only rise"
    kind = QUANTITIES[quantity]
    return Column(name, quantity, form, unit or kind.canonical(form), why, sample)  # type: ignore[arg-type]


def _fits(quantity: str, unit: str, bare: str) -> str:
    """Check that a temperature unit is not on a column named only "flow", and the reverse."""
    flows = unit in ("m3/h", "l/min", "l/h", "m³/h")
    if quantity in ("flow_temperature", "flow_rate"):
        return (
            "flow_rate"
            if flows
            else "flow_temperature"
            if unit in ("degC", "degF") or "temp" in bare
            else quantity
        )
    if quantity and not unit and "temp" in bare and not QUANTITIES[quantity].is_temperature:
        return ""
    if unit in ("degC", "degF") and quantity and not QUANTITIES[quantity].is_temperature:
        return ""
    return quantity


def _unit_of(name: str) -> str:
    found = _UNIT.search(name)
    if found:
        text = found[1].replace("°C", "degC").replace("°F", "degF").replace("³", "3").replace("²", "2")
        return "degC" if text == "C" else text
    parts = re.split(r"[_\s\-.]", name.lower())
    # A lone w means watts only at the end; other units count anywhere in the name, as in "kWh
    # import".
    told = (unit for part in reversed(parts) for end, unit in _UNITS_IN_NAMES if part == end)
    return next((unit for unit in told if unit != "W" or parts[-1] == "w"), "")


def _form(quantity: str, unit: str, numbers: list[float]) -> str:
    kind = QUANTITIES[quantity]
    if len(kind.forms) == 1:
        return kind.forms[0]
    if unit.lower().endswith("wh") or unit in ("MJ", "GJ"):
        rising = len(numbers) > 2 and all(b >= a for a, b in pairwise(numbers)) and numbers[-1] > 20
        return "register" if rising else "interval"
    return "power"


def _number(cell: str, decimal: str) -> float | None:
    try:
        return float(cell.strip().replace(decimal, "."))
    except ValueError:
        return None


def points_toml(form: Mapping[str, str]) -> str:
    """Write the chosen columns as the site file's [csv] and [[point]] sections.

    form : `delimiter`, `decimal`, `time_column`, `time_format`, `timezone`, and for each column n `column.n`,
        `quantity.n`, `as.n`, `unit.n`
    """
    lines = [AGREED, "[csv]"]
    for key in ("time_column", "timezone", "time_format", "delimiter", "decimal"):
        if value := form.get(key, ""):
            lines.append(f"{key} = {quoted(value) if value != chr(9) else chr(34) + chr(92) + 't' + chr(34)}")
    taken: set[str] = set()
    for n in sorted(int(k.partition(".")[2]) for k in form if re.fullmatch(r"column\.\d{1,3}", k)):
        quantity = form.get(f"quantity.{n}", "")
        if quantity not in QUANTITIES:
            continue
        column = form[f"column.{n}"]
        point = re.sub(r"[^A-Za-z0-9_]+", "_", _UNIT.sub("", column)).strip("_").lower()[:60] or quantity
        while point in taken:
            point += "_2"
        taken.add(point)
        lines += [
            "",
            "[[point]]",
            f"id = {quoted(point)}",
            f"quantity = {quoted(quantity)}",
            f"as = {quoted(form.get(f'as.{n}', ''))}",
        ]
        if unit := form.get(f"unit.{n}", "").strip():
            lines.append(f"unit = {quoted(unit)}")
        lines.append(f"column = {quoted(column)}")
    return "\n".join(lines) + "\n"
