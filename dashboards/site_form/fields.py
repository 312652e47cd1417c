"""Fields of a site file's form: every key that has one, and their values from a file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cache
from typing import Any, NamedTuple
from zoneinfo import available_timezones

from fieldfare.analysis.errors import Problem
from fieldfare.analysis.plant.quantities import QUANTITIES
from fieldfare.analysis.plant.site import HEAT_QUANTITIES
from fieldfare.dashboards.site_form.schema import JOIN, keys
from fieldfare.dashboards.site_form.words import ONLY_NEW, PARTS, Part
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.language import own_name


class Field(NamedTuple):
    """A form field for a key of the site file. kind : as in `site_form.schema`
    choices : options; the first is the default"""

    key: str
    label: str
    hint: str = ""
    kind: str = "text"
    choices: tuple[str, ...] = ()
    needed: bool = False

    @property
    def offered(self) -> tuple[str, ...]:
        """Suggestions while typing."""
        return time_zones() if self.key == "site.timezone" else ()

    def choice_words(self, choice: str) -> str:
        """Label of a choice."""
        if choice in ("true", "false"):
            return "Yes" if choice == "true" else "No"
        if not choice:
            return "not given: English" if self.key == "site.language" else "not given"
        return own_name(choice) if self.key == "site.language" else words.plain(choice)


class Row(NamedTuple):
    """A row of a list. name : of a point, else empty; its other fields are hidden in the form"""

    name: str
    fields: tuple[Field, ...]
    hidden: tuple[Field, ...] = ()


class FieldGroup(NamedTuple):
    """A section of the form: plain fields, or rows of fields side by side."""

    title: str
    hint: str
    fields: tuple[Field, ...] = ()
    rows: tuple[Row, ...] = ()

    @property
    def all(self) -> tuple[Field, ...]:
        return self.fields + tuple(f for row in self.rows for f in row.fields)

    def in_short(self, values: Mapping[str, str]) -> str:
        """Summary of the given values."""
        if self.rows:
            filled = sum(any(values.get(f.key) for f in (*row.fields, *row.hidden)) for row in self.rows)
            return f"{filled}" if filled else "none"
        given = sum(bool(values.get(f.key)) for f in self.fields)
        return f"{given} of {len(self.fields)} given"


POINT_NAMES = tuple(
    Field(f"point.#.{key}", label) for key, label in (("id", "id"), ("quantity", "quantity"), ("as", "form"))
)
"""What a point is: shown and sent along with its fields, never changed by them."""


@cache
def time_zones() -> tuple[str, ...]:
    """Names of the IANA database by region and city, and UTC; computed on first use, as it takes 0.04 s."""
    regions = ("Africa/", "America/", "Asia/", "Atlantic/", "Australia/", "Europe/", "Indian/", "Pacific/")
    return (*sorted(name for name in available_timezones() if name.startswith(regions)), "UTC")


def _field(key: str, label: str, hint: str = "", only: tuple[str, ...] = ()) -> Field:
    known = keys()[key]
    return Field(key, label, hint, known.kind, only or known.choices, known.needed and key not in ONLY_NEW)


_FIELDS = {key: _field(key, w.label, w.hint, w.only) for part in PARTS for key, w in part.keys.items()}
LISTS = {part.rows: tuple(k for k in part.keys) for part in PARTS if part.rows}
"""Lists of the file, each with the keys of a row."""
NEW_FIELDS = frozenset(key for part in PARTS for key, w in part.keys.items() if not (part.later or w.later))
"""Keys in the form of a new home."""
_IN_LIST = re.compile(rf"({'|'.join(map(re.escape, LISTS))})\.\d{{1,3}}\.(\w+)")
_SPARE = {"point": 0}
"""Empty rows offered behind those that are there; one where the list is not named."""


def new_groups(values: Mapping[str, str]) -> list[FieldGroup]:
    """The form of a new home, with enough rows in each list for `values`."""
    made = []
    for part in PARTS:
        chosen = tuple(_FIELDS[key] for key in part.keys if key in NEW_FIELDS)
        if part.rows and chosen:
            count = max(part.new_rows, _count(part.rows, values))
            made.append(FieldGroup(part.title, part.hint, rows=_rows(chosen, count)))
        elif chosen:
            made.append(FieldGroup(part.title, part.hint, chosen))
    return made


def groups_of(values: Mapping[str, str]) -> list[FieldGroup]:
    """The form of an existing home, with enough rows in each list for `values`, plus one."""
    made = []
    for part in PARTS:
        chosen = tuple(_FIELDS[key] for key in part.keys if key not in ONLY_NEW)
        if part.rows == "point":
            made.append(_points(part, chosen, values))
        elif part.rows:
            count = _count(part.rows, values) + _SPARE.get(part.rows, 1)
            made.append(FieldGroup(part.title, part.hint, rows=_rows(chosen, count)))
        else:
            made.append(FieldGroup(part.title, part.hint, chosen))
    return made


def _count(name: str, values: Mapping[str, str]) -> int:
    return max((n + 1 for n in filled_rows(name, values)), default=0)


def filled_rows(name: str, values: Mapping[str, str]) -> list[int]:
    """Positions in a list that have a value, in order."""
    named = (
        k[len(name) + 1 :].split(".")[0] for k, v in values.items() if k.startswith(f"{name}.") and v.strip()
    )
    return sorted({int(n) for n in named})


def _rows(fields: tuple[Field, ...], count: int) -> tuple[Row, ...]:
    return tuple(
        Row("", tuple(f._replace(key=_at(f.key, n), label=f"{n + 1}: {f.label}") for f in fields))
        for n in range(count)
    )


def _points(part: Part, fields: tuple[Field, ...], values: Mapping[str, str]) -> FieldGroup:
    """Meters and sensors, each with its applicable fields."""
    rows = []
    for n in filled_rows("point", values):
        of = {f.key.rpartition(".")[2]: values.get(_at(f.key, n), "") for f in (*POINT_NAMES, *fields)}
        shown_here = tuple(
            f._replace(key=_at(f.key, n), label=words.capital(f.label))
            for f in fields
            if of[last := f.key.rpartition(".")[2]] or _fits(last, of, values)
        )
        name = f"{words.quantity_words(of['quantity'])}, {of['as']} ({of['id']})"
        rows.append(Row(name, shown_here, tuple(f._replace(key=_at(f.key, n)) for f in POINT_NAMES)))
    return FieldGroup(part.title, part.hint, rows=tuple(rows))


def _fits(key: str, point: Mapping[str, str], values: Mapping[str, str]) -> bool:
    """Whether a key applies to a point's quantity."""
    quantity, is_heat = point["quantity"], point["quantity"] in HEAT_QUANTITIES
    is_meter = is_heat or quantity.endswith("_electricity")
    return {
        "unit": point["as"] != "state",
        "includes": is_meter,
        "meter_class": is_meter,
        "antifreeze_corrected": is_heat,
        "stamp": point["as"] == "interval",
        "zone": quantity in ("room_temperature", "target_room_temperature", "heat_call"),
        "heat_pump": values.get("heat_pump.units", "1") not in ("", "1"),
    }.get(key, True)


def _at(key: str, n: int) -> str:
    return key.replace("#", str(n), 1)


def values_of(text: str) -> dict[str, str]:
    """Form values of a file: key of each field -> value as text. Raises tomllib.TOMLDecodeError."""
    data = tomllib.loads(text)
    found = {path: shown(value) for path, value in leaves(data)}
    found |= {
        f"point.{n}.as": QUANTITIES[quantity].forms[0]
        for n, quantity in (
            (k.split(".")[1], v) for k, v in found.items() if re.fullmatch(r"point\.\d+\.quantity", k)
        )
        if f"point.{n}.as" not in found and quantity in QUANTITIES
    }
    return {key: value for key, value in found.items() if is_field(key) or is_point_name(key)}


def is_field(key: str) -> bool:
    """Whether a key has a field, in a list of any length."""
    general = _general(key)
    return general in _FIELDS and general not in ONLY_NEW


def is_new_field(key: str) -> bool:
    """Whether the form of a new home has a field for a key."""
    return _general(key) in NEW_FIELDS


def is_point_name(key: str) -> bool:
    """Whether a key says what a point is."""
    return any(f.key == _general(key) for f in POINT_NAMES)


def _general(key: str) -> str:
    """A key with `#` for its place in a list."""
    found = _IN_LIST.fullmatch(key)
    return f"{found[1]}.#.{found[2]}" if found else key


def leaves(data: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """All values of a document with dotted paths; list positions count from 0. A list of words is one
    value."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield from leaves(value, f"{path}.{key}" if path else key)
    elif isinstance(data, list | tuple) and data and all(isinstance(v, str) for v in data):
        yield path, JOIN.join(data)
    elif isinstance(data, list | tuple):
        for n, value in enumerate(data):
            yield from leaves(value, f"{path}.{n}")
    else:
        yield path, data


def shown(value: Any) -> str:
    """A value as text for a field."""
    if isinstance(value, bool):
        return str(value).lower()
    return value.strftime("%H:%M") if hasattr(value, "minute") else str(value)


def field_of(key: str) -> Field:
    """The field of a key, in a list of any length."""
    return _FIELDS[_general(key)]._replace(key=key)


def title_of(key: str) -> str:
    """Title of the section of a key's field."""
    return next(part.title for part in PARTS if _general(key) in part.keys)


def beside_fields(
    problems: Iterable[Problem], values: Mapping[str, str], has_field: Callable[[str], bool]
) -> tuple[dict[str, str], list[Problem]]:
    """Problems to show beside their field, by the field's key, and those to show above the form.

    has_field : whether the form shows the field of a key
    """
    beside: dict[str, str] = {}
    above: list[Problem] = []
    for p in problems:
        key = key_of_problem(p.key, values)
        if has_field(key):
            beside[key] = f"{beside[key]}; {p.message}" if key in beside else p.message
        else:
            above.append(p)
    return beside, above


def key_of_problem(key: str, values: Mapping[str, str]) -> str:
    """Convert a problem's key to a field's: problems count filled rows from 1, fields count all rows from
    0."""
    found = re.fullmatch(rf"({'|'.join(map(re.escape, LISTS))})\[(\d+)\](?:[.\[](\w+)\]?)?(?:\[\d+\])?", key)
    if found is None:
        return key
    name, n, part = found[1], int(found[2]), found[3]
    rows = filled_rows(name, values)
    row = rows[n - 1] if 0 < n <= len(rows) else n - 1
    if name == "heating_curve.points":
        part = str(int(part) - 1) if part and part.isdecimal() else "0"
    return f"{name}.{row}.{part}" if part else _at(LISTS[name][0], row)
