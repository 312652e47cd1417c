"""Fields of a site file's form: every key that has one, and their values from a file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from fieldfare.dashboards.site_form import GROUPS, Field

Group = tuple[str, str, tuple[Field, ...]]
CONTACT: Group = (
    "Contact",
    "For visits: the firm's people see it, householders their own. It stands on no paper.",
    (
        Field("contact.name", "Name"),
        Field("contact.phone", "Telephone", "such as +44 1632 960123"),
        Field("contact.address", "Address"),
        Field("contact.area", "Area", "your own name for a part of the round"),
        Field("contact.latitude", "Latitude of the door", "degrees north", "number"),
        Field("contact.longitude", "Longitude of the door", "degrees east", "number"),
        Field("contact.access_notes", "Access notes", "keys, parking, dogs"),
    ),
)
_MORE: dict[str, tuple[Field, ...]] = {
    "The home": (
        Field("site.longitude", "Longitude", "degrees east", "number"),
        Field("site.outdoor_from", "Outdoor sensor of", "the short name of a nearby home that lends it"),
        Field("site.language", "The household's language", "en, de or fr; empty: English"),
    ),
    "Prices": (
        Field(
            "cost.previous_standing_charge_per_day",
            "Standing charge of the old fuel",
            "per day, if no longer paid",
            "number",
        ),
    ),
}
"""Keys that the form of a new home leaves out."""
BUFFER: Group = (
    "Buffer",
    "Leave empty where there is none.",
    (
        Field("buffer.litres", "Buffer", "litres", "number"),
        Field("buffer.arrangement", "Arrangement", "", "choice", ("", "series", "parallel")),
    ),
)
EXPORTS: Group = (
    "Exports",
    "How this home's CSV exports are written.",
    (
        Field("csv.time_column", "Column of the time"),
        Field("csv.timezone", "Their time zone", "for times without an offset"),
        Field(
            "csv.time_format",
            "Form of the time",
            "iso, unix, unix_ms, spreadsheet or a pattern such as %d.%m.%Y %H:%M",
        ),
        Field("csv.date_column", "Column of the date", "where it stands apart from the time"),
        Field("csv.delimiter", "Delimiter"),
        Field("csv.decimal", "Decimal sign"),
        Field("csv.thousands", "Sign between thousands", "as in 1,234.5; empty: none"),
        Field("csv.encoding", "Encoding", "", "choice", ("", "utf-8", "utf-16", "windows-1252")),
    ),
)
ROWS: dict[str, tuple[tuple[str, str, str, str], ...]] = {
    "heat_pump.rating": (
        ("outdoor_c", "outdoors", "°C", "number"),
        ("flow_c", "flow", "°C", "number"),
        ("output_kw", "output", "kW", "number"),
        ("cop", "COP", "", "number"),
    ),
    "heating_curve.points": (("0", "outdoors", "°C", "number"), ("1", "flow", "°C", "number")),
    "emitter": (
        ("zone", "zone", "", "text"),
        ("kind", "kind", "radiator, underfloor or fan_coil", "text"),
        ("output_kw", "output", "kW", "number"),
        ("output_excess_k", "at an excess of", "K", "number"),
    ),
    "cost.band": (
        ("from", "from", "such as 00:30", "time"),
        ("to", "to", "", "time"),
        ("price", "price", "per kWh", "number"),
    ),
}
"""Lists of the file: each row's key, label, hint and kind."""
_TITLES = {
    "heat_pump.rating": ("Rating", "EN 14511 test points, as many as you know."),
    "heating_curve.points": ("Heating curve", "Flow temperature at outdoor temperatures, as set."),
    "emitter": ("Radiators and floors", "One row for each kind or zone; 50 K for radiators (EN 442)."),
    "cost.band": ("Bands of the day", "Prices between two times of the day."),
}
_SPARE = {"heat_pump.rating": 1, "heating_curve.points": 1, "emitter": 1, "cost.band": 1}
"""Empty rows offered behind those that are there."""
FIXED = frozenset({"site.id"})


def groups_of(values: Mapping[str, str]) -> list[Group]:
    """The form's groups, with as many rows in each list as `values` fill, and one to spare."""
    known = {
        title: tuple(f for f in fields if f.key not in FIXED) + _MORE.get(title, ())
        for title, _, fields in GROUPS
    }
    hints = {title: hint for title, hint, _ in GROUPS}
    made: list[Group] = [("The home", hints["The home"], known["The home"]), CONTACT]
    for title in ("The design", "The heat pump"):
        made.append((title, hints[title], known[title]))
    made += [_list_group(name, values) for name in ("heat_pump.rating", "heating_curve.points", "emitter")]
    made += [
        ("Hot water", hints["Hot water"], known["Hot water"]),
        BUFFER,
        ("Prices", hints["Prices"], known["Prices"]),
    ]
    return [*made, _list_group("cost.band", values), EXPORTS]


def _list_group(name: str, values: Mapping[str, str]) -> Group:
    title, hint = _TITLES[name]
    n = max(
        (
            int(k[len(name) + 1 :].split(".")[0]) + 1
            for k, v in values.items()
            if k.startswith(f"{name}.") and v.strip()
        ),
        default=0,
    )
    fields = tuple(
        Field(f"{name}.{i}.{key}", f"{i + 1}: {label}", hint_of, kind)
        for i in range(n + _SPARE[name])
        for key, label, hint_of, kind in ROWS[name]
    )
    return title, hint, fields


def values_of(text: str) -> dict[str, str]:
    """What the form shows of a file: key of each field -> value as text. Raises tomllib.TOMLDecodeError."""
    data = tomllib.loads(text)
    found = {f"{path}": shown(value) for path, value in leaves(data)}
    return {key: value for key, value in found.items() if is_field(key)}


def is_field(key: str) -> bool:
    """Whether a key has a field, in a list of any length."""
    if any(
        re.fullmatch(rf"{re.escape(name)}\.\d{{1,3}}\.({'|'.join(r[0] for r in rows)})", key)
        for name, rows in ROWS.items()
    ):
        return True
    return key not in FIXED and key in _PLAIN


def leaves(data: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of a document with its dotted path; places in lists count from 0."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield from leaves(value, f"{path}.{key}" if path else key)
    elif isinstance(data, list):
        for n, value in enumerate(data):
            yield from leaves(value, f"{path}.{n}")
    else:
        yield path, data


def shown(value: Any) -> str:
    """A value as it stands in a field."""
    if isinstance(value, bool):
        return str(value).lower()
    return value.strftime("%H:%M") if hasattr(value, "minute") else str(value)


_PLAIN = {
    f.key: f
    for fields in (*(g[2] for g in GROUPS), CONTACT[2], BUFFER[2], EXPORTS[2], *_MORE.values())
    for f in fields
    if not re.search(r"\.\d+\.", f.key)
}


def field_of(key: str) -> Field:
    """The field of a key, in a list of any length."""
    if key in _PLAIN:
        return _PLAIN[key]
    name = next(n for n in ROWS if key.startswith(f"{n}."))
    _, _, last = key[len(name) + 1 :].partition(".")
    label, hint, kind = next(r[1:] for r in ROWS[name] if r[0] == last)
    return Field(key, label, hint, kind)
