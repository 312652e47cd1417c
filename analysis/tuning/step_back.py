"""The step to reverse where rooms or hot water are short after the season's steps."""

from __future__ import annotations

from datetime import timedelta

from fieldfare.analysis.advice.curve import MILD_C
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.set_back import depth_now
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.tuning.standing import Season
from fieldfare.analysis.tuning.steps import OF_ROOMS, SAME, TuningStep, Values
from fieldfare.analysis.tuning.week import Week

_SHOWN_BY = 7  # days of targets

StepBack = tuple[str, Values, Values, str]
"""Setting, its values now and as they should be, and what was short: a zone, or hot_water."""


def step_back(season: Season, week: Week) -> StepBack | None:
    """The step that gives warmth back; None where nothing is short, or nothing was taken away.

    A set-back deeper than is advised goes first: rooms that fall so far need the hotter curve in the morning.
    Then the last step that took warmth away.
    """
    last = season.log[-1]
    recent = (season.last - last.day).days <= limit_of(season.site, "tuning_water_days")
    if last.code not in OF_ROOMS and last.saves and recent and week.is_short_of_water:
        return last.code, last.after, last.before, "hot_water"
    taken = [step for step in season.log if step.code in OF_ROOMS and step.saves]
    zone = week.cold_zone
    if not taken or zone is None:
        return None
    deep = _depth(season)
    most, deepest = (limit_of(season.site, f"advice_{name}_k") for name in ("step", "setback_deepest"))
    if deep is not None and deep > deepest + SAME:
        return "set_back", (round(deep, 1),), (round(max(deep - most, deepest), 1),), zone
    if last in taken:
        return last.code, last.after, last.before, zone
    return _hotter_curve(season, taken, zone)


def _hotter_curve(season: Season, taken: list[TuningStep], zone: str) -> StepBack | None:
    """Where the last step is not the cause: raise the end of the curve nearer to the cold days by one step,
    up to its first value; without a lowered curve, the last step not yet reversed."""
    curve = [step for step in season.log if step.code == "heating_curve"]
    if not curve:
        open_ = [step for step in taken if not _is_undone(season.log, step)]
        return (open_[-1].code, open_[-1].after, open_[-1].before, zone) if open_ else None
    most, now, first = limit_of(season.site, "advice_step_k"), curve[-1].after, curve[0].before
    cold = season.site.design.outdoor_c
    days = season.facts.days.between(season.last - timedelta(_SHOWN_BY - 1), season.last)
    at = days.mean("outdoor")
    mild = cold is None or not at < (cold + MILD_C) / 2.0
    to = tuple(
        round(min(flow + most, max(top, flow)), 1) if n == int(mild) else flow
        for n, (flow, top) in enumerate(zip(now, first, strict=True))
    )
    return ("heating_curve", now, to, zone) if to != now else None


def _is_undone(log: tuple[TuningStep, ...], step: TuningStep) -> bool:
    at = log.index(step)
    return any(later.code == step.code and not later.saves for later in log[at + 1 :])


def _depth(season: Season) -> float | None:
    """Depth of the set-back now [K]: of the days since it was last changed."""
    first, last = season.since("set_back_alone")
    days: Table = season.facts.days.between(first, last)
    try:
        return depth_now(days.where(slice(-_SHOWN_BY, None)))[0] if len(days) else None
    except NotAssessed:
        return None
