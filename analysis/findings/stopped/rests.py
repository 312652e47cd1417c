"""Rests, joined over midnight from the rests table, and what was usual before them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.minutes.operating_state import HOT_WATER

Rows = NDArray[np.intp]
Mask = NDArray[np.bool_]

# A hole in the data of up to this length does not part two rows of one rest.
_JOINED_MS = 125 * 60_000
MS_PER_HOUR = 3_600_000
_ADDED = (
    "minutes",
    "minutes_known",
    "minutes_working",
    "minutes_barren",
    "minutes_frozen",
    "minutes_frost",
    "minutes_room_short",
    "minutes_tank_cold",
    "minutes_called",
    "minutes_call_known",
    "minutes_flow_asked",
    "minutes_flow_short",
    "minutes_flow_known",
    "minutes_mode_on",
    "minutes_mode_known",
    "minutes_pumped",
    "minutes_pump_known",
    "minutes_powerless",
    "minutes_power_known",
    "minutes_fault",
    "backup_kwh",
    "immersion_kwh",
    "cooled_kwh",
    "starts",
)
_MEANS = ("outdoor_mean_c", "target_mean_c", "power_mean_w")
_FIRSTS = ("room_first_c", "tank_first_c")
_LASTS = ("room_last_c", "room_short_last_k", "tank_last_c", "flow_last_c")

# A day with so many minutes of heating was heated: more than readings an hour apart take from a reheat.
_HEATED_MIN = 120.0
_RESTS_ON = {
    "outdoor_temperature": ("outdoor_mean_c", "outdoor_lowest_c"),
    "room_temperature": ("room_first_c", "room_last_c", "room_short_last_k", "minutes_room_short"),
    "target_room_temperature": ("target_mean_c", "room_short_last_k", "minutes_room_short"),
    "cylinder_temperature": ("tank_first_c", "tank_last_c", "tank_highest_c", "minutes_tank_cold"),
    "flow_temperature": ("flow_last_c", "minutes_flow_short"),
    "target_flow_temperature": ("minutes_flow_asked", "minutes_flow_short"),
    "heat_output": ("cooled_kwh",),
    "backup_heater_electricity": ("backup_kwh",),
    "immersion_electricity": ("immersion_kwh",),
}


@dataclass(frozen=True)
class Rest:
    """One rest. start, end [ms]; begun : it follows on work that was seen. open : it goes on as far as is
    known.

    columns : the columns of the rests table over all of it; nan where not known
    """

    kind: str
    start: int
    end: int
    begun: bool
    ended: bool
    open: bool
    columns: Mapping[str, float]

    def __getitem__(self, name: str) -> float:
        return self.columns[name]

    @property
    def hours(self) -> float:
        return (self.end - self.start) / MS_PER_HOUR

    def share(self, part: str, whole: str) -> float:
        """One count of minutes over another; nan where the other is nothing."""
        return self.columns[part] / self.columns[whole] if self.columns[whole] > 0 else float("nan")


@dataclass(frozen=True)
class Rests:
    """All rests of a kind, oldest first, as columns: of over a thousand in a year a few are looked at.

    start, end : int64 (n,) [ms]. begun, ended, open : bool (n,). told : float64 (n,) by name, nan where not
        known
    """

    kind: str
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    begun: Mask
    ended: Mask
    open: Mask
    columns: Mapping[str, Floats]

    @property
    def hours(self) -> Floats:
        return (self.end - self.start) / MS_PER_HOUR

    def rest(self, row: int) -> Rest:
        """One of them."""
        return Rest(
            self.kind,
            int(self.start[row]),
            int(self.end[row]),
            bool(self.begun[row]),
            bool(self.ended[row]),
            bool(self.open[row]),
            {name: float(values[row]) for name, values in self.columns.items()},
        )


def rests(context: Context, kind: str) -> Rests | None:
    """All rests of a kind; None without any."""
    return context.once(_by_kind).get(kind)


def _by_kind(context: Context) -> dict[str, Rests]:
    table = context.all_days.rests
    if not len(table):
        return {}
    rows = table.where(np.argsort(table["kind"], kind="stable"))
    kinds, start, end = rows["kind"], rows["start"], rows["end"]
    begun, ended, is_open = (rows[name].astype(bool) for name in ("begun", "ended", "open"))
    apart = (start[1:] - end[:-1] > _JOINED_MS) | ended[:-1] | (kinds[1:] != kinds[:-1])
    begins = np.concatenate(([0], np.flatnonzero(apart) + 1))
    lasts = np.append(begins[1:], len(rows)) - 1
    columns = _of_each(rows, begins) | dict.fromkeys(
        _unreliable_columns(context), np.full(len(begins), np.nan)
    )
    kind_of = kinds[begins]
    edges = [0, *(np.flatnonzero(kind_of[1:] != kind_of[:-1]) + 1).tolist(), len(begins)]
    return {
        str(kind_of[a]): Rests(
            str(kind_of[a]),
            start[begins[a:b]],
            end[lasts[a:b]],
            begun[begins[a:b]],
            ended[lasts[a:b]],
            is_open[lasts[a:b]],
            {name: values[a:b] for name, values in columns.items()},
        )
        for a, b in pairwise(edges)
    }


def _unreliable_columns(context: Context) -> tuple[str, ...]:
    """Columns that depend on an unreliable quantity, which count as unknown."""
    return tuple(name for q, names in _RESTS_ON.items() if q in context.unreliable for name in names)


def _of_each(rows: Table, begins: Rows) -> dict[str, Floats]:
    """The columns over the rows of each rest, float64 (number of rests,); nan where no row knows them.

    begins : the first row of each rest, ascending from 0
    """
    places = np.arange(len(rows))

    def column(name: str) -> tuple[Floats, Mask]:
        values = rows.floats(name)
        return values, np.isfinite(values)

    def added(values: Floats, known: Mask) -> Floats:
        sums: Floats = np.add.reduceat(np.where(known, values, 0.0), begins)
        return np.where(np.logical_or.reduceat(known, begins), sums, np.nan)

    def first(values: Floats, known: Mask) -> Floats:
        place = np.minimum.reduceat(np.where(known, places, len(rows)), begins)
        return np.append(values, np.nan)[place]

    def last(values: Floats, known: Mask) -> Floats:
        place = np.maximum.reduceat(np.where(known, places, -1), begins)
        return np.append(values, np.nan)[place]

    columns = {name: added(*column(name)) for name in _ADDED}
    weight = rows.floats("minutes")
    for name in _MEANS:
        values, known = column(name)
        columns[name] = added(values * weight, known) / added(weight, known)
    columns |= {name: first(*column(name)) for name in _FIRSTS}
    columns |= {name: last(*column(name)) for name in _LASTS}
    for name, extreme in (("outdoor_lowest_c", np.fmin), ("tank_highest_c", np.fmax)):
        values, known = column(name)
        columns[name] = extreme.reduceat(np.where(known, values, np.nan), begins)
    return columns


def local(context: Context, moment: int) -> datetime:
    """A moment [ms] in the site's zone."""
    return datetime.fromtimestamp(moment / 1000, context.site.zone)


def days_before(context: Context, rest: Rest) -> Table:
    """Days before a rest, without those on which a rest of a day or more lay."""
    days = context.all_days.days
    first = np.datetime64(local(context, rest.start).date())
    worked = days.floats("minutes_running") >= 1
    return days.where((days["day"] < first) & worked)


def heating_begins_below(context: Context, rest: Rest) -> float | None:
    """Daily mean outdoors below which the house was usually heated [°C]; None with too few days."""
    before = days_before(context, rest)
    outdoor = before.floats("outdoor")
    heated = before.floats("minutes_heating")
    if not (before.floats("minutes_hot_water") > 0).any():
        heated = before.floats("minutes_running")  # heating and hot water can't be distinguished
    known = np.isfinite(outdoor) & np.isfinite(heated)
    least, share = context.limit("stopped_habit_days"), context.limit("stopped_habit_share")
    if known.sum() < least:
        return None
    order = np.argsort(outdoor[known])
    cold_first, warm = outdoor[known][order], heated[known][order] >= _HEATED_MIN
    so_far = np.cumsum(warm) / np.arange(1, len(warm) + 1)
    good = np.flatnonzero((so_far >= share) & warm)
    if not len(good):
        return float(min(cold_first[0] - 1.0, context.limit("stopped_weather_c")))
    return float(min(cold_first[good[-1]], context.limit("stopped_weather_most_c")))


def usual_pause(context: Context, rest: Rest, of: str = "pause") -> float | None:
    """The longest pause between runs in comparable weather before the rest [minutes]; None with too few runs.

    of : pause, or the part of it in which heat was asked for: pause_called, pause_flow_short or pause_mode_on
    """
    runs = context.all_days.runs
    if not len(runs):
        return None
    outdoor, pause = runs.floats("outdoor"), runs.floats(of)
    mine = (runs["start"] < rest.start) & np.isfinite(pause)
    now = rest["outdoor_mean_c"]
    if np.isfinite(now):
        # A pause before a run was in the weather of both its ends.
        mine &= ~(np.abs(outdoor - now) > 2.5)
    if mine.sum() < 6:
        return None
    return float(pause[mine].max())


def rested_at_that_hour(context: Context, rest: Rest, sign: tuple[str, str] | None = None) -> bool | None:
    """Whether the unit also stood still at these hours of one of the last days.

    A tariff's lock or a set-back makes that. None where no day before was seen. Only rests of less than a day
    can be of that kind.

    sign : two columns of minutes; that rest must then have shown the first in a good part of the second, as
    this one does
    """
    runs, days = context.all_days.runs, context.all_days.days
    if not len(runs):
        return None
    start, length = runs["start"], runs["minutes"]
    has_comparison = False
    for back in range(1, 8):
        shift = int(timedelta(days=back).total_seconds() * 1000)
        a, b = rest.start - shift, rest.end - shift
        if start[0] > a:
            break
        day = np.datetime64(local(context, a).date())
        row = np.flatnonzero(days["day"] == day)
        if not len(row) or not days.floats("minutes_running")[row[0]] >= 1:
            continue
        has_comparison = True
        worked = np.minimum(start + length * 60_000, b) - np.maximum(start, a)
        heating = runs["use"] != HOT_WATER if rest.kind == "heating" else np.ones(len(runs), dtype=bool)
        still = worked[heating & (worked > 0)].sum() <= 0.15 * (b - a)
        if still and (sign is None or _showed(context, rest.kind, a, b, sign)):
            return True
    return False if has_comparison else None


def _showed(context: Context, kind: str, start: int, end: int, sign: tuple[str, str]) -> bool:
    """True where a kept rest covering most of start..end [ms] showed a sign in a third of its minutes."""
    table = context.all_days.rests
    lap = np.minimum(table["end"], end) - np.maximum(table["start"], start)
    mine = (table["kind"] == kind) & (lap >= 0.5 * (end - start))
    part, whole = table.floats(sign[0])[mine], table.floats(sign[1])[mine]
    return bool((part >= np.maximum(whole / 3.0, 1.0)).any())


def standby(context: Context, rest: Rest) -> float:
    """The unit's usual draw at rest before [W]; nan where it was not seen."""
    before = days_before(context, rest)
    power = before.floats("rest_power") if "rest_power" in before else before.floats("idle_power")
    known = power[np.isfinite(power)]
    if not len(known):
        return float("nan")
    # A register's steps lie hours apart at rest: most days show nothing, some a step, and their mean the
    # draw.
    middle = float(np.median(known))
    return middle if middle > 0.0 else float(np.mean(known))
