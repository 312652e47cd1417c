"""The tuning diary: steps made, their effect in the week after, and the next step."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Any

from fieldfare.analysis.advice.plan import HOUSEHOLD_SETS, SETTINGS, need_of, set_once, without_contrary
from fieldfare.analysis.cautions import LEGIONELLA, of_setpoint
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.before_after import FEWEST_DAYS
from fieldfare.analysis.reports.what_if import of_time
from fieldfare.analysis.tuning.standing import Season, Standing, is_measured, standing
from fieldfare.analysis.tuning.step_back import step_back
from fieldfare.analysis.tuning.steps import (
    OF_ROOMS,
    UNITS,
    TuningStep,
    Values,
    as_set,
    curve_ends,
    toward,
)
from fieldfare.analysis.tuning.week import (
    Week,
    effect_dict,
    effect_of_all,
    effect_of_step,
    last_week,
    week_after,
)


def season_start(site: Site, last: date, first: date) -> date:
    """First day of the heating season of a day: the first of July before it, of January in the south; not
    before the first readings or the hand-over.

    last : a day of the season. first : first day with readings
    """
    month = 1 if (site.latitude or 0.0) < 0.0 else 7
    turn = date(last.year if last.month >= month else last.year - 1, month, 1)
    return max(turn, first, min(site.handed_over or first, last))


def diary(
    site: Site,
    facts: Facts,
    result: dict[str, Any],
    log: Iterable[TuningStep],
    other_days: Iterable[date] = (),
    *,
    year: tuple[Facts, dict[str, Any]] | None = None,
    household: bool = False,
) -> dict[str, Any]:
    """The tuning diary of a season, JSON-ready.

    facts : Facts of the season's days. result : their result document. log : steps that were made
    other_days : days of other jobs, which bound what a step is measured by
    year : facts and result of the last year, from which the advice is drawn while no setting was changed
    household : only a next step that is the household's to make; no entries
    Returns state (change, watch, collecting or done), reason, next, entries, settings, once (settings that
    are changed once, see `set_once`, and once_of, the time of their savings), whole, from, to.
    """
    first, last = (date.fromisoformat(result["period"][key]) for key in ("from", "to"))
    made = tuple(sorted((s for s in log if first <= s.day <= last), key=lambda s: s.day))
    season = Season(site, facts, result, first, last, made, year)
    if not is_measured(season):
        raise NotAssessed("needs readings of this season", "too_few_days")
    settings = [standing(season, code) for code in SETTINGS]
    state, reason, step = _next(season, settings)
    document: dict[str, Any] = {
        "from": first.isoformat(),
        "to": last.isoformat(),
        "state": state,
        "reason": reason,
        "next": step,
        "household": household,
        "outdoor": curve_ends(site),
    }
    if household:
        own = step is not None and step["household"]
        return (
            document
            | ({} if own else {"next": None, "state": "", "reason": ""})
            | {"entries": [], "settings": [], "once": [], "once_of": ""}
        )
    open_ = [s.advice for s in settings if s.advice is not None]
    seen, of_seen = season.basis((first, last))
    days_of_change = [*other_days, *(s.day for s in made)]
    return document | {
        "entries": [_entry(season, n, days_of_change) for n in range(len(made))],
        "settings": [{"code": s.code, "state": s.state, "reason": s.reason} for s in settings],
        "once": [a.as_dict() for a in set_once(as_set(site, made), seen, of_seen, open_)],
        "once_of": of_time(seen.days),
        "whole": effect_dict(effect_of_all(site, facts.days, made)) if made else None,
    }


def _next(season: Season, settings: Sequence[Standing]) -> tuple[str, str, dict[str, Any] | None]:
    if season.log:
        week = last_week(season.site, season.facts.days, season.last, season.log)
        complaint = step_back(season, week)  # a cold room does not wait for the week's end
        if complaint is not None:
            return "change", "", _back(season, *complaint)
        since = week_after(season.site, season.facts.days, season.log[-1], season.log[0].day)
        if not since.is_over:
            until = (season.log[-1].day + timedelta(FEWEST_DAYS + 1)).isoformat()
            return (
                "watch",
                f"{since.days} of {FEWEST_DAYS} whole days since the last change; look again on {until}",
                None,
            )
    chosen = _choose([s for s in settings if s.state == "open"])
    if chosen is not None:
        return "change", "", _forward(season, chosen)
    waiting = [s for s in settings if s.state == "waiting"]
    if waiting:
        return "collecting", waiting[0].reason, None
    if all(s.state == "not_assessed" for s in settings):
        return "collecting", settings[0].reason, None
    return "done", _done(settings), None


def _choose(ready: Sequence[Standing]) -> Standing | None:
    """A goal in progress first; else the largest saving that conflicts with no other."""
    begun = next((s for s in ready if s.begun), None)
    if begun is not None:
        return begun
    compatible, _ = without_contrary([s.advice for s in ready if s.advice is not None])
    best = max(compatible, key=lambda a: a.saves.value or 0.0, default=None)
    return next((s for s in ready if s.advice is best), None) if best is not None else None


def _done(settings: Sequence[Standing]) -> str:
    if any(s.state == "limit" for s in settings):
        return (
            "the rooms or the hot water are at their limit, and nothing else is worth more than its"
            " uncertainty"
        )
    return "nothing that is left is worth more than its uncertainty"


def _forward(season: Season, chosen: Standing) -> dict[str, Any]:
    advice = chosen.advice
    assert advice is not None
    after = toward(season.site, chosen.code, chosen.now, chosen.goal)
    return _step(season, chosen.code, chosen.now, after, chosen.goal) | {
        "saves": advice.saves.as_dict(),
        "need": need_of(advice),
        "saves_of": of_time(season.basis(season.since(chosen.code))[0].days) if not chosen.begun else "",
        "room": advice.room.as_dict() if advice.room is not None else None,
        "binding": (advice.curve or {}).get("binding"),
    }


def _back(season: Season, code: str, now: Values, to: Values, where: str) -> dict[str, Any]:
    return _step(season, code, now, to, to) | {"back": True, "zone": where}


def _step(season: Season, code: str, now: Values, to: Values, goal: Values) -> dict[str, Any]:
    water = code.startswith("hot_water")
    stored = to[0] if code == "hot_water_setpoint" else None
    return {
        "code": code,
        "unit": UNITS[code],
        "now": list(now),
        "to": list(to),
        "goal": list(goal),
        "outdoor": curve_ends(season.site) if code == "heating_curve" else None,
        "not_before": (season.log[-1].day + timedelta(FEWEST_DAYS + 1)).isoformat() if season.log else None,
        "back": False,
        "zone": None,
        "saves": None,
        "need": "",
        "saves_of": "",
        "room": None,
        "binding": None,
        "household": code in HOUSEHOLD_SETS,
        "caution": (of_setpoint(stored) if stored is not None else LEGIONELLA) if water else "",
    }


def _entry(season: Season, n: int, days_of_change: Iterable[date]) -> dict[str, Any]:
    step = season.log[n]
    week = week_after(season.site, season.facts.days, step, season.log[0].day)
    effect = effect_of_step(season.site, season.facts.days, step, days_of_change)
    return {
        "day": step.day.isoformat(),
        "code": step.code,
        "unit": UNITS[step.code],
        "before": list(step.before),
        "after": list(step.after),
        "back": n > 0 and any(s.code == step.code and s.saves for s in season.log[:n]) and not step.saves,
        "week": {
            "days": week.days,
            "coldest_c": week.coldest_c,
            "zones": [vars(z) for z in week.zones],
            "cold_water_min": week.cold_water_min,
        },
        "too_much": _beyond_report(step, week),
        "effect": effect_dict(effect),
    }


def _beyond_report(step: TuningStep, week: Week) -> str | None:
    """The zone, or hot_water, that a week found short."""
    if step.code in OF_ROOMS:
        return week.cold_zone
    return "hot_water" if step.saves and week.is_short_of_water else None
