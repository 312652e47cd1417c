"""Effect of a step in the week after it: rooms, hot water and electricity against the week before."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.before_after import FEWEST_DAYS, WHOLE_DAY, Effect, effect_of_work
from fieldfare.analysis.tuning.steps import TuningStep

_REACH = timedelta(FEWEST_DAYS)
_RAISED_K = 0.3  # a household that turns its target up (as facts of rooms take it)


@dataclass(frozen=True)
class ZoneWeek:
    """Days on which a zone was below its target, of the judged ones; mean deficit on them [K].

    binds : newly short on `tuning_short_days`; a zone that was short before has a reason of its own
    """

    zone: str
    days: int
    short: int
    short_before: int
    deficit_k: float | None
    raised: bool
    binds: bool


@dataclass(frozen=True)
class Week:
    """days : whole days since the step, at most seven. coldest_c : mean of the coldest of them
    zones : rooms, where they are measured, against the week before the season's first step. cold_water_min,
    cold_water_before : minutes of the cylinder below 40 °C after and before this step;
        None where not measured
    is_short_of_water : more than `tuning_cold_water_min` of them, and twice as many as before
    """

    days: int
    coldest_c: float | None
    zones: tuple[ZoneWeek, ...]
    cold_water_min: float | None
    cold_water_before: float | None
    is_short_of_water: bool

    @property
    def is_over(self) -> bool:
        return self.days >= FEWEST_DAYS

    @property
    def cold_zone(self) -> str | None:
        """A zone that the season's steps were too much for."""
        return next((zone.zone for zone in self.zones if zone.binds), None)


def week_after(site: Site, days: Table, step: TuningStep, begun: date) -> Week:
    """The seven days after a step. begun : day of the season's first step, before which rooms are compared"""
    return _week(site, days, step.day + timedelta(1), step.day + _REACH, step.day, begun)


def last_week(site: Site, days: Table, last: date, log: Sequence[TuningStep]) -> Week:
    """The newest seven days, as far as they lie after the last step."""
    first = max(last - _REACH + timedelta(1), log[-1].day + timedelta(1))
    return _week(site, days, first, last, log[-1].day, log[0].day)


def _week(site: Site, days: Table, first: date, last: date, changed: date, begun: date) -> Week:
    after = days.between(first, last)
    before, at_first = (days.between(d - _REACH, d - timedelta(1)) for d in (changed, begun))
    whole = (
        int((after["minutes_electricity_known"] >= WHOLE_DAY * after["minutes_total"]).sum())
        if len(after)
        else 0
    )
    outdoor = after.floats("outdoor") if len(after) else np.empty(0)
    known_outdoor = outdoor[np.isfinite(outdoor)]
    cold, cold_before = _cold(after), _cold(before)
    most = limit_of(site, "tuning_cold_water_min")
    return Week(
        whole,
        float(known_outdoor.min()) if len(known_outdoor) else None,
        tuple(_zone(site, name, at_first, after) for name in zones_of(days)),
        cold,
        cold_before,
        cold is not None and cold > most and cold > 2.0 * (cold_before or 0.0),
    )


def zones_of(days: Table) -> list[str]:
    return [name[5:] for name in days.names if name.startswith("room.") and days.knows(name)]


def short_days(site: Site, zone: str, days: Table) -> int:
    """Days on which a zone was below its target by more than the tolerance."""
    return int((_deficit(site, zone, days) > limit_of(site, "advice_room_tolerance_k")).sum())


def _zone(site: Site, zone: str, before: Table, after: Table) -> ZoneWeek:
    judged = _deficit(site, zone, after)
    short = judged > limit_of(site, "advice_room_tolerance_k")
    earlier = short_days(site, zone, before)
    raised = _usual_target(zone, after) > _usual_target(zone, before) + _RAISED_K
    return ZoneWeek(
        zone,
        int(np.isfinite(judged).sum()),
        int(short.sum()),
        earlier,
        float(judged[short].mean()) if short.any() else None,
        raised,
        bool(short.sum() >= limit_of(site, "tuning_short_days") > earlier) and not raised,
    )


def _deficit(site: Site, zone: str, days: Table) -> NDArray[np.float64]:
    """Target less room by day [K], without recovery after a set-back; nan in weather beyond the design's."""
    if not len(days):
        return np.empty(0)
    own = f"deficit.{zone}"
    found = days.floats(own) if days.knows(own) else site.design.indoor_c - days.floats(f"room_day.{zone}")
    beyond = days.floats("outdoor") < (site.design.outdoor_c if site.design.outdoor_c is not None else -99.0)
    return np.where(beyond, np.nan, found)


def _usual_target(zone: str, days: Table) -> float:
    name = f"wanted.{zone}"
    return days.median(name) if len(days) and name in days.names else float("nan")


def _cold(days: Table) -> float | None:
    if not len(days) or "minutes_tank_cold" not in days.names or not days.total("minutes_tank_known"):
        return None
    return days.total("minutes_tank_cold")


def effect_of_step(site: Site, days: Table, step: TuningStep, other_days: Iterable[date]) -> Effect:
    """Before against after a step, in days that no other change lies in."""
    others = {day for day in other_days if day != step.day}
    first = max((day for day in others if day < step.day), default=date.min)
    last = min((day for day in others if day > step.day), default=date.max)
    one = timedelta(1)
    return effect_of_work(
        days.between(first if first == date.min else first + one, last if last == date.max else last - one),
        step.day,
        site,
    )


def effect_of_all(site: Site, days: Table, log: Sequence[TuningStep]) -> Effect:
    """The days before the first step against those after the last."""
    first, last = log[0].day, log[-1].day
    day = days["day"]
    apart = (day < np.datetime64(first)) | (day > np.datetime64(last))
    return effect_of_work(days.where(apart), first, site)


def effect_dict(effect: Effect) -> dict[str, Any]:
    """The part of an effect stored in the diary: without its days."""
    document = {k: v.as_dict() if isinstance(v, Estimate) else v for k, v in vars(effect).items()}
    return {k: v for k, v in document.items() if k not in ("compared", "lines", "method")}
