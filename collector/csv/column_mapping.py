"""Propose a mapping of a CSV export's columns from their names, units and values, for a person to confirm."""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import dropwhile, pairwise, takewhile

from fieldfare.analysis.plant.fields import UNSAID
from fieldfare.analysis.plant.quantities import QUANTITIES
from fieldfare.analysis.plant.toml_text import quoted
from fieldfare.analysis.plant.units import conversion
from fieldfare.collector.csv.layout import (
    JSON_ADVICE,
    NO_READING,
    TIMES_ACROSS,
    LongColumns,
    has_times_across,
    long_columns,
)
from fieldfare.collector.csv.state_words import MOST_WORDS, state_words
from fieldfare.collector.csv.time_forms import ISO, MOST_READ, as_iso, share, time_format_of
from fieldfare.collector.csv.times import carry_zone

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
    (
        r"(flow|volume|water).*rate|volumen.?strom|durchfluss|\bvol.*flow|l/min|m3/h|m³/h|d[eé]bit",
        "flow_rate",
    ),
    (r"return|r[uü]cklauf|\brlt?\b|\bret\b|retour", "return_temperature"),
    (r"\bflow|supply|vorlauf|\bvlt?\b|d[eé]part", "flow_temperature"),
    (r"humid|feuchte|\brh\b", "outdoor_humidity"),
    (r"solar|irradi|\bsun\b|strahlung", "solar_irradiance"),
    (
        r"outdoor|outside|ambient\b|aussen|außen|\boat\b|weather|\bout\b|ext[eé]rieur|\bext\b",
        "outdoor_temperature",
    ),
    (r"room|indoor|inside|raum|living|lounge|ambiante|s[eé]jour", "room_temperature"),
    (
        r"cylinder|\bcyl\b|tank|dhw.*temp|hot.?water.*temp|speicher|warmwasser.*(temp|oben|unten)|ballon",
        "cylinder_temperature",
    ),
    (r"buffer|puffer", "buffer_temperature"),
    (r"press|druck|\bbar\b", "system_pressure"),
    (r"defrost|abtau", "defrost_active"),
    (r"mode|status|state|betriebs|\b[eé]tat\b", "operating_mode"),
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
    (
        r"heat(?!.?pump)|w[aä]rme(?!pumpe)|therm(al|isch|ique)|\bth\b|heizleistung|chaleur|\bq\b"
        r"|\bhm\d*\b|\bwmz\d*\b",
        "heat_output",
    ),
    (
        r"elec|\bel\b|power|energy|strom|\bp\b|\bhp\d*\b|heat.?pump|w[aä]rmepumpe|leistung|puissance|[eé]lec"
        r"|\bwp\d*\b|\bem\d*\b|\bpac\b",
        "heat_pump_electricity",
    ),
)
"""Patterns for column names, the most specific first."""
AGREED = "# columns as agreed on in the browser"
"""Start of the section that the columns page added to a site file, so that it can be replaced."""
_TIME = re.compile(r"time|date(?!n)|zeit|datum|timestamp|horodat|\bts\b|\bday\b|\btag\b|utc", re.I)
_CLOCK = re.compile(r"time|clock|hour|zeit|uhrzeit", re.I)
"""A column with only the time of day."""
_FEWEST_OF_A_TOTAL = 20
_MOST_RESETS = 2
"""Among the first lines of an export; energies of intervals fall about as often as they rise."""
_HEADER_LINES = 10
"""Lines of names above the readings at most."""
_LOOKED_AT = 200
"""Lines of an export that a proposal is made from."""
_GROUPED = {
    ".": re.compile(r"-?\d{1,3}([,'\u00a0\u202f ])(?:\d{3}\1)*\d{3}(?:\.\d*)?"),
    ",": re.compile(r"-?\d{1,3}([.'\u00a0\u202f ])(?:\d{3}\1)*\d{3}(?:,\d*)?"),
}
"""Numbers with groups of three digits, by their decimal sign."""
_UNIT = re.compile(r"[\[(]\s*([^\])]+?)\s*[\])]")
_PULSES = re.compile(r"(\d{1,6}(?:\.\d+)?)\s*(?:imp|pulses?|impulse?)?\.?\s*/\s*(k?Wh|m3)", re.I)
"""Pulses of a meter: so many to a kWh."""
_PER_PERIOD = re.compile(
    r"\b([kM]?Wh)\s*/\s*(?:day|d|tag|jour|j|week|woche|month|monat|mois|\d+\s*min)\b\.?", re.I
)
"""Energy of each day or quarter of an hour: the unit of an interval, not a power's."""
_UNITS_IN_NAMES = (
    ("kwh", "kWh"),
    ("mwh", "MWh"),
    ("wh", "Wh"),
    ("kw", "kW"),
    ("w", "W"),
    ("degf", "degF"),
    ("lpm", "l/min"),
    ("gpm", "gallon/min"),
    ("l/min", "l/min"),
    ("l/h", "l/h"),
    ("m3/h", "m3/h"),
    ("m³/h", "m3/h"),
    ("m3h", "m3/h"),
    ("m³h", "m3/h"),
    ("lmin", "l/min"),
    ("lph", "l/h"),
    ("°c", "degC"),
    ("°f", "degF"),
    ("psi", "psi"),
    ("kpa", "kPa"),
    ("mbar", "mbar"),
    ("bar", "bar"),
)
_UNITS_OTHERWISE = {"C": "degC", "F": "degF", "gpm": "gallon/min", "lpm": "l/min", "GPM": "gallon/min"}
_FLOW_UNITS = ("m3/h", "l/min", "l/h", "m³/h", "gallon/min", "l/s")
_PART = re.compile(r"\d+|(?<![^\W_])(?:[abcrst]|phase)(?![^\W_])")
"""What tells the parts of a whole apart: numbers, and letters of phases."""
_OF_ROOMS = re.compile(r"heating|heizung|heizw[aä]rme|heizkreis|chauffage")
_GENERAL = re.compile(r"power|energy|leistung|puissance|\bp\b|\bel\b|elec\w*|[eé]lec\w*|strom")
"""Words of any electricity."""
_IS_POWER = re.compile(r"^p\b|power|leistung|puissance")
_WATER_C, _MOST_M3_PER_H, _LEAST_W = 15.0, 8.0, 30.0
"""A flow whose median is below 15 is no water temperature [degC], and up to 8 it is in m3/h. A power that
never exceeds 30 is not in watts. Orders of magnitude of homes (common practice, no source)."""


@dataclass(frozen=True)
class Column:
    """A column with its likely quantity, form and unit; quantity is empty where nothing fits.

    why : the evidence for the quantity. values : words of a state column, each with its state
    """

    name: str
    quantity: str
    form: str
    unit: str
    why: str
    sample: str
    values: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class MappingProposal:
    """A proposed column mapping; `problem` says why the export can't be read.

    timezone : of times without an offset: the site's, `UNSAID` without a site, empty where every time has one
    """

    delimiter: str
    decimal: str
    time_column: str
    is_long: bool
    columns: tuple[Column, ...]
    problem: str = ""
    time_format: str = "iso"
    time_sample: str = ""
    date_column: str = ""
    encoding: str = "utf-8"
    thousands: str = ""
    timezone: str = ""


def propose(text: str, encoding: str = "utf-8", zone: str = UNSAID) -> MappingProposal:
    """Read an export's first lines and propose a mapping.

    encoding : that of the file, for the proposal. zone : IANA name of the site's time zone, if any

    Returns Proposal; its `problem` is not empty where the text can't be read.
    """
    every = [line for line in text.lstrip("\ufeff").splitlines() if line.strip()]
    lines = every[:_LOOKED_AT]
    if len(lines) < 2:
        return MappingProposal(",", ".", "", False, (), "The file needs a header and at least one row.")
    try:
        delimiter, rows = max((_table(lines, sign) for sign in ",;\t|"), key=lambda found: _fit(found[1]))
    except csv.Error as error:
        return MappingProposal(",", ".", "", False, (), f"It can't be read as CSV: {error}.")
    if len(rows[0]) < 2:
        return MappingProposal(
            ",",
            ".",
            "",
            False,
            (),
            "The first line holds a single column; names parted by commas, semicolons or tabs are needed.",
        )
    header, body = rows[0], rows[1:]
    decimal = (
        ","
        if delimiter != "," and any(re.fullmatch(r"-?\d+,\d+", c.strip()) for r in body for c in r)
        else "."
    )
    grouped = _GROUPED[decimal]
    thousands = next((found[1] for r in body for c in r if (found := grouped.fullmatch(c))), "")
    date_column, time_column, times = _time_columns(header, body)
    body = [[_plain(c, grouped, thousands) for c in r] for r in body]
    long = long_columns(header)
    cells: dict[str, _Cells] = {}
    if long is None:
        columns = tuple(
            _column(c, [r[i] for r in body], decimal)
            for i, c in enumerate(header)
            if c not in (time_column, date_column)
        )
    else:
        cells = _cells_by_point(every, delimiter, header, long)
        columns = tuple(
            _column(name, [_plain(v, grouped, thousands) for v in point.first], decimal, point.unit)
            for name, point in cells.items()
        )
    columns = _without_doubles(_split_heat(columns))
    states = [c.name for c in columns if c.form == "state"]
    if states and long is None:
        cells = _cells_by_column(every, delimiter, header, states)
    columns = tuple(_with_values(c, cells[c.name]) if c.name in cells else c for c in columns)
    form = time_format_of(times)
    problem = TIMES_ACROSS if has_times_across(header) else _time_problem(time_column, times, form)
    return MappingProposal(
        delimiter,
        decimal,
        time_column,
        long is not None,
        () if problem else columns,
        problem,
        form,
        times[0] if times else "",
        date_column,
        encoding,
        " " if thousands.isspace() else thousands,
        "" if carry_zone(times, form) and not form.endswith("%Z") else zone,
    )


@dataclass
class _Cells:
    """Of one point or column. first : its first cells; words : its distinct cells, at most one more than a
    state can have"""

    unit: str = ""
    first: list[str] = field(default_factory=list)
    words: set[str] = field(default_factory=set)

    def take(self, cell: str) -> None:
        if len(self.first) < _LOOKED_AT:
            self.first.append(cell)
        if len(self.words) <= MOST_WORDS and cell not in NO_READING:
            self.words.add(cell)


def _with_values(column: Column, cells: _Cells) -> Column:
    """A column of states with its words, of all lines: a mode may come late in them."""
    if column.form != "state":
        return column
    return replace(column, values=state_words(column.quantity, cells.words))


def _cells_by_column(
    lines: list[str], delimiter: str, header: list[str], names: list[str]
) -> dict[str, _Cells]:
    found = {name: _Cells() for name in names}
    try:
        for row in csv.reader(lines, delimiter=delimiter):
            if len(row) == len(header):
                for name, cells in found.items():
                    if (cell := row[header.index(name)].strip()) != name:  # the header's own row
                        cells.take(cell)
    except csv.Error:  # a later line: taking the file in refuses it
        return {}
    return found


def _plain(cell: str, grouped: re.Pattern[str], thousands: str) -> str:
    """A number without its groups; other text unchanged."""
    return cell.replace(thousands, "") if grouped.fullmatch(cell) else cell


def _cells_by_point(
    lines: list[str], delimiter: str, header: list[str], long: LongColumns
) -> dict[str, _Cells]:
    """The cells of each point of a long export. Points may stand one after another, so every line counts."""
    found: dict[str, _Cells] = {}
    point, value = header.index(long.point), header.index(long.value)
    unit = header.index(long.unit) if long.unit else None
    begun = False
    try:
        for row in csv.reader(lines, delimiter=delimiter):
            cells = [c.strip() for c in row]
            if not begun:
                begun = cells == header
                continue
            if len(cells) != len(header) or not cells[point]:
                continue
            if cells[point] not in found:
                found[cells[point]] = _Cells("" if unit is None else _unit_named(cells[unit]))
            found[cells[point]].take(cells[value])
    except csv.Error:  # a later line: taking the file in refuses it
        pass
    return found


def _split_heat(columns: tuple[Column, ...]) -> tuple[Column, ...]:
    """Beside a meter of hot water, one named for the heating measures the rooms' heat, not all of it."""
    if not any(c.quantity == "hot_water_heat" for c in columns):
        return columns
    return tuple(
        replace(c, quantity="space_heat")
        if c.quantity == "heat_output" and _OF_ROOMS.search(c.name.lower())
        else c
        for c in columns
    )


def _without_doubles(columns: tuple[Column, ...]) -> tuple[Column, ...]:
    """Leave out what only may be a second meter of one energy: points of one quantity are added up.

    Names that differ by a number or a phase are parts of a whole and stay.
    """
    groups: dict[tuple[str, str], list[Column]] = {}
    for column in columns:
        if column.quantity and QUANTITIES[column.quantity].energy:
            groups.setdefault((column.quantity, column.form), []).append(column)
    doubles: dict[str, Column] = {}
    for (quantity, _), group in groups.items():
        if len({_PART.sub("", c.name.lower()) for c in group}) == 1:
            continue
        best = min(group, key=lambda c: _only_general(c.name, quantity))
        why = f"{best.name!r} seems to be the {quantity}, and points of one quantity are added up"
        doubles |= {c.name: replace(c, quantity="", why=why) for c in group if c is not best}
    return tuple(doubles.get(c.name, c) for c in columns)


def _only_general(name: str, quantity: str) -> bool:
    """Whether a name says no more than power or energy: of what, it leaves open."""
    bare = _GENERAL.sub(" ", re.sub(r"[_\-.]+", " ", _UNIT.sub("", name)).lower())
    return not any(q == quantity and re.search(pattern, bare) for pattern, q in _WORDS)


def _table(lines: list[str], delimiter: str) -> tuple[str, list[list[str]]]:
    """The header and the rows of the same width below it. Preamble lines above are skipped."""
    rows = [[c.strip() for c in row] for row in csv.reader(lines, delimiter=delimiter)]
    width = max(set(map(len, rows)), key=lambda n: (sum(len(r) == n for r in rows), n))
    first = _header_row(rows, width)
    return delimiter, [rows[first], *(r for r in rows[first + 1 :] if len(r) == len(rows[first]))]


def _header_row(rows: list[list[str]], width: int) -> int:
    """Which row names the columns. Of several above the readings: the first that names the times, else the
    one of the most different names; the others say of what a file is, or the units."""
    whole = [i for i, r in enumerate(rows) if len(r) == width]
    named = list(
        takewhile(lambda i: _names_columns(rows[i]), dropwhile(lambda i: not _names_columns(rows[i]), whole))
    )
    timed = next((i for i in named if any(_TIME.search(c) for c in rows[i])), None)
    if timed is not None or not named:
        return timed or 0
    return max(named[:_HEADER_LINES], key=lambda i: len({c for c in rows[i] if c}))


def _names_columns(row: list[str]) -> bool:
    """Whether the cells of a row are names: most are not empty, and hardly one is a number."""
    names = [c for c in row if c]
    return 2 * len(names) > len(row) and sum(bool(re.search(r"[^\W\d]", c)) for c in names) * 2 > len(names)


def _fit(rows: list[list[str]]) -> tuple[bool, int, int]:
    """How well a delimiter splits the lines."""
    return len(rows[0]) > 1 and _names_columns(rows[0]), len(rows), len(rows[0])


def _time_columns(header: list[str], body: list[list[str]]) -> tuple[str, str, list[str]]:
    """The column of the date where it stands apart, that of the time, and the times as the file has them."""
    named = [c for c in header if _TIME.search(c) or _CLOCK.fullmatch(c)] or header[:1]
    cells = {c: [r[header.index(c)] for r in body] for c in named}
    first = cells[named[0]]
    clock = next((c for c in named[1:] if _CLOCK.fullmatch(c)), "")
    if clock and first and not any(":" in t for t in first[:20]):
        joined = [f"{d} {t}".strip() for d, t in zip(first, cells[clock], strict=True)]
        return named[0], clock, [t for t in joined if t]
    return "", named[0], [t for t in first if t]


def _time_problem(column: str, times: list[str], form: str) -> str:
    """Return why the times can't be read, or an empty text."""
    if times and not column:
        return (
            f"The column of the times, such as {times[0][:40]!r}, has no name. Give every column a name"
            " of its own in one line above the readings, such as time."
        )
    if times and form == "iso" and share(times[:60], as_iso) < MOST_READ:
        strange = next(t for t in times if not ISO.match(t))
        return (
            f"The times in column {column!r} are written as {strange[:40]!r}, which is not a known form of"
            " date and time. Write them as 2026-01-31 23:59, or set time_format in the site's [csv]."
        )
    return ""


def _column(name: str, cells: list[str], decimal: str, unit: str = "") -> Column:
    unit = unit or _unit_of(name)
    bare = re.sub(r"[_\-.]+", " ", _UNIT.sub("", name)).lower()
    numbers = [v for c in cells if (v := _number(c, decimal)) is not None]
    sample = next((c.strip() for c in cells if c.strip()), "")
    spellings = (bare, name.lower(), _with_umlauts(bare))
    quantity = next((q for pattern, q in _WORDS if any(re.search(pattern, s) for s in spellings)), "")
    quantity = _by_values(_fits(quantity, unit, bare), unit, bare, numbers)
    if quantity and unit and not _converts(quantity, unit):
        quantity = ""
    # States are words or whole numbers.
    if quantity and QUANTITIES[quantity].forms == ("state",) and any(v % 1.0 for v in numbers):
        quantity = ""
    why = "its name" if quantity else ""
    if not quantity and unit in ("degC", "degF"):
        return Column(name, "", "gauge", unit, "", sample)
    if not quantity:
        why = f"holds JSON; {JSON_ADVICE}" if sample.startswith("{") else ""
        return Column(name, "", "", unit, why, sample)
    form = _form(quantity, unit, bare, numbers)
    if not unit and form == "power" and numbers and 0.0 < max(map(abs, numbers)) < _LEAST_W:
        unit = "kW"
    if unit:
        why += f" and the unit {unit}"
    if form == "register":
        why += " and values that only rise"
    kind = QUANTITIES[quantity]
    return Column(name, quantity, form, unit or kind.canonical(form), why, sample)  # type: ignore[arg-type]


def _with_umlauts(name: str) -> str:
    """A name with the umlauts that it spells with an e (DIN 5007-2)."""
    for pair, sign in (("ae", "ä"), ("oe", "ö"), ("ue", "ü")):
        name = name.replace(pair, sign)
    return name


def _fits(quantity: str, unit: str, bare: str) -> str:
    """Check that a temperature unit is not on a column named only "flow", and the reverse."""
    flows = unit in _FLOW_UNITS
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
        return _unit_named(found[1])
    parts = re.split(r"[_\s\-.]", _PER_PERIOD.sub(r"\1", name).lower())
    # A lone w means watts only at the end; other units count anywhere in the name, as in "kWh
    # import".
    units = (unit for part in reversed(parts) for end, unit in _UNITS_IN_NAMES if part == end)
    return next((unit for unit in units if unit != "W" or parts[-1] == "w"), "")


def _unit_named(text: str) -> str:
    text = text.replace("°C", "degC").replace("°F", "degF").replace("³", "3").replace("²", "2")
    text = _PER_PERIOD.sub(r"\1", text)
    if pulses := _PULSES.fullmatch(text):
        return f"{1.0 / float(pulses[1]):.9g} {pulses[2]}" if float(pulses[1]) else ""
    return _UNITS_OTHERWISE.get(text, text)


def _by_values(quantity: str, unit: str, bare: str, numbers: list[float]) -> str:
    """The quantity of a name without a unit, by the size of its numbers; empty where they fit none."""
    sizes = sorted(abs(v) for v in numbers if v)
    if unit or not sizes:
        return quantity
    middle = sizes[len(sizes) // 2]
    if quantity == "flow_temperature" and bare.strip() == "flow" and middle < _WATER_C:
        return "flow_rate" if sizes[-1] <= _MOST_M3_PER_H else ""
    return "" if bare.strip() == "p" and sizes[-1] < _LEAST_W else quantity


def _converts(quantity: str, unit: str) -> bool:
    """Whether a unit measures the quantity in one of its forms."""
    kind = QUANTITIES[quantity]
    for form in kind.forms:
        if form == "state":
            return True
        try:
            conversion(unit, kind.canonical(form))
        except ValueError:
            continue
        return True
    return False


def _form(quantity: str, unit: str, bare: str, numbers: list[float]) -> str:
    kind = QUANTITIES[quantity]
    if len(kind.forms) == 1:
        return kind.forms[0]
    rising = _is_total(numbers) and not _IS_POWER.search(bare)
    if unit.lower().endswith("wh") or unit in ("MJ", "GJ"):
        return "register" if rising else "interval"
    # Power falls now and then; a total that nobody gave a unit does not.
    return "register" if rising and not unit and len(numbers) > _FEWEST_OF_A_TOTAL else "power"


def _is_total(numbers: list[float]) -> bool:
    """Whether values only rise, but for a reset or two."""
    rises, falls = sum(b > a for a, b in pairwise(numbers)), sum(b < a for a, b in pairwise(numbers))
    if falls:
        return falls <= _MOST_RESETS and rises >= _FEWEST_OF_A_TOTAL * falls
    long = len(numbers) > _FEWEST_OF_A_TOTAL
    return len(numbers) > 2 and rises > 0 and (long or numbers[-1] > 20.0)


def _number(cell: str, decimal: str) -> float | None:
    try:
        return float(cell.strip().replace(decimal, "."))
    except ValueError:
        return None


def proposal_toml(proposal: MappingProposal) -> str:
    """Write a proposal as the site file's [csv] and [[point]] sections; columns that nothing fits stand
    behind as comments."""
    form = {
        "date_column": proposal.date_column,
        "time_column": proposal.time_column,
        "timezone": proposal.timezone,
        "time_format": proposal.time_format,
        "delimiter": proposal.delimiter,
        "decimal": proposal.decimal,
        "thousands": proposal.thousands,
        "encoding": proposal.encoding,
    }
    for n, c in enumerate(proposal.columns):
        form |= {f"column.{n}": c.name, f"quantity.{n}": c.quantity, f"as.{n}": c.form, f"unit.{n}": c.unit}
        for k, (word, state) in enumerate(c.values):
            form |= {f"word.{n}.{k}": word, f"state.{n}.{k}": state}
    sections = points_toml(form).removeprefix(f"{AGREED}\n")
    left = [
        f"# not recognised: {quoted(c.name)}{f' ({c.why})' if c.why else ''}\n"
        for c in proposal.columns
        if not c.quantity
    ]
    return sections + ("\n" + "".join(left) if left else "")


def _values_toml(form: Mapping[str, str], n: int, states: Mapping[str, int] | None) -> list[str]:
    """TOML lines of a state column's words; unmapped words become placeholders."""
    lines = []
    for key in sorted((k for k in form if re.fullmatch(rf"word\.{n}\.\d{{1,2}}", k)), key=_last_number):
        state = form.get(key.replace("word", "state", 1), "")
        state = state if states is not None and state in states else UNSAID
        lines.append(f"{quoted(form[key])} = {quoted(state)}")
    return ["[point.values]", *lines] if lines and states is not None else []


def _last_number(key: str) -> int:
    return int(key.rpartition(".")[2])


def _id_of(column: str) -> str:
    """A point id from a column's name, without its unit and accents."""
    plain = unicodedata.normalize("NFKD", _UNIT.sub("", column)).encode("ascii", "ignore").decode()
    return re.sub(r"\W+", "_", plain).strip("_").lower()[:60]


def points_toml(form: Mapping[str, str]) -> str:
    """Write the chosen columns as the site file's [csv] and [[point]] sections.

    form : `delimiter`, `decimal`, `date_column`, `time_column`, `time_format`, `timezone`, `encoding`, and
        for each column n `column.n`, `quantity.n`, `as.n`, `unit.n`, and for each word k of a state column
        `word.n.k`, `state.n.k`. A state that is empty or not one of the quantity's becomes a placeholder
    """
    lines = [AGREED, "[csv]"]
    for key in (
        "date_column",
        "time_column",
        "timezone",
        "time_format",
        "delimiter",
        "decimal",
        "thousands",
        "encoding",
    ):
        if value := form.get(key, ""):
            lines.append(f"{key} = {quoted(value) if value != chr(9) else chr(34) + chr(92) + 't' + chr(34)}")
    taken: set[str] = set()
    for n in sorted(int(k.partition(".")[2]) for k in form if re.fullmatch(r"column\.\d{1,3}", k)):
        quantity = form.get(f"quantity.{n}", "")
        if quantity not in QUANTITIES:
            continue
        column = form[f"column.{n}"]
        point = _id_of(column) or quantity
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
        lines += _values_toml(form, n, QUANTITIES[quantity].states)
    return "\n".join(lines) + "\n"
