"""State of each setting: worth a step, under way, waiting for days, finished, or not known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Literal

import numpy as np

from fieldfare.analysis.advice.heating_days import heating_days, is_unread
from fieldfare.analysis.advice.plan import Advice, advised, for_comfort, need_of
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.before_after import FEWEST_DAYS, WHOLE_DAY
from fieldfare.analysis.tuning.steps import (
    COUPLED,
    OF_ROOMS,
    TuningStep,
    Values,
    as_set,
    is_reached,
    stepped_back,
    values_of,
)
from fieldfare.analysis.tuning.week import short_days, zones_of

State = Literal["open", "waiting", "done", "limit", "not_assessed"]
_FORTNIGHT = 14


@dataclass(frozen=True)
class Standing:
    """state; reason : as text. advice, now, goal : if it is open. begun : whether a goal is in progress"""

    code: str
    state: State
    reason: str = ""
    advice: Advice | None = None
    now: Values = ()
    goal: Values = ()
    begun: bool = False


@dataclass(frozen=True)
class Season:
    """Input of a diary. facts : of first..last. log : its steps, by day
    year : the last year's facts and result where nothing was set otherwise in it before the season: what
    other pages draw their advice from
    """

    site: Site
    facts: Facts
    result: dict[str, Any]
    first: date
    last: date
    log: tuple[TuningStep, ...]
    year: tuple[Facts, dict[str, Any]] | None = None

    def basis(self, span: tuple[date, date]) -> tuple[Facts, dict[str, Any]]:
        """The facts and the result that a setting's advice is drawn from: of the whole last year up to the
        end of `span`, where no step begins new days; else of the span."""
        if self.year is not None and span[0] == self.first:
            facts, result = self.year
            if len(facts.days) and span[1] >= self.last:
                return facts, result
            return facts.between(facts.days["day"][0].astype("datetime64[D]").item(), span[1]), result
        return self.facts.between(*span), self.result

    def since(self, code: str, before: date | None = None) -> tuple[date, date]:
        """The days on which nothing that this setting depends on was changed,
        up to now or to the day before."""
        end = self.last if before is None else before - timedelta(1)
        changed = [s.day for s in self.log if s.code in COUPLED[code] and (before is None or s.day < before)]
        return (max(changed) + timedelta(1) if changed else self.first), end


def standing(season: Season, code: str) -> Standing:
    """Judge one setting by the days since anything that it depends on was changed."""
    back = stepped_back(season.log, code)
    if back is not None:
        what = "the rooms are at their limit" if code in OF_ROOMS else "the hot water ran short"
        return Standing(code, "limit", f"{what}: taken back on {back.day.isoformat()}")
    contrary = _contrary(season.log, code)
    if contrary:  # a shallower set-back goes by `step_back`
        return Standing(code, "done", contrary)
    fewest = int(limit_of(season.site, "advice_fewest_days"))
    span = season.since(code)
    try:
        known = days_known(season, code, span)
    except NotAssessed as refused:
        return Standing(code, "not_assessed", str(refused))
    if known >= fewest:
        found = _advised(season, code, span, season.log)
        return found if isinstance(found, Standing) else _worth(season, found, span)
    under_way = _under_way(season, code, fewest)
    if under_way is not None:
        return under_way
    if code in OF_ROOMS and not _heats(season):
        return Standing(code, "waiting", _rest(season))
    kind = "heating days" if code in OF_ROOMS else "days"
    return Standing(code, "waiting", f"needs {fewest} {kind} at the present settings, has {known}")


def _advised(
    season: Season, code: str, span: tuple[date, date], log: Sequence[TuningStep]
) -> Advice | Standing:
    site = as_set(season.site, log)
    try:
        return advised(code, site, *season.basis(span))
    except NotAssessed as refused:
        if refused.code == "not_applicable":
            return Standing(code, "done", str(refused))
        return Standing(code, "not_assessed", str(refused))


def _worth(season: Season, advice: Advice, span: tuple[date, date]) -> Standing:
    """Open where it saves more than its uncertainty, or where rooms or the unit need it."""
    if for_comfort(advice) and not _is_cold(season):
        return Standing(advice.code, "done", "rooms are back at their target in time")
    if not need_of(advice):
        saves = advice.saves
        used = season.basis(span)[0].days.total("electricity_total_kwh")
        least = limit_of(season.site, "tuning_worth_share") * used
        if (saves.low if saves.low is not None else 0.0) <= 0.0 or (saves.value or 0.0) < least:
            return Standing(advice.code, "done", "what is left is worth no more than its uncertainty")
    if advice.code in OF_ROOMS and not _heats(season):
        return Standing(advice.code, "waiting", _rest(season))
    now, goal = values_of(advice)
    return Standing(advice.code, "open", "", advice, now, goal)


def _under_way(season: Season, code: str, fewest: int) -> Standing | None:
    """The rest of the way to the goal that was drawn from the days before the first step of a series."""
    own = [step for step in season.log if step.code == code]
    start = next(
        (s for s in reversed(own) if days_known(season, code, season.since(code, s.day)) >= fewest), None
    )
    if start is None:
        return None
    before = [step for step in season.log if step.day < start.day]
    found = _advised(season, code, season.since(code, start.day), before)
    if isinstance(found, Standing):  # somebody went a way of their own: wait for days at what is set now
        return None
    goal, now = values_of(found)[1], own[-1].after
    if is_reached(now, goal) or (code in OF_ROOMS and not _heats(season)):
        return None
    if for_comfort(found) and not _is_cold(season):
        return None
    return Standing(code, "open", "", found, now, goal, begun=True)


def days_known(season: Season, code: str, span: tuple[date, date]) -> int:
    """Days that a setting's advice can be drawn from: heated ones for the rooms, whole ones for the cylinder.

    Raises NotAssessed where another source leaves it unknown when the heat pump alone heats, or where what
    they are judged by was not read.
    """
    if span[1] < span[0]:
        return 0
    facts, result = season.basis(span)
    if not len(facts.days):
        return 0
    if code not in OF_ROOMS:
        return int((facts.days["minutes_electricity_known"] >= WHOLE_DAY * facts.days["minutes_total"]).sum())
    try:
        return len(heating_days(season.site, facts, result))
    except NotAssessed as refused:
        # More days will not help.
        if refused.code == "other_source" or (refused.code == "missing_quantity" and is_unread(season.site)):
            raise
        return 0


def _rest(season: Season) -> str:
    """Why rooms can't be tuned now: the unit rests, or the days on which it runs can't be judged."""
    days = season.facts.days.between(season.last - timedelta(_FORTNIGHT - 1), season.last)
    ran = int((days.floats("minutes_heating") > 0.0).sum()) if "minutes_heating" in days else 0
    if ran < limit_of(season.site, "tuning_heated_days"):
        return "rooms are hardly heated now; go on in colder weather"
    return f"the unit heats, but readings of too few of the last {_FORTNIGHT} days can be judged"


def _heats(season: Season) -> bool:
    first = season.last - timedelta(_FORTNIGHT - 1)
    return days_known(season, "heating_curve", (first, season.last)) >= limit_of(
        season.site, "tuning_heated_days"
    )


def _is_cold(season: Season) -> bool:
    """Whether a zone was below its target on two of the last seven days, recovery left out."""
    days = season.facts.days.between(season.last - timedelta(FEWEST_DAYS - 1), season.last)
    least = limit_of(season.site, "tuning_short_days")
    return any(short_days(season.site, zone, days) >= least for zone in zones_of(days))


def _contrary(log: Sequence[TuningStep], code: str) -> str:
    """A deeper set-back and a lower curve are never both gone for in one season (see `without_contrary`)."""
    if code == "set_back" and any(s.code == "heating_curve" and s.saves for s in log):
        return "the curve was lowered: a deeper set-back needs the hotter one in the morning"
    deeper = any(s.code == "set_back" and s.saves for s in log)
    if code == "heating_curve" and deeper and not any(s.code == code for s in log):
        return "the set-back was made deeper: it needs the hotter curve in the morning"
    return ""


def is_measured(season: Season) -> bool:
    """Whether any of the season's days has the data that a diary needs."""
    return bool(len(season.facts.days)) and bool(
        np.isfinite(season.facts.days.floats("electricity_total_kwh")).any()
    )
