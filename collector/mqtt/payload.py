"""Parse the parts of a payload: JSON Pointers, times, units, gateway status."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import orjson

from fieldfare.analysis.plant.site import Point
from fieldfare.analysis.plant.units import Conversion
from fieldfare.collector import validation
from fieldfare.collector.mqtt import senml

_SAME = Conversion(1.0, 0.0)

NOTHING: Any = object()

_MS_FROM = 1e11
"""Numbers from here on are milliseconds since 1970: as seconds they would lie after the year 5000."""
_SECONDS_FROM = 1e9
"""Seconds of the year 2001: a smaller number is no time."""
_TIMES = ("time", "timestamp", "ts", "datetime", "t")
"""What gateways call the time of a message (common practice, no source)."""


def pointed(document: Any, parts: Sequence[str]) -> Any:
    """Resolve a JSON Pointer's tokens (RFC 6901); return a marker that equals nothing if not found."""
    for part in parts:
        if type(document) is dict:
            if part not in document:
                return NOTHING
            document = document[part]
        elif type(document) is list:
            if not (part.isascii() and part.isdigit()) or (part != "0" and part[0] == "0") or len(part) > 9:
                return NOTHING
            if int(part) >= len(document):
                return NOTHING
            document = document[int(part)]
        else:
            return NOTHING
    return document


def instant(given: Any) -> int:
    """Parse Unix seconds or ISO 8601 (UTC without an offset) to [ms]. Raises ValueError."""
    if type(given) is float or type(given) is int:
        return milliseconds(given)
    if type(given) is str:
        try:
            moment = datetime.fromisoformat(given)
        except ValueError:
            raise ValueError(f"t {given[:40]!r} is no ISO 8601 time") from None
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=UTC)
        return round(moment.timestamp() * 1000)
    raise ValueError("t must be Unix seconds or ISO 8601 text")


def gateways_instant(given: Any) -> int:
    """`instant` of a gateway's own message, which may count milliseconds."""
    if (type(given) is float or type(given) is int) and abs(given) >= _MS_FROM:
        return milliseconds(given / 1000.0)
    return instant(given)


def own_time(document: Any) -> tuple[str, int] | None:
    """Name and moment [ms] of a message's own time, where it stands at the top and says its offset; else
    None."""
    if type(document) is not dict:
        return None
    for name in _TIMES:
        given = document.get(name)
        if type(given) is str:
            try:
                moment = datetime.fromisoformat(given)
            except ValueError:
                continue
            if moment.tzinfo is not None:
                return name, round(moment.timestamp() * 1000)
        elif (type(given) is float or type(given) is int) and given >= _SECONDS_FROM:
            return name, gateways_instant(given)
    return None


def milliseconds(seconds: float) -> int:
    """Seconds to ms, clipped to the range of store keys."""
    return round(max(-9.2e15, min(9.2e15, seconds * 1000.0)))


def unit_of(point: Point, unit: str | None) -> Conversion:
    """Return the conversion of a record's numbers to the point's unit.

    unit : str of the SenML registry or RFC 8798; None: the point's own. Raises ValueError for any other
    """
    if unit is None:
        return _SAME
    if point.form == "state":
        if unit in ("/", "count"):
            return _SAME
        raise ValueError(f"a state has no unit, but u is {unit!r}")
    known = senml.UNITS.get(unit)
    if known is None:
        if unit == point.unit:
            return _SAME
        raise ValueError(f"u {unit[:40]!r} is no SenML unit; leave it out for {point.unit}")
    return validation.unit_change(point, known)


def is_status(payload: bytes) -> bool:
    """Whether a payload is a birth or will: online or offline, as text, JSON text, or an object's status."""
    text: Any = payload.strip()
    try:
        text = orjson.loads(text)
    except orjson.JSONDecodeError:
        text = text.decode(errors="replace")
    if type(text) is dict:
        text = text.get("status")
    return type(text) is str and text.lower() in ("online", "offline")
