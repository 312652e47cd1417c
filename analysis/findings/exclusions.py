"""Unusual days without a fault: absence, cold beyond design, settling in, a unit off for service, other
heat.

A kind of days is left out of what it excuses alone, as `excuses` has it. Days:

- cold_snap: days colder than the design, and the day after, on which the house is brought back;
- away: the days of the absence, and two after it, on which rooms and cylinder are warmed up again;
- settling_in: the first weeks in the householder's hands, where at least four weeks remain without them;
- party: the day with far more hot water than usual, and the one after;
- serviced: the day on which the unit had no power for some working hours.

- source_beside: days on which a source that the site file names may have heated the rooms.

summer (weeks without heating) and other_heat_source (a stove, a boiler beside, solar) are named, and left in.

What rests on a quantity that a finding about the data makes untrustworthy is not recognised: a broken outdoor
sensor makes no cold snap.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, fields
from datetime import timedelta
from functools import cached_property

import numpy as np

from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.findings.declared import boiler_days, boiler_words
from fieldfare.analysis.findings.episodes import runs_of
from fieldfare.analysis.findings.excuses import excuses
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.findings.model import Recognised
from fieldfare.analysis.findings.other_heat import other_heat_days, other_heat_words
from fieldfare.analysis.findings.phrases import day_text
from fieldfare.analysis.findings.silent_meter import nothing_at_rest
from fieldfare.analysis.minutes.balance import HEATING_METERS
from fieldfare.analysis.minutes.rolling import window_sum
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.moving import moving_quantile

_LEAST_LEFT_DAYS = 28
_LONGEST_AWAY_DAYS = 45
DAYS_TO_WARM_UP = 2
"""After an absence rooms and cylinder take so long (common practice)."""
# Somebody is at home on a quarter of the days around at the least: what is usual there is usual (common
# practice).
_LIVED_IN = 0.75


@dataclass(frozen=True)
class _Kind:
    """name; which days; what to say of a stretch of them; how many days after it are left out too, None: none
    at all;
    rests_on : quantities that must be trusted for it"""

    name: str
    days: Callable[[Site, Table], Flags]
    words: Callable[[Site, Table, int, int], str]
    after: int | None
    rests_on: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Exclusions:
    """What was recognised: its spells in order of time, and for each kind the days that it touches, bool
    (n,)."""

    facts: Facts
    periods: tuple[Recognised, ...]
    days_of: Mapping[str, Flags]
    still: Mapping[str, Flags] = field(default_factory=dict)
    """Quantity -> days on which its sensors were stuck, bool (n,)."""

    def facts_for(self, code: str, reads: frozenset[str] = frozenset()) -> Facts:
        """Facts of the days that the rule of this code judges; of all days if none would remain.

        reads : quantities that the rule relies on
        """
        kinds = frozenset(kind for kind in self.days_of if excuses(kind, code))
        return self._without(kinds | (reads & self.still.keys()))

    def _without(self, kinds: frozenset[str]) -> Facts:
        if kinds not in self._made:
            left_out = np.zeros(len(self.facts.days), dtype=bool)
            for kind in kinds:
                left_out |= self.days_of[kind] if kind in self.days_of else self.still[kind]
            usable = left_out.any() and not left_out.all()
            self._made[kinds] = _without(self.facts, left_out) if usable else self.facts
        return self._made[kinds]

    @cached_property
    def _made(self) -> dict[frozenset[str], Facts]:
        return {}


def find_exclusions(site: Site, facts: Facts, unreliable: Collection[str] = ()) -> Exclusions:
    """Name what was unusual, and which days it touches.

    unreliable : quantities that can't be trusted
    """
    days = facts.days
    exclusions: list[Recognised] = []
    touched: dict[str, Flags] = {}
    for kind in _KINDS:
        if kind.rests_on & set(unreliable):
            continue
        mine = np.zeros(len(days), dtype=bool)
        flags = kind.days(site, days)
        for quantity in kind.rests_on:
            flags = flags & ~_days_with_bad_readings(site, facts, quantity)
        for first, last in runs_of(flags):
            exclusions.append(
                Recognised(
                    kind.name,
                    days.day(first).isoformat(),
                    days.day(last).isoformat(),
                    kind.words(site, days, first, last),
                )
            )
            if kind.after is not None:
                mine[first : last + 1 + kind.after] = True
        others = np.logical_or.reduce([mine, *touched.values()])
        if kind.name == "settling_in" and (~others).sum() < _LEAST_LEFT_DAYS:
            continue
        if mine.any():
            touched[kind.name] = mine
    exclusions.sort(key=lambda r: r.since)
    return Exclusions(facts, tuple(exclusions), touched)


def _days_with_bad_readings(site: Site, facts: Facts, quantity: str) -> Flags:
    """Days on which a point of this quantity was stuck, or sent readings that had to be left out."""
    notices = facts.notices
    points = {p.id for p in site.points_of(quantity)}
    rows = [
        i
        for i, (point, kind) in enumerate(zip(notices["point"], notices["kind"], strict=True))
        if point in points and kind in ("stuck", "unlikely")
    ]
    return np.isin(facts.days["day"], notices["day"][np.array(rows, dtype=np.int64)])


def _without(facts: Facts, left_out: Flags) -> Facts:
    gone = facts.days["day"][left_out]
    tables: list[Table] = [getattr(facts, table.name) for table in fields(Facts)]
    return Facts(*(table.where(~np.isin(table["day"], gone)) for table in tables))


def _usual(values: Floats, days: int, share: float = 0.5) -> Floats:
    """Usual level around each day: a running quantile, by default the median, over this many days on either
    side."""
    return moving_quantile(values, 2 * days + 1, 7, share)


def _long_enough(flags: Flags, least: int, most: int = 10**6) -> Flags:
    out = np.zeros_like(flags)
    for a, b in runs_of(flags):
        if least <= b - a + 1 <= most:
            out[a : b + 1] = True
    return out


# ---- weather beyond the design


def _cold(site: Site, days: Table) -> Flags:
    design = site.design.outdoor_c
    if design is None:
        return np.zeros(len(days), dtype=bool)
    return days.floats("outdoor") < design - limit_of(site, "snap_below_design_k")


def _cold_words(site: Site, days: Table, first: int, last: int) -> str:
    coldest = float(np.nanmin(days.floats("outdoor")[first : last + 1]))
    return (
        f"Colder than the design: a daily mean of {coldest:.1f} °C against {site.design.outdoor_c:g}"
        " °C. A shortfall on these days is not a fault of the plant."
    )


# ---- absence


def _away(site: Site, days: Table) -> Flags:
    """Lowered room targets by day; without targets, cool rooms or cylinder and no hot water made."""
    n = len(days)
    if n < 14:
        return np.zeros(n, dtype=bool)
    down = limit_of(site, "away_room_k")
    least = int(limit_of(site, "away_days"))
    target, room = days.floats("target"), days.floats("room")
    unused = _no_hot_water(site, days)
    if np.isfinite(target).mean() > 0.5:
        lowered = target <= _usual(target, 30) - down
        if unused is not None:
            # An absence of half of these days and more is no habit where no water was used in it.
            lowered |= (target <= _usual(target, 30, _LIVED_IN) - down) & unused
        return _long_enough(lowered, least, _LONGEST_AWAY_DAYS)
    if unused is None:
        return np.zeros(n, dtype=bool)
    quiet = _long_enough(unused, least, _LONGEST_AWAY_DAYS)
    if np.isfinite(room).mean() > 0.5:
        # The rooms take a day or two to fall: an absence begins with the hot water's rest.
        cool = room <= _usual(room, 30) - 0.75 * down
        # Absence does not explain rooms below any frost setting: that is a failure of the plant.
        left_cold = room < limit_of(site, "stopped_room_floor_c")
        return _runs_with(quiet, cool) & ~_runs_with(quiet, left_cold, 0.0)
    return quiet


def _runs_with(flags: Flags, evidence: Flags, share: float = 1 / 3) -> Flags:
    """The stretches of flags in which the evidence holds on so large a share of the days; at share 0 on one
    day.
    """
    out = np.zeros_like(flags)
    for a, b in runs_of(flags):
        held = evidence[a : b + 1]
        if held.any() and held.mean() >= share:
            out[a : b + 1] = True
    return out


def _no_hot_water(site: Site, days: Table) -> Flags | None:
    """Days without reheat and, with a cylinder sensor, without draw; None where unknown."""
    made = days.floats("minutes_hot_water")
    if site.hot_water is None or not np.nansum(made) > 0:
        return None
    usual = _usual(made, 30, _LIVED_IN)
    none = (
        (made == 0) & (usual > 15) & (days.floats("minutes_any_known") > 0.9 * days.floats("minutes_total"))
    )
    tank_range = days.floats("tank_max") - days.floats("tank_min")
    # A full cylinder without draws cools by 3 to 10 K a day; a draw takes more in minutes.
    return none & ~(tank_range > 12.0)


def _away_words(site: Site, days: Table, first: int, last: int) -> str:
    target = days.floats("target")
    how = "little heat was called for and no hot water was made"
    if np.isfinite(target).any():
        down = float(np.nanmedian(target) - np.nanmean(target[first : last + 1]))
        how = f"the rooms were set {down:.1f} K lower"
    return f"An absence of {last - first + 1} days: {how}."


# ---- the first weeks


def _settling(site: Site, days: Table) -> Flags:
    begun = site.handed_over
    if begun is None:
        return np.zeros(len(days), dtype=bool)
    end = begun + timedelta(days=limit_of(site, "settling_days"))
    return (days["day"] >= np.datetime64(begun)) & (days["day"] < np.datetime64(end))


def _settling_words(site: Site, days: Table, first: int, last: int) -> str:
    day = site.handed_over
    begun = f" on {day_text(day)}" if day is not None else ""
    return f"The first weeks after hand-over{begun}: settings are still being adjusted."


# ---- a house full of guests


def _party(site: Site, days: Table) -> Flags:
    if site.hot_water is None or not np.nansum(days.floats("minutes_hot_water")) > 0:
        return np.zeros(len(days), dtype=bool)
    made = fill_nan(days.floats("heat_hot_water_kwh"), 0.0) + fill_nan(
        days.floats("electricity_immersion_kwh"), 0.0
    )
    if not made.any():
        made = days.floats("minutes_hot_water")  # minutes stand in for heat where none is metered
    usual = _usual(np.where(made > 0, made, np.nan), 15)
    much = (made > limit_of(site, "party_ratio") * usual) & (made > usual + 2.0)
    # Once in a while: what comes every few days is a habit, and one that goes on is a fault to be found.
    rare = window_sum(much, 7, 8) <= 2
    return _long_enough(much & rare, 1, 2)


def _party_words(site: Site, days: Table, first: int, last: int) -> str:
    return "Far more hot water than on a usual day."


# ---- off for work


def _serviced(site: Site, days: Table) -> Flags:
    """No power for some working hours of one day, and none missing at night or in frost."""
    by_day, all_day = days.floats("minutes_dead_by_day"), days.floats("minutes_dead")
    # Where a coarse register seems to stand still every day, or the meter shows nothing at any rest, nothing
    # can be inferred from its rest.
    if not np.isfinite(by_day).any() or float(np.nanmedian(by_day)) > 30.0 or nothing_at_rest(site, days):
        return np.zeros(len(days), dtype=bool)
    worked = (by_day >= 120.0) & (by_day <= 660.0) & (all_day - by_day <= 60.0)
    frozen = fill_nan(days.floats("minutes_dead_frost"), 0.0) > 0
    return _long_enough(worked & ~frozen, 1, 2)


def _serviced_words(site: Site, days: Table, first: int, last: int) -> str:
    hours = float(days.floats("minutes_dead_by_day")[first : last + 1].sum()) / 60.0
    return f"The unit was without power for {hours:.0f} working hours, as for a service."


# ---- weeks without heating


def _summer(site: Site, days: Table) -> Flags:
    has_heated = np.nansum(days.floats("minutes_heating")) > 0
    if not has_heated:
        return np.zeros(len(days), dtype=bool)
    rest = (
        (days.floats("minutes_heating") < 30.0)
        & (days.floats("minutes_any_known") > 0)
        & (days.floats("outdoor") > 12.0)
    )
    return _long_enough(rest, 14)


def _summer_words(site: Site, days: Table, first: int, last: int) -> str:
    length = last - first + 1
    length_text = f"{length // 7} weeks" if length >= 14 else f"{length} days"
    return f"{length_text} without heating in warm weather."


_KINDS = (
    _Kind("cold_snap", _cold, _cold_words, 1, frozenset({"outdoor_temperature"})),
    _Kind("away", _away, _away_words, DAYS_TO_WARM_UP),
    _Kind("party", _party, _party_words, 1, frozenset({"heat_output", "hot_water_heat"})),
    _Kind("serviced", _serviced, _serviced_words, 0, frozenset({"heat_pump_electricity"})),
    _Kind("settling_in", _settling, _settling_words, 0),
    _Kind("summer", _summer, _summer_words, None, frozenset({"outdoor_temperature"})),
    _Kind("source_beside", boiler_days, boiler_words, 0),
    _Kind(
        "other_heat_source",
        other_heat_days,
        other_heat_words,
        None,
        frozenset({"outdoor_temperature", "room_temperature", "cylinder_temperature", *HEATING_METERS}),
    ),
)
