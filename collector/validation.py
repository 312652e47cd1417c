"""Validation of incoming readings, shared by files and messages.

A value is stored in its point's declared unit, a state as its code, a fault code as its text.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.plant.refusals import did_you_mean, nearest
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.plant.units import (
    LONGEST_UNIT,
    Conversion,
    conversion,
    shown_unit,
)

EARLIEST = 631_152_000_000
"""1990-01-01 UTC [ms]: before it no heat pump was metered; a gateway without a clock starts at 1970."""
AHEAD_MS = 600_000
"""A clock may be ten minutes fast."""
LONGEST_TEXT = 200

_SWITCH_WORDS = {
    "0": 0,
    "1": 1,
    "off": 0,
    "on": 1,
    "false": 0,
    "true": 1,
    "no": 0,
    "yes": 1,
}


class Refusal(NamedTuple):
    """Why a reading is refused: the kind, for counting, and the reason in plain words.

    setting : of [csv], with the value by which the field could be read; empty where none is known
    """

    kind: str
    reason: str
    setting: str = ""

    def __str__(self) -> str:
        return self.reason


class RefusedValue(ValueError):
    """Raised when a value can't be decoded; `.refusal` says why."""

    def __init__(self, kind: str, reason: str) -> None:
        super().__init__(reason)
        self.refusal: Refusal = Refusal(kind, reason)


def known_point(sites: Mapping[str, Site], site: str, point: str) -> Point:
    """Return the point of a site. Raises RefusedValue if the site or the point is unknown."""
    if site not in sites:
        raise RefusedValue("unknown site", f"unknown site {site!r}{_near(site, list(sites))}")
    found = sites[site].find_point(point)
    if found is None:
        refusal = unknown_point(sites[site], point)
        raise RefusedValue(refusal.kind, refusal.reason)
    return found


def unknown_point(site: Site, point: str) -> Refusal:
    """Return the refusal of a point that the site does not have."""
    near = _near(point, [p.id for p in site.point])
    return Refusal("unknown point", f"{site.id} has no point {point[:80]!r}{near}")


def decoded(point: Point, raw: object, unit: str | None = None) -> float | str:
    """Decode one value to its stored form.

    raw : number, bool or str as received. unit : str, unit of the number; default the point's own
    Returns float in the point's unit, a state's code, or str for a fault code. Raises RefusedValue.
    """
    if point.form == "state":
        return _state(point, raw)
    if isinstance(raw, bool):
        raise RefusedValue("not a number", f"{raw} is not a number, and {point.id} is no state")
    try:
        number = float(raw)  # type: ignore[arg-type]
    except OverflowError:
        raise RefusedValue(
            "not a finite number", f"{point.id}: a number of so many digits is no reading"
        ) from None
    except (TypeError, ValueError):
        raise RefusedValue("not a number", f"{str(raw)[:40]!r} is not a number") from None
    if unit and unit != point.unit:
        scale, offset = unit_change(point, unit)
        return number * scale + offset
    return number


@lru_cache(maxsize=4096)
def _changed(unit: str, target: str) -> Conversion | str:
    try:
        return conversion(unit, target)
    except ValueError as error:
        return str(error)


def unit_change(point: Point, unit: str) -> Conversion:
    """Return the conversion from `unit` to the point's unit. Raises RefusedValue if incompatible."""
    if point.form == "state":
        return Conversion(1.0, 0.0)
    if len(unit) > LONGEST_UNIT:  # not worth caching
        raise RefusedValue("wrong unit", f"unknown unit {shown_unit(unit)}; {point.id} is in {point.unit}")
    found = _changed(unit, point.unit)
    if isinstance(found, str):
        raise RefusedValue("wrong unit", f"{found}; {point.id} is in {point.unit}")
    return found


def _state(point: Point, raw: object) -> float | str:
    if isinstance(raw, bool):
        raw = "1" if raw else "0"
    text = str(raw).strip()
    plain = _plain(text)
    word = point.values.get(text, point.values.get(plain))
    states = point.kind.states
    if states is None:
        return kept_text(word if word is not None else text)
    if word is None:
        word = plain
    if word in states:
        return float(states[word])
    lower = word.lower()
    if lower in states:
        return float(states[lower])
    if "1" in states and lower in _SWITCH_WORDS:
        return float(_SWITCH_WORDS[lower])
    raise RefusedValue(
        "unknown state",
        f"{text[:40]!r} is not a state of {point.id}; known are {', '.join([*point.values, *states])} "
        "(add it to the point's values)",
    )


def kept_text(text: str) -> str:
    """Return a fault code's text in stored form. Raises RefusedValue if it is too long."""
    if len(text) > LONGEST_TEXT:
        raise RefusedValue(
            "text too long", f"text of {len(text)} characters; at most {LONGEST_TEXT} are kept"
        )
    return text


def _plain(text: str) -> str:
    """Normalise a whole number written as `1.0` or `01` to `1`."""
    try:
        number = float(text)
    except ValueError:
        return text
    return str(int(number)) if math.isfinite(number) and number == int(number) else text


def trouble(point: Point, time: int, value: float | str, now: int) -> Refusal | None:
    """Return why one decoded reading is refused, or None.

    time, now : int [ms since 1970-01-01 UTC]; value : float in the point's unit, or str
    """
    return time_trouble(time, now) or value_trouble(point, value)


def time_trouble(time: int, now: int) -> Refusal | None:
    """Return why a time [ms] is implausible, or None."""
    if time > now + AHEAD_MS:
        return Refusal("in the future", f"the time {_shown(time)} lies in the future (it is {_shown(now)})")
    if time < EARLIEST:
        return Refusal("before 1990", f"the time {_shown(time)} is before 1990: a clock that was not set?")
    return None


def value_trouble(point: Point, value: float | str) -> Refusal | None:
    """Return why a value in the point's unit is implausible, or None."""
    if isinstance(value, str):
        return None
    name = point.quantity.replace("_", " ")
    if not math.isfinite(value):
        return Refusal("not a finite number", f"{name} of {value} is not a finite number")
    low, high = _bounds(point)
    scale, offset = point.to_canonical
    canonical = value * scale + offset
    if low <= canonical <= high:
        return None
    unit = point.kind.canonical(point.form)
    given = f" ({value:.10g} {point.unit})" if point.unit != unit else ""
    if point.kind.low <= canonical < low:
        what = f"{name} of {canonical:.10g} {unit}{given} is below zero"
        return Refusal("below zero", f"{what}, which a running total of it never is")
    return Refusal(
        "beyond physics",
        f"{name} of {canonical:.10g} {unit}{given} is beyond what physics allows "
        f"({point.kind.low:g} to {point.kind.high:g} {unit})",
    )


def in_trouble(
    point: Point, time: NDArray[np.int64], value: NDArray[Any], now: int
) -> NDArray[np.bool_] | None:
    """Vectorised `trouble`: a mask of refused readings, or None where there are none."""
    bad = times_in_trouble(time, now)
    odd = None if point.kind.is_text else values_in_trouble(point, value)
    if bad is None or odd is None:
        return odd if bad is None else bad
    return bad | odd


def times_in_trouble(time: NDArray[np.int64], now: int) -> NDArray[np.bool_] | None:
    """Vectorised `time_trouble`: a mask of refused times, or None where there are none."""
    if not len(time) or (int(time.max()) <= now + AHEAD_MS and int(time.min()) >= EARLIEST):
        return None
    return (time > now + AHEAD_MS) | (time < EARLIEST)


def values_in_trouble(point: Point, value: NDArray[np.float64]) -> NDArray[np.bool_] | None:
    """Vectorised `value_trouble`: a mask of refused numbers, or None where there are none."""
    if not len(value):
        return None
    low, high = _bounds(point)
    scale, offset = point.to_canonical
    ends = sorted((float(value.min()) * scale + offset, float(value.max()) * scale + offset))
    if low <= ends[0] and ends[1] <= high and math.isfinite(ends[0]) and math.isfinite(ends[1]):
        return None
    canonical = value * scale + offset
    bad = ~((canonical >= low) & (canonical <= high) & np.isfinite(canonical))
    return bad if bool(bad.any()) else None


def _bounds(point: Point) -> tuple[float, float]:
    """Bounds with tolerance for unit rounding: 329 degF is within 165 degC."""
    kind = point.kind
    if point.form == "register" and not kind.may_count_back:
        return -1e-9, kind.high + 1e-9 * abs(kind.high)
    return kind.low - 1e-9 * abs(kind.low), kind.high + 1e-9 * abs(kind.high)


def _shown(time: int) -> str:
    try:
        return datetime.fromtimestamp(time / 1000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    except (OverflowError, ValueError, OSError):
        return f"{time} ms"


def _near(word: str, known: list[str]) -> str:
    return did_you_mean(nearest(word, known))
