"""Measurements of the hours and days that a caller asks about."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.errors import InputError, NotAssessed
from fieldfare.analysis.facts.minutes import Minutes, build_minutes
from fieldfare.analysis.facts.money import local_shift
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import MARGIN_DAYS, Facts
from fieldfare.analysis.figures.operation import defrosting
from fieldfare.analysis.findings.limits import LIMITS, limit_of
from fieldfare.analysis.minutes.grid import build_grid
from fieldfare.analysis.minutes.rolling import true_runs
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import MS_PER_MINUTE, Readings

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
State = Literal["binds", "adds", "fine", "unknown", "not_here"]

NOT_HERE = frozenset({"no_hot_water", "no_air"})
"""Reasons why a step does not apply to the plant."""
OF_FINE = frozenset(
    {
        "as_asked",
        "by_day",
        "lowered",
        "not_back",
        "not_its_turn",
        "not_the_pumps_turn",
        "rooms_warm",
        "works_now",
    }
)
"""Reasons that say why a step is in order; every other reason names what is missing."""

_GAP_MIN = 15
LONGEST_DAYS = 31
"""Days that a complaint may be about: their minutes are held in memory."""


@dataclass(frozen=True)
class Question:
    """The caller's statement.

    zone : where; None for anywhere. from_hour, to_hour : local hours, 0 to 24, when; the same for the
    whole day, and a
    later start than end goes over midnight. since : first day on which it was noticed, where it is before
    the days named
    """

    zone: str | None = None
    from_hour: int = 0
    to_hour: int = 0
    since: date | None = None

    @property
    def named(self) -> bool:
        """Whether it is about some hours of the day and not about all."""
        return self.from_hour % 24 != self.to_hour % 24

    def __post_init__(self) -> None:
        for name in ("from_hour", "to_hour"):
            if not 0 <= getattr(self, name) <= 24:
                raise InputError(f"{name} must be a local hour from 0 to 24, got {getattr(self, name)}")


@dataclass(frozen=True)
class Value:
    """A number behind a step, by its code. low, high : 95 % interval. limit : name of the limit it is held
    against"""

    code: str
    value: float | str | None
    unit: str = ""
    low: float | None = None
    high: float | None = None
    limit: str | None = None

    def as_dict(self, limit: float | None) -> dict[str, Any]:
        out: dict[str, Any] = {"code": self.code, "value": self.value, "unit": self.unit}
        if self.low is not None:
            out |= {"low": self.low, "high": self.high}
        if self.limit is not None:
            out |= {"limit": limit, "side": LIMITS[self.limit].side}
        return out


@dataclass(frozen=True)
class Step:
    """One possible cause of a complaint; causes are checked in order.

    state : binds, it is the cause; adds, it makes it worse; fine; or unknown or not_here, it does not apply,
        with the code of the reason
    """

    code: str
    state: State
    values: tuple[Value, ...] = ()
    reason: str = ""

    @property
    def settled(self) -> Step:
        """The step, which is `fine` only if it was checked, never for lack of readings."""
        if self.reason in NOT_HERE:
            return replace(self, state="not_here")
        if self.state != "fine" or self.reason in OF_FINE:
            return self
        known = any(
            v.value is not None and (isinstance(v.value, str) or v.value == v.value) for v in self.values
        )
        return self if known and not self.reason else replace(self, state="unknown")


@dataclass(frozen=True)
class Hours:
    """Minutes and facts of the days named, and of the days before for what is usual.

    minutes : of the days named, a day's margin on both sides. in_question : bool (n,), the hours in question
        on the days named
    inside : bool (n,), all minutes of the days named. facts : of the days named; usual : of up to four
    weeks before
    result : the home's standing result document
    """

    site: Site
    question: Question
    first: date
    last: date
    minutes: Minutes
    in_question: Flags
    inside: Flags
    facts: Facts
    usual: Facts
    result: Mapping[str, Any]
    _limits: dict[str, float] = field(default_factory=dict, repr=False)

    def limit(self, name: str) -> float:
        """A limit's value for this site."""
        return limit_of(self.site, name)

    @property
    def nights(self) -> int:
        """Days named: how often the hours come."""
        return (self.last - self.first).days + 1

    def was_cleared(self, code: str) -> bool:
        """Whether the standing result judged a finding's rule and found nothing."""
        codes = {f["code"] for part in ("findings", "not_assessed") for f in self.result.get(part, [])}
        return "not_assessed" in self.result and code not in codes

    def gauge(self, quantity: str) -> Floats:
        return self.minutes.grid.gauge(quantity)

    def mean(self, values: Floats, rows: Flags | None = None) -> float:
        """Mean of the known values in the hours asked about, or in those rows; nan where none is."""
        chosen = values[self.in_question if rows is None else rows]
        chosen = chosen[np.isfinite(chosen)]
        return float(chosen.mean()) if len(chosen) else float("nan")

    def events(self, table: Table) -> Table:
        """The events that begin in the hours asked about."""
        if not len(table):
            return table
        at = np.searchsorted(self.minutes.grid.time, table["start"], side="right") - 1
        good = (at >= 0) & (at < len(self.in_question))
        return table.where(good & self.in_question[np.clip(at, 0, len(self.in_question) - 1)])


def hours_of(
    site: Site,
    readings: Readings,
    facts: Facts,
    usual: Facts,
    result: Mapping[str, Any],
    question: Question,
    first: date,
    last: date,
) -> Hours:
    """Lay the readings of first..last and a day around on minutes, and mark the hours asked about.

    Raises InputError for a zone the home has not, or more than LONGEST_DAYS days; NotAssessed where
    nothing was read.
    """
    if not 1 <= (last - first).days + 1 <= LONGEST_DAYS:
        raise InputError(f"ask about 1 to {LONGEST_DAYS} days, got {first} to {last}")
    zones = known_zones(site)
    if question.zone is not None and question.zone not in zones:
        named = ", ".join(zones) or "none that is measured"
        raise InputError(f"{site.id} has no zone {question.zone!r}; it has: {named}")
    grid = build_grid(site, readings, first - timedelta(MARGIN_DAYS), last + timedelta(MARGIN_DAYS))
    minutes = build_minutes(site, grid)
    day = np.repeat(grid.local_dates, np.diff(grid.day_start))
    inside = (day >= np.datetime64(first)) & (day <= np.datetime64(last))
    has_readings = (
        np.any(np.vstack(list(grid.seen.values())), axis=0) if grid.seen else np.zeros(len(grid), dtype=bool)
    )
    if not (has_readings & inside).any():
        raise NotAssessed(f"nothing was read from {first} to {last}", "not_enough_data")
    clock = (grid.time // MS_PER_MINUTE + local_shift(site, grid.time)) % 1440
    begin, end = question.from_hour * 60, question.to_hour * 60 % 1440
    if begin % 1440 == end:
        within = np.ones(len(clock), dtype=bool)
    elif begin < end or end == 0:
        within = (clock >= begin) & (clock < (end or 1440))
    else:
        within = (clock >= begin) | (clock < end)
    return Hours(site, question, first, last, minutes, inside & within, inside, facts, usual, result)


def defrosts_show(hours: Hours) -> bool:
    """Whether the readings of these days can show a defrost: far apart they show none, whatever the unit
    did."""
    return defrosting(hours.site, hours.facts).count is not None


def longest_stop(hours: Hours, rows: Flags) -> float:
    """Longest stretch of such minutes in which the unit rests [h]; a gap of a quarter of an hour does not
    part it."""
    known = hours.minutes.use.code >= 0
    still = settled_gaps(rows, _GAP_MIN) & known & ~hours.minutes.use.running
    begin, end = true_runs(still)
    return float((end - begin).max()) / 60.0 if len(begin) else 0.0


def settled_gaps(flags: Flags, minutes: int) -> Flags:
    """The same flags with gaps of up to so many minutes closed: a room hovers about its limit."""
    begin, end = true_runs(~flags)
    out = flags.copy()
    for a, b in zip(begin, end, strict=True):
        if b - a <= minutes and a > 0 and b < len(flags):
            out[a:b] = True
    return out


def known_zones(site: Site) -> tuple[str, ...]:
    """Zones with a room sensor, in the order of the site file."""
    return tuple(dict.fromkeys(p.zone for p in site.points_of("room_temperature") if p.zone))
