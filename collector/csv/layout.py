"""Map the columns of a CSV file to points."""

from __future__ import annotations

import csv
import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import NamedTuple

from fieldfare.analysis.errors import InputError, readable_csv
from fieldfare.analysis.plant.site import Csv, Point, Site
from fieldfare.collector.csv.records import Records

NO_READING = (
    "",
    "NaN",
    "nan",
    "NAN",
    "null",
    "NULL",
    "Null",
    "-",
    "--",
    "---",
    "n/a",
    "N/A",
    "#N/A",
    "NA",
    "None",
    "none",
)
"""Words for a missing reading."""

EXPORT_HEADER = ("time", "point", "value", "text", "unit", "quantity")
"""The format of `export`; recognised regardless of the site's [csv]."""
_DAYS, _CLOCKS = ("date", "day", "datum", "tag"), ("time", "clock", "uhrzeit", "zeit", "heure")
_DELIMITERS = {",": "a comma", ";": "a semicolon", "\t": "a tab", "|": "a bar"}

_TIME_OF_DAY = re.compile(r"([01]?\d|2[0-4]):[0-5]\d(:[0-5]\d)?")
_TIMES_ACROSS = 12
"""Columns named by a time of the day from which on a file has a row for each day: one for every two hours."""
JSON_ADVICE = "export each of its values in a column of its own"
TIMES_ACROSS = (
    "has a column for each time of the day; a row for each time is wanted, with a column for each point:"
    " export it as a list, or turn its columns into rows"
)

_LONG_POINT = (
    *("point", "sensor", "channel", "datapoint", "data point", "signal", "variable"),
    *("datenpunkt", "messpunkt", "messstelle", "kanal", "capteur", "point de mesure", "grandeur"),
)
_LONG_VALUE = ("value", "reading", "wert", "messwert", "valeur")
_LONG_UNIT = ("unit", "units", "einheit", "unité", "unite")
"""Names of a long export's columns, in small letters (common practice, no source)."""


class LongColumns(NamedTuple):
    """The columns of a long export: one reading a row. unit is None where rows have none."""

    point: str
    value: str
    unit: str | None


def long_columns(given: Sequence[str], taken: Collection[str] = ()) -> LongColumns | None:
    """Which columns of a header make it a long export's; None where it is wide.

    taken : columns of the site's own points, which are not those of a long export
    """
    free = {g.lower(): g for g in reversed(given) if g not in taken}
    found = [
        next((free[w] for w in words if w in free), None) for words in (_LONG_POINT, _LONG_VALUE, _LONG_UNIT)
    ]
    point, value, unit = found
    return LongColumns(point, value, unit) if point and value else None


@dataclass(frozen=True)
class Layout:
    """The columns of one file.

    names : one per field, made unique. time, date : their columns; date is None where the time column has
        both
    points : column -> its points (wide form). by_name : value of the
        point column -> point (long form)
    """

    csv: Csv
    names: tuple[str, ...]
    time: str
    date: str | None = None
    points: dict[str, tuple[Point, ...]] = field(default_factory=dict)
    point: str | None = None
    value: str | None = None
    unit: str | None = None
    text: str | None = None
    by_name: dict[str, Point] = field(default_factory=dict)
    blanks: tuple[str, ...] = NO_READING
    ignored: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()

    @property
    def is_long(self) -> bool:
        return self.point is not None

    @property
    def is_export(self) -> bool:
        """Whether the file has fieldfare's own export format."""
        return self.names == EXPORT_HEADER and self.text is not None

    @property
    def records(self) -> Records:
        return Records(self.csv.delimiter, len(self.names), exact=self.is_export)


def has_times_across(names: Iterable[str]) -> bool:
    """Whether a header's columns are times of the day."""
    return sum(_TIME_OF_DAY.fullmatch(name) is not None for name in names) >= _TIMES_ACROSS


def is_header(settings: Csv, line: str) -> bool:
    """Whether a line names the columns that every file of these settings has. Lines above it are a
    preamble."""
    try:
        given = set(_split(line, settings.delimiter))
    except csv.Error:
        return False
    is_long = "time" in given and long_columns(sorted(given)) is not None
    return is_long or {settings.time_column, settings.date_column or settings.time_column} <= given


def find_layout(site: Site, path: Path, header: str, row: str = "") -> Layout:
    """Map the columns of a header line. Raises InputError with the missing and the expected columns.

    row : the line below the header, which may show why there are none
    """
    if header == ",".join(EXPORT_HEADER):
        return _exported(site)
    settings = site.csv
    with readable_csv(str(path)):
        given = _split(header, settings.delimiter)
    columns = {p.csv_column for p in site.point}
    long = long_columns(given, columns)
    is_long = long is not None
    time = settings.time_column
    if is_long and time not in given and "time" in given:
        time = "time"
    date = None if is_long else settings.date_column
    if has_times_across(given):
        raise InputError(f"{path}: {TIMES_ACROSS}")
    if time not in given:
        raise InputError(_no_time(path, settings, given, header))
    if date is not None and date not in given:
        raise InputError(f"{path}: has no date column {date!r}; its columns are {_listed(given)}")
    names = _unique(given)
    if long is not None:
        by_name = {p.csv_column: p for p in site.point} | {p.id: p for p in site.point}
        return Layout(
            settings,
            names,
            time,
            point=long.point,
            value=long.value,
            unit=long.unit,
            by_name=by_name,
            ignored=tuple(n for n in given if n and n not in {*long, time}),
        )
    points: dict[str, tuple[Point, ...]] = {}
    for p in site.point:
        if p.csv_column in given:
            if given.count(p.csv_column) > 1:
                raise InputError(
                    f"{path}: the column {p.csv_column!r} occurs {given.count(p.csv_column)} times; "
                    "each may occur once"
                )
            points[p.csv_column] = (*points.get(p.csv_column, ()), p)
    if not points and re.search(rf"(^|{re.escape(settings.delimiter)})\s*\"?\s*[{{\[]", row):
        raise InputError(f"{path}: holds JSON; {JSON_ADVICE}")
    if not points:
        raise InputError(_no_points(path, site, given, time))
    if unlike := next((ps for ps in points.values() if len({_measured(p) for p in ps}) > 1), None):
        a, b = unlike[0], next(p for p in unlike if _measured(p) != _measured(unlike[0]))
        raise InputError(
            f"{path}: the column {a.csv_column!r} can't be both {a.id} ({a.quantity}) and {b.id}"
            f" ({b.quantity}); if the file is of one point alone, name it with --point"
        )
    return Layout(
        settings,
        names,
        time,
        date,
        points=points,
        ignored=tuple(n for n in given if n not in points and n not in (time, date) and n),
        missing=tuple(p.id for p in site.point if p.csv_column not in given),
    )


def _measured(point: Point) -> str:
    """What kind of number a point has: only points of the same one may share a column."""
    return point.kind.canonical(point.form)


def of_one_point(site: Site, point_id: str, path: Path, header: str) -> Site:
    """The site with one point alone, whose column is the only one of the file besides the time's.

    Raises InputError where the site has no such point, or the file more columns.
    """
    point = site.find_point(point_id)
    if point is None:
        known = _listed([p.id for p in site.point]) or "none"
        raise InputError(f"{site.id} has no point {point_id!r}; its points are {known}")
    with readable_csv(str(path)):
        given = [n for n in _split(header, site.csv.delimiter) if n]
    others = [n for n in given if n not in (site.csv.time_column, site.csv.date_column)]
    if len(others) > 1:
        others = [n for n in others if n in (point.csv_column, "value")] or others
    if len(others) != 1:
        found = f"there are {_listed(others)}" if others else "there is none"
        raise InputError(f"{path}: a column of readings besides the time's is wanted for {point_id}; {found}")
    return site.model_copy(update={"point": (point.model_copy(update={"column": others[0]}),)})


def _exported(site: Site) -> Layout:
    """The layout of fieldfare's own export: its state words, and only an empty cell means "no reading"."""
    time, point, value, text, unit, _ = EXPORT_HEADER
    by_name = {p.id: p.model_copy(update={"values": {}}) for p in site.point}
    return Layout(
        Csv(),
        EXPORT_HEADER,
        time,
        point=point,
        value=value,
        unit=unit,
        text=text,
        by_name=by_name,
        blanks=("",),
    )


def _split(header: str, delimiter: str) -> list[str]:
    fields = next(csv.reader([header], delimiter=delimiter, skipinitialspace=True))
    return [f.strip() for f in fields]


def _unique(given: list[str]) -> tuple[str, ...]:
    """Make names unique: number unnamed and repeated columns, which no point may use."""
    seen: dict[str, int] = {}
    out = []
    for number, name in enumerate(given):
        out.append(name if name and name not in seen else f"{name}\0{number}")
        seen[name] = number
    return tuple(out)


def _no_time(path: Path, settings: Csv, given: list[str], header: str) -> str:
    name = settings.time_column
    for other, said in _DELIMITERS.items():
        if other != settings.delimiter and len(given) < header.count(other) + 1 and len(given) <= 2:
            return (
                f"{path}: its header seems to be separated by {said}, not by "
                f"{_DELIMITERS.get(settings.delimiter, repr(settings.delimiter))}; "
                f"set delimiter = {_toml(other)} in the site's [csv]"
            )
    day, clock = (next((g for g in given if g.lower() in words), "") for words in (_DAYS, _CLOCKS))
    if day and clock and settings.date_column is None:
        both = f"; set date_column = {_toml(day)} and time_column = {_toml(clock)} in the site's [csv]"
        return f"{path}: has no time column {name!r}; its columns are {_listed(given)}{both}"
    near = [g for g in given if g.lower() == name.lower()] or get_close_matches(name, given, 1, 0.6)
    guess = near or [g for g in given if g.lower() in ("time", "timestamp", "datetime", "date", "zeit", "ts")]
    hint = f"; set time_column = {_toml(guess[0])} in the site's [csv]" if guess else ""
    return f"{path}: has no time column {name!r}; its columns are {_listed(given)}{hint}"


def _no_points(path: Path, site: Site, given: list[str], time: str) -> str:
    names = [p.csv_column for p in site.point]
    if not names:
        return f"{path}: the site {site.id} has no points to read it into; add a [[point]] for each column"
    lower = {g.lower(): g for g in given}
    if cased := [(w, lower[w.lower()]) for w in names if w.lower() in lower]:
        return (
            f"{path}: has no column of {site.id}: {cased[0][0]!r} is wanted and {cased[0][1]!r} is there; "
            "names must agree in capitals too"
        )
    others = [g for g in given if g and g != time]
    return (
        f"{path}: has no column of {site.id}; it looks like the file of another site: "
        f"wanted are {_listed(names)}, there are {_listed(others) or 'none'}"
    )


def _listed(names: list[str]) -> str:
    shown = [n for n in names if n]
    return ", ".join(shown[:8]) + (f" and {len(shown) - 8} more" if len(shown) > 8 else "")


def _toml(word: str) -> str:
    return '"\\t"' if word == "\t" else f'"{word}"'
