"""Resolve SenML packs (RFC 8428, JSON) to records, and convert their units."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import permutations
from typing import Any

ABSOLUTE_FROM = 2**28  # RFC 8428, 4.5.3: a smaller time is relative to now [s]
# RFC 8428, 4.4: version 10; RFC 9193: bit 4 means secondary units. Other versions must not be read.
_VERSIONS = range(11)
_SECONDARY_UNITS = 26
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:._/]*\Z")
_KNOWN = frozenset(
    ("bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "l")
)
# Labels, in any order, of the most common records: a number, no base fields.
_PLAIN = frozenset(
    order
    for labels in (("n", "v"), ("n", "u", "v"), ("n", "t", "v"), ("n", "t", "u", "v"))
    for order in permutations(labels)
)

# RFC 8428, 12.1: units of a plant's quantities, in pint's notation. `%` and `/` are ratios of
# one, not 0 to 100.
PRIMARY = {
    "m": "m",
    "kg": "kg",
    "g": "g",
    "s": "s",
    "A": "A",
    "K": "K",
    "Hz": "Hz",
    "N": "N",
    "Pa": "Pa",
    "J": "J",
    "W": "W",
    "C": "C",
    "V": "V",
    "F": "F",
    "Ohm": "ohm",
    "Cel": "degC",
    "m2": "m**2",
    "m3": "m**3",
    "l": "l",
    "m/s": "m/s",
    "m3/s": "m**3/s",
    "l/s": "l/s",
    "W/m2": "W/m**2",
    "/": "dimensionless",
    "%": "dimensionless",
    "%RH": "percent",
    "%EL": "percent",
    "EL": "s",
    "count": "count",
    "1/s": "1/s",
    "1/min": "1/min",
    "S/m": "S/m",
    "lm": "lm",
    "lx": "lx",
    "cd": "cd",
}
# RFC 8798, tables 1 and 2: further primary units and the secondary ones.
SECONDARY = {
    "B": "B",
    "VA": "V*A",
    "VAs": "V*A*s",
    "var": "V*A",
    "vars": "V*A*s",
    "J/m": "J/m",
    "kg/m3": "kg/m**3",
    "deg": "deg",
    "ms": "ms",
    "min": "min",
    "h": "h",
    "MHz": "MHz",
    "kW": "kW",
    "kVA": "kV*A",
    "kvar": "kV*A",
    "Ah": "A*h",
    "Wh": "W*h",
    "kWh": "kW*h",
    "varh": "V*A*h",
    "kvarh": "kV*A*h",
    "kVAh": "kV*A*h",
    "Wh/km": "W*h/km",
    "KiB": "KiB",
    "GB": "GB",
    "Mbit/s": "Mbit/s",
    "B/s": "B/s",
    "MB/s": "MB/s",
    "mV": "mV",
    "mA": "mA",
    "dBm": "dBm",
    "ug/m3": "ug/m**3",
    "mm/h": "mm/h",
    "m/h": "m/h",
    "ppm": "ppm",
    "/100": "percent",
    "/1000": "permille",
    "hPa": "hPa",
    "mm": "mm",
    "cm": "cm",
    "km": "km",
    "km/h": "km/h",
}
UNITS = PRIMARY | SECONDARY


class PackRefused(ValueError):
    """The whole pack can't be read; the message is the reason."""


class Unreadable(str):
    """Replaces the value of a record that can't be read; the text is the reason."""

    __slots__ = ()


Record = tuple[str, str | None, Any, float | None]
"""Full name, unit, value (number, text, truth or Unreadable), time [s; None where the pack gives none; see
`absolute`]."""


def absolute(time: float | None, now: float) -> float:
    """Absolute time of a record [s since 1970]; missing or small times are relative (RFC 8428, 4.5.3)."""
    return now if time is None else time if time >= ABSOLUTE_FROM else now + time


def resolve(pack: Any) -> Iterator[Record]:
    """Yield the records of a pack with base fields applied; times are base plus own, still relative.

    pack : the parsed JSON
    Yields Record, in the pack's order. Raises PackRefused where a field makes the rest of the pack
        unreadable.
    """
    if type(pack) is not list or not pack:
        raise PackRefused("a SenML pack is a JSON array with at least one record")
    name, unit, value, time = "", None, None, None
    for record in pack:
        if type(record) is not dict:
            raise PackRefused(f"a SenML record is a JSON object, not {_kind(record)}")
        plain = tuple(record) in _PLAIN
        if not plain:
            _check_labels(record)
            name = _base(record, "bn", str, name)
            unit = _base(record, "bu", str, unit)
            value = _base(record, "bv", float, value)
            time = _base(record, "bt", float, time)
        if plain and value is None:
            got = record["v"]
            if type(got) is not float and type(got) is not int:
                got = Unreadable(f"v must be a number, not {_kind(got)}")
        else:
            got = _value(record, value)
            if got is None:
                continue
        full = record.get("n", "")
        if name:
            full = name + full if type(full) is str else full
        if type(full) is not str or not full:
            yield str(full), None, Unreadable("a record without a name"), None
            continue
        t = record.get("t")
        if t is None:
            t = time
        elif type(t) is float or type(t) is int:
            t = t if time is None else time + t
        else:
            yield full, None, Unreadable(f"t must be a number, not {_kind(t)}"), None
            continue
        u = record.get("u", unit)
        if u is not None and type(u) is not str:
            got = Unreadable(f"u must be text, not {_kind(u)}")
            u = None
        yield full, u, got, t


def _check_labels(record: dict[str, Any]) -> None:
    version = record.get("bver", 10)
    if type(version) is not int or not (version in _VERSIONS or version == _SECONDARY_UNITS):
        raise PackRefused(f"SenML version {version!r} is not known here")
    for label in record:
        if label.endswith("_") and label not in _KNOWN:  # RFC 8428, 4.4: must be understood
            raise PackRefused(f"label {label!r} must be understood and is not known here")
    name = record.get("bn", record.get("n"))
    if type(name) is str and name and not _NAME.match(name):
        raise PackRefused(f"name {name!r} holds what RFC 8428 does not allow in names")


def _base(record: dict[str, Any], label: str, kind: type, before: Any) -> Any:
    if label not in record:
        return before
    got = record[label]
    if kind is str and type(got) is str:
        return got
    if kind is float and (type(got) is float or type(got) is int):
        return got
    raise PackRefused(f"{label} must be {'text' if kind is str else 'a number'}, not {_kind(got)}")


def _value(record: dict[str, Any], base: float | None) -> Any:
    """A record's value; None if the record has base fields only."""
    held = [k for k in ("v", "vs", "vb", "vd") if k in record]
    if len(held) > 1:
        return Unreadable(f"a record holds one value, not {' and '.join(held)}")
    if held == ["v"] or (
        not held and base is not None and "s" not in record and ("n" in record or "t" in record)
    ):
        got = record.get("v", 0.0)
        return (
            got + (base or 0.0)
            if type(got) in (float, int)
            else Unreadable(f"v must be a number, not {_kind(got)}")
        )
    if held == ["vs"]:
        return (
            record["vs"]
            if type(record["vs"]) is str
            else Unreadable(f"vs must be text, not {_kind(record['vs'])}")
        )
    if held == ["vb"]:
        return (
            record["vb"]
            if type(record["vb"]) is bool
            else Unreadable(f"vb must be true or false, not {_kind(record['vb'])}")
        )
    if held == ["vd"]:
        return Unreadable("a data value (vd) is no reading")
    if "s" in record:
        return Unreadable(
            "a sum (s) without a value is no reading; send a running total as v of its own point"
        )
    return (
        Unreadable("a record without a value")
        if "n" in record and not record.keys() & {"bn", "bt", "bu", "bv", "bver", "bs"}
        else None
    )


def _kind(got: Any) -> str:
    names = {
        dict: "an object",
        list: "an array",
        str: "text",
        bool: "true or false",
        type(None): "null",
        int: "a number",
        float: "a number",
    }
    return names.get(type(got), "something else")
