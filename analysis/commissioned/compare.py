"""Commissioned against today, value by value: which differ by more than their uncertainties."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, timedelta
from types import MappingProxyType
from typing import Any

from fieldfare.analysis.commissioned.meaning import (
    ANOTHER_METER,
    EXCHANGED,
    EXCHANGED_BEFORE,
    EXCHANGED_METER,
    EXCHANGED_UNCOUNTED,
    EXCHANGED_UNSEEN,
    MEANINGS,
    SETTING_OF,
    Meaning,
)
from fieldfare.analysis.commissioned.today import MEASURED, Today
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.checklists import METER, as_read, meters_of, number_of
from fieldfare.analysis.tuning.steps import TuningStep

BY_HAND = "read by hand; no reading tells it today"
MOMENT = "a reading of that hour; it moves by itself"
NOT_NOTED = "not noted since; a service sheet or a job has room for it"
_BEGINS_ANEW = frozenset({"reset", "stepped_back", "jumped"})
"""Kinds of notices of a running total that another meter's total leaves."""
_MOMENTARY = frozenset({("cylinder", "stored"), ("cylinder", "mixed")})
_OUTDOOR = frozenset({("curve_set", "cold_outdoor"), ("curve_set", "mild_outdoor")})
"""Halves of a curve's point, reported with the other half."""
_HALF: dict[str, str] = {
    "m3/h": "commissioned_flow_share",
    "W": "commissioned_power_share",
    "bar": "commissioned_pressure_bar",
    "°C": "commissioned_temperature_k",
    "K": "commissioned_set_back_k",
}
"""Doubt of a value that a person read and typed, by unit."""


@dataclass(frozen=True)
class Register:
    """A running total. at_first : lowest and highest value on the day of commissioning, None without
    readings. newest : with its day"""

    point: str
    at_first: tuple[float, float] | None
    newest: float
    day: date


@dataclass(frozen=True)
class Noted:
    """What a later visit noted of a value: as it was typed, and the day"""

    value: str
    day: date


@dataclass(frozen=True)
class ComparedValue:
    """item, found : ids of the sheet. title, name, unit : in words. commissioned : as it was typed
    today : with its 95 % interval, or None with `reason`. differs : None where that is not known
    change : today less commissioned, in the unit. means, findings : where it differs
    tuned : days on which the diary changed it on purpose. noted, noted_day : what a later visit noted, where
    only hands can read it; empty where none did
    """

    item: str
    found: str
    title: str
    name: str
    unit: str
    commissioned: str
    day: str
    today: dict[str, float] | None
    reason: str
    differs: bool | None
    change: float | None
    means: str
    findings: tuple[str, ...]
    tuned: tuple[str, ...] = ()
    noted: str = ""
    noted_day: str = ""


def compared(
    site: Site,
    facts: Facts,
    items: Sequence[Mapping[str, Any]],
    registers: Mapping[str, Register],
    steps: Iterable[TuningStep] = (),
    noted: Mapping[tuple[str, str], Noted] = MappingProxyType({}),
) -> list[dict[str, Any]]:
    """Every value that a commissioning sheet holds, JSON-ready, in the sheet's order.

    facts : Facts of the newest days, a year at most. items : of the sheet, as `Sheets.read` has them
    registers : point -> its running total. steps : of the tuning diary. noted : (item, found) -> what the
    last visit noted of it
    """
    commissioned = {
        (item["id"], f["id"]): number
        for item in items
        for f in item["found"]
        if not f["trouble"] and (number := number_of(f["value"], f["unit"])) is not None
    }
    today, log = Today(site, facts, commissioned), list(steps)
    rows = [
        _serial(today, item, f, noted.get((item["id"], f["id"])))
        if item["id"].startswith(METER) and f["id"].startswith("serial")
        else _row(today, item, f, registers, log)
        for item in items
        for f in item["found"]
        if f["value"].strip() and not f["trouble"] and (item["id"], f["id"]) not in _OUTDOOR
    ]
    return [asdict(row) for row in rows]


def _row(
    today: Today,
    item: Mapping[str, Any],
    f: Mapping[str, Any],
    registers: Mapping[str, Register],
    log: Sequence[TuningStep],
) -> ComparedValue:
    key = (item["id"], f["id"])
    number = today.recorded.get(key)
    found: tuple[Estimate, bool | None, Meaning]
    if number is None or f["choices"] or f.get("text"):
        found = Estimate.none(BY_HAND), None, Meaning("")
    elif item["id"].startswith(METER):
        found = _meter(today.site, item["id"], f["id"], number, registers)
    else:
        since = _since(today, [s for s in log if s.code == SETTING_OF.get(key)])
        found = _measured(since, key, number, f["unit"], as_read(f["value"], f["unit"]))
    estimate, differs, meaning = found
    change = estimate.value - number if estimate.value is not None and number is not None else None
    tuned = _on_purpose(key, change, log) if differs and change is not None else ()
    return ComparedValue(
        *key,
        item["title"],
        _name(today, key, f),
        f["unit"],
        as_read(f["value"], f["unit"]),
        (item["at"] or "")[:10],
        estimate.as_dict(),
        estimate.reason,
        differs,
        change,
        meaning.says if differs else "",
        meaning.findings if differs else (),
        tuned,
    )


def _serial(
    today: Today, item: Mapping[str, Any], f: Mapping[str, Any], later: Noted | None
) -> ComparedValue:
    """A meter's serial number against the one that a later visit noted."""
    differs = None if later is None else _letters(later.value) != _letters(f["value"])
    meaning = _exchange(today, item["id"], f["id"], item["at"]) if differs else Meaning("")
    return ComparedValue(
        item["id"],
        f["id"],
        item["title"],
        f["name"],
        "",
        as_read(f["value"]),
        (item["at"] or "")[:10],
        None,
        "" if later else NOT_NOTED,
        differs,
        None,
        meaning.says,
        meaning.findings,
        noted=later.value.strip() if later else "",
        noted_day=later.day.isoformat() if later else "",
    )


def _letters(serial: str) -> str:
    """A serial number without what people type differently."""
    return "".join(c for c in serial.casefold() if c.isalnum()).lstrip("0")


def _exchange(today: Today, item: str, found: str, at: str | None) -> Meaning:
    """What an exchanged meter means for the figures, by what its running total shows since commissioning."""
    meters, n = meters_of(today.site, item.removeprefix(METER)), int(found.partition("_")[2] or 1) - 1
    point = meters[n] if n < len(meters) else None
    if point is None or point.form != "register":
        return EXCHANGED_UNCOUNTED
    notices, days = today.facts.notices, today.facts.days
    anew = [
        kind in _BEGINS_ANEW and name == point.id
        for name, kind in zip(notices["point"], notices["kind"], strict=True)
    ]
    if any(anew):
        return EXCHANGED_METER
    is_covered = at is not None and len(days) > 0 and days.day(0) <= datetime.fromisoformat(at).date()
    return EXCHANGED_UNSEEN if is_covered else EXCHANGED_BEFORE


def _since(today: Today, steps: Sequence[TuningStep]) -> Today:
    """Days since the diary last changed a setting; earlier days belong to another value of it."""
    days = today.facts.days
    if not steps or not len(days):
        return today
    first = max(step.day for step in steps) + timedelta(1)
    return replace(today, facts=today.facts.between(first, days["day"][-1].astype("datetime64[D]").item()))


def _on_purpose(key: tuple[str, str], change: float, log: Sequence[TuningStep]) -> tuple[str, ...]:
    """Days of the diary's steps where together they go the way that the value went."""
    steps = [step for step in log if step.code == SETTING_OF.get(key)]
    moved = sum(sum(step.after) - sum(step.before) for step in steps)
    if SETTING_OF.get(key) == "pump_speed":  # more kelvins between flow and return are less water
        moved = -moved
    return tuple(step.day.isoformat() for step in steps) if moved * change > 0.0 else ()


def _name(today: Today, key: tuple[str, str], f: Mapping[str, Any]) -> str:
    """A curve's flow is named with the outdoor temperature that it was typed for."""
    end = key[1].removesuffix("_flow")
    at = today.recorded.get(("curve_set", f"{end}_outdoor")) if key[0] == "curve_set" else None
    return f"Flow at {at:g} °C outdoors" if at is not None and key[1].endswith("_flow") else f["name"]


def _measured(
    today: Today, key: tuple[str, str], number: float, unit: str, typed: str
) -> tuple[Estimate, bool | None, Meaning]:
    if key not in MEASURED:
        return Estimate.none(MOMENT if key in _MOMENTARY else BY_HAND), None, Meaning("")
    try:
        estimate = MEASURED[key](today)
    except NotAssessed as refused:
        return Estimate.none(str(refused)), None, Meaning("")
    assert estimate.value is not None
    differs = abs(estimate.value - number) > math.hypot(
        estimate.half, hand_half(today.site, number, unit, typed)
    )
    side = "lower" if estimate.value < number else "higher"
    return estimate, differs, MEANINGS.get((*key, side), Meaning(""))  # type: ignore[arg-type]


def hand_half(site: Site, number: float, unit: str, typed: str) -> float:
    """Half-width of 95 % of a value that a person read and typed: its instrument, and half a digit."""
    name = _HALF.get(unit)
    limit = limit_of(site, name) if name else 0.0
    instrument = limit * abs(number) if name is not None and name.endswith("_share") else limit
    _, _, decimals = typed.partition(".")
    return math.hypot(instrument, 0.5 * 10.0 ** -len(decimals))


def _meter(
    site: Site, item: str, found: str, number: float, registers: Mapping[str, Register]
) -> tuple[Estimate, bool | None, Meaning]:
    """A typed reading against the counter of that day, or at least not above today's."""
    nothing = Meaning("")
    meters, n = meters_of(site, item.removeprefix(METER)), int(found.partition("_")[2] or 1) - 1
    point = meters[n] if n < len(meters) else None
    if point is None or point.form != "register":
        return Estimate.none("no running total is read of this meter: read it on site"), None, nothing
    register = registers.get(point.id)
    if register is None:
        return Estimate.none("its running total was not read lately"), None, nothing
    newest = Estimate(register.newest)
    slack = max(limit_of(site, "commissioned_reading_share") * abs(number), 1.0)
    if register.at_first is not None:
        low, high = register.at_first
        return newest, not low - slack <= number <= high + slack, ANOTHER_METER
    return newest, register.newest < number - slack, EXCHANGED
