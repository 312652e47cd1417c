"""Does the compressor start too often, or run too briefly, for the weather?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.cautions import water_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.cycling import (
    FIXED_OVER_LOSS,
    LEAST_OVER_LOSS,
    run_expected,
    starts_due,
)
from fieldfare.analysis.expectation.uncertain import Lognormal
from fieldfare.analysis.facts.table import Table, fill_nan, group_by_day
from fieldfare.analysis.figures.operation import blurred_runs, coarse_register, run_spacing
from fieldfare.analysis.findings.confidence import Flags, Floats, confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.cycling.causes import bring, cycling_causes, next_step
from fieldfare.analysis.findings.cycling.trips import unit_trips
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.grading import downgraded, graded
from fieldfare.analysis.findings.model import SEVERITIES, Evidence, Finding, Severity
from fieldfare.analysis.findings.yearly_cost import HEATING_DAYS, heating_year
from fieldfare.analysis.minutes.operating_state import COOLING, HOT_WATER
from fieldfare.analysis.statistics.distributions import normal_probability
from fieldfare.analysis.statistics.quantiles import median, nan_median

# A pause longer than this is a rest between two needs, not part of a cycle.
_LONGEST_PAUSE_MIN = 60.0
_START_MINUTES = 2.0
# Where the site file has no output: a unit for a house of 150 m2 that turns down to a third (common
# practice).
_USUAL_RATED_KW, _LEAST_SHARE = 8.0, 0.33
# EN 14825's heating limit, and a design day where the site file gives none.
_HEATING_LIMIT_C, _USUAL_DESIGN_C = 15.5, -6.0
# Runs of 10 minutes show in readings half as far apart (sampling theorem).
_CLOSE_MIN = 5.0
_CLOSE_TO_TRIPS_MIN = 2.5


@dataclass(frozen=True)
class _Days:
    """Per day: heating runs, their median length and starts per hour of heating."""

    count: Floats
    minutes: Floats
    rate: Floats


def short_cycling(context: Context) -> Finding | None:
    if not len(context.facts.runs):
        return _by_counter(context)
    days = context.days
    blurred = blurred_runs(context.site, context.facts)
    if blurred is not None and run_spacing(days) > _CLOSE_MIN:
        return _at_least(context, blurred)
    close = run_spacing(context.days) <= _CLOSE_TO_TRIPS_MIN
    if close and (trips := unit_trips(context)) is not None and trips.severity != "note":
        return trips
    runs = _heating_runs(context.facts.runs)
    by_day = _by_day(days, runs)
    outdoor = days.floats("outdoor")
    limit = context.limit
    many = by_day.count >= limit("cycling_runs_a_day")
    allowed, least = _weather_limits(context, outdoor)
    size = np.fmax(by_day.rate / allowed, least / np.maximum(by_day.minutes, 0.5))
    brief = many & (fill_nan(size, 0.0) > 1.0)
    cold = np.isfinite(outdoor) & (_load(context, outdoor) >= limit("cold_load_share"))
    # Begin and end of a run are known to half a reading each: what may be longer is no short run.
    longest = by_day.minutes + (run_spacing(days) - 1.0) / 2.0
    most = _most_starts(context, "cold_starts_a_day")
    through = cold & (by_day.count > limit(most)) & (longest < limit("cold_run_minutes"))
    cycles_short = brief | through
    heated = (days.floats("minutes_heating") >= 60) | (days.floats("minutes_running") >= 60)
    comparable = _comparable(cycles_short, outdoor, heated)
    episode = latest_episode(days["day"], cycles_short, comparable, hold_days=3, gone_days=7)
    if episode is None:
        return _unseen(context)
    here = episode.covers(days["day"]) & cycles_short
    chosen = runs.where(np.isin(runs["day"], days["day"][here]))
    kwh = _cost(context, chosen, by_day, here)
    severity = _severity(context, by_day, here, np.where(brief, size, np.nan), episode, kwh)
    starts = nan_median(by_day.count[here])
    length, rate = nan_median(by_day.minutes[here]), nan_median(by_day.rate[here])
    due, usual_run, load_share = _due(context, outdoor, here)
    cause, evidence = cycling_causes(
        context, chosen, cold_share=float(through[here].mean()), load_share=load_share
    )
    real = min(_chance(context, by_day, outdoor, episode.covers(days["day"]) & comparable), limit("surest"))
    return Finding(
        "short_cycling",
        severity,
        episode.since,
        real,
        f"The compressor starts {starts:.0f} times a day for heating and runs {length:.0f} minutes at a"
        " time.",
        evidence=(
            context.evidence(
                "median heating run",
                round(length, 1),
                "min",
                "short_run_minutes",
                round(nan_median(least[here]), 1),
            ),
            context.evidence(
                "starts an hour while heating",
                round(rate, 2),
                "1/h",
                "starts_per_hour",
                round(nan_median(allowed[here]), 2),
            ),
            context.evidence("heating starts a day", round(starts, 1), "1/day", most),
            Evidence(
                "expected starts a day at this load, 95 % interval",
                f"{due.low:.0f} to {due.high:.0f}",
                "1/day",
            ),
            Evidence("expected run at this load, 95 % interval", *usual_run),
            context.evidence("days with short cycling", int(here.sum()), "days", "cycling_days"),
            *evidence,
        ),
        causes=cause,
        next_step=next_step(cause[0].cause if cause else ""),
        caution=(
            water_caution(context.site)
            if cause and cause[0].cause in ("low_water_volume", "flow_restriction")
            else ""
        ),
        home=(
            ""
            if severity == "note"
            else (
                "Your heat pump switches on and off too often, which wears it. Your installer will"
                " check its settings. Keeping thermostats at a steady setting helps."
            )
        ),
        until=episode.until,
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="setting" if cause and cause[0].cause == "thermostat_chopping" else "drive",
        bring=bring(cause[0].cause if cause else ""),
    )


def _unseen(context: Context) -> Finding | None:
    """Sparse readings hide shorter runs; then only a counter can exclude them."""
    closest = run_spacing(context.days)
    hidden = blurred_runs(context.site, context.facts) if _may_hide_rests(context) else None
    if closest <= _CLOSE_MIN and hidden is None:
        return None
    return _at_least(
        context,
        hidden
        or f"readings every {closest:.0f} minutes can't show short runs; needs them every {_CLOSE_MIN:.0f}"
        " minutes, or compressor_starts",
    )


def _at_least(context: Context, why: str) -> Finding | None:
    """Lower bound of the starts, from the counter or from readings too far apart to show every start.

    Raises NotAssessed, `why`, where these are no more than usual: others may be hidden.
    """
    days = context.days
    if np.isfinite(days.floats("compressor_starts_counted")).any():
        return _by_counter(context)
    if coarse_register(days) is not None:
        raise NotAssessed(why, "spacing_too_wide")
    runs = context.facts.runs
    seen = group_by_day(days["day"], runs["day"], np.ones(len(runs)), "sum")
    basis = f"at least: readings every {run_spacing(days):.0f} minutes miss brief runs and rests"
    found = _by_number(context, seen, np.full(len(days), np.nan), basis)
    if found is None or found.severity == "note":
        raise NotAssessed(why, "spacing_too_wide")
    return found


def _may_hide_rests(context: Context) -> bool:
    """Whether the runs that are seen last longer than the heat lets them: then they hold rests.

    A unit can't run longer than the day's heat takes at its least output. True too where heat or least
    output is not known.
    """
    days, least = context.days, context.site.heat_pump.min_output_kw
    heat, running = days.floats("heat_total_kwh"), days.floats("minutes_running") / 60.0
    known = np.isfinite(heat) & (running > 0.0)
    if least is None or "heat_output" in context.unreliable or not known.any():
        return True
    longest = context.limit("hidden_rest_share") * heat / least
    return int((known & (running > longest)).sum()) >= context.limit("cycling_days")


def fixed_speed(context: Context) -> bool:
    """Whether the unit only switches on and off: by the site file, or its speed shows nothing between."""
    days = context.all_days.days
    full, ran = days.floats("minutes_full_speed"), days.floats("minutes_running")
    share = context.limit("fixed_speed_share")
    shown = len(days.where(ran > 0.0)) >= context.limit("cycling_days")
    return context.site.heat_pump.fixed_speed or bool(shown and full.sum() >= share * ran.sum())


def _most_starts(context: Context, name: str) -> str:
    """Name of the limit of starts a day: `name`, or that of a unit which can't run through."""
    return "fixed_speed_starts_a_day" if context.once(fixed_speed) else name


def _heating_runs(runs: Table) -> Table:
    """Whole runs that made no hot water, with the pause after each (nan: none seen, or a rest)."""
    after = np.append(runs.floats("pause")[1:], np.nan)
    after = np.where(after > _LONGEST_PAUSE_MIN, np.nan, after)
    heating = (
        ~np.isin(runs["use"], (HOT_WATER, COOLING))
        & (runs["minutes_hot_water"] == 0)
        & ~runs["cut"].astype(np.bool_)
    )
    return runs.with_columns(after=after, period=runs["minutes"] + after).where(heating)


def _by_day(days: Table, runs: Table) -> _Days:
    day, of_run = days["day"], runs["day"]
    first, end = np.searchsorted(of_run, day, side="left"), np.searchsorted(of_run, day, side="right")
    minutes, period = (runs.floats(c) for c in ("minutes", "period"))
    length, rate = np.full(len(day), np.nan), np.full(len(day), np.nan)
    for i in np.flatnonzero(end > first):
        length[i] = median(minutes[first[i] : end[i]])
        known = period[first[i] : end[i]]
        known = known[np.isfinite(known)]
        if len(known) >= 5:
            rate[i] = 60.0 / median(known)
    return _Days((end - first).astype(np.float64), length, rate)


def _load(context: Context, outdoor: Floats) -> Floats:
    """Share of the design load by each day's weather [-]; nan if unknown."""
    base = context.figures.heat_loss.base_temperature_c
    base = min(base, _HEATING_LIMIT_C) if base is not None and base > 8.0 else _HEATING_LIMIT_C
    design = context.site.design.outdoor_c
    return (base - outdoor) / (base - (design if design is not None else _USUAL_DESIGN_C))


def _chance(context: Context, by_day: _Days, outdoor: Floats, judged: Flags) -> float:
    """Probability of more starts than a healthy unit needs, over all days of comparable weather in the
    episode: the worst days alone would always have many."""
    due, _, _ = _due(context, outdoor, judged)
    return normal_probability(due.score(float(np.mean(by_day.count[judged]))))


def _due(context: Context, outdoor: Floats, here: Flags) -> tuple[Lognormal, tuple[str, str], float]:
    """Starts a day that a soundly sized unit needs on those days, the run it makes in words with its unit,
    and the load over the least output [-].

    Its least output is that of the site file, or a sound share of the design's heat loss where that is less:
    a unit that is too big is no excuse for its own starts.
    """
    pump, loss = context.site.heat_pump, context.site.design.heat_loss_kw
    fixed = context.once(fixed_speed)
    rated = pump.rated_output_kw or _USUAL_RATED_KW
    least = pump.min_output_kw or (1.0 if fixed else _LEAST_SHARE) * rated
    if loss:
        least = min(least, (FIXED_OVER_LOSS if fixed else LEAST_OVER_LOSS) * loss)
    load = context.days.floats("heat_space_kwh") / 24.0
    if loss:
        load = np.where(np.isfinite(load), load, np.clip(_load(context, outdoor), 0.0, 1.2) * loss)
    due = starts_due(load[here], least, fixed_speed=fixed)
    share = nan_median(load[here]) / least
    run = ("no stop", "")
    if 0.0 < share < 1.0:
        expected = run_expected(share, fixed_speed=fixed)
        run = (f"{expected.low:.0f} to {expected.high:.0f}", "min")
    return due, run if np.isfinite(share) else ("not known", ""), float(share)


def _weather_limits(context: Context, outdoor: Floats) -> tuple[Floats, Floats]:
    """Allowed starts an hour and run length [min] by day; the mild-weather limits where load is unknown."""
    limit = context.limit
    mild, cold = limit("mild_load_share"), limit("cold_load_share")
    x = np.clip((fill_nan(_load(context, outdoor), mild) - mild) / max(cold - mild, 1e-6), 0.0, 1.0)
    starts = limit("mild_starts_per_hour") + x * (limit("starts_per_hour") - limit("mild_starts_per_hour"))
    run = limit("mild_run_minutes") + x * (limit("short_run_minutes") - limit("mild_run_minutes"))
    return starts, run


def _comparable(cycles_short: Flags, outdoor: Floats, heated: Flags) -> Flags:
    """Days on which it could show: in the weather in which it did, or all where the weather is not known."""
    if not cycles_short.any() or not np.isfinite(outdoor[cycles_short]).any():
        return heated | cycles_short
    coldest, warmest = np.nanquantile(outdoor[cycles_short], (0.1, 0.9))
    like = (outdoor >= coldest) & (outdoor <= warmest)
    return np.asarray(cycles_short | (heated & like), dtype=np.bool_)


def _severity(
    context: Context, by_day: _Days, here: Flags, size: Floats, episode: Episode, kwh: float | None
) -> Severity:
    """Grade by size, and by what the starts wear and cost. kwh : what they cost a year [kWh]"""
    limit = context.limit
    over = nan_median(by_day.count[here]) / limit(_most_starts(context, "cold_starts_a_day"))
    if np.isfinite(size[here]).mean() >= 0.3:
        over = nan_median(size[here])
    heavy = (
        nan_median(by_day.count[here]) >= 2.0 * limit(_most_starts(context, "counted_starts_a_day"))
        and here.sum() >= 28
    )
    severity: Severity = "act" if over >= 1.7 or heavy else "watch"
    a_year = _mean_starts(context, by_day, episode) * HEATING_DAYS
    # Short runs of a few days, in a season with few starts, neither wear nor cost anything to speak of.
    if a_year < limit("starts_a_year"):
        severity = min(severity, _by_cost(context, kwh), key=SEVERITIES.index)
    return downgraded(severity, episode, limit("cycling_days"))


def _by_cost(context: Context, kwh: float | None) -> Severity:
    """Grade of starts that wear little; watch where nobody knows what they cost."""
    if kwh is None:
        return "watch"
    return graded(kwh, context.limit("cycling_kwh"), context.limit("cycling_act_kwh"))


def _mean_starts(context: Context, by_day: _Days, episode: Episode) -> float:
    """Heating starts a day, over all days with heating in the episode."""
    days = context.days
    heated = episode.covers(days["day"]) & (
        (by_day.count > 0)
        | (fill_nan(days.floats("minutes_heating"), 0.0) >= context.limit("heated_day_minutes"))
    )
    return float(by_day.count[heated].mean()) if heated.any() else 0.0


def _by_counter(context: Context) -> Finding | None:
    """Starts from the unit's own counter."""
    days = context.days
    starts = days.floats("compressor_starts_counted")
    hours = days.floats("compressor_hours_counted")
    if not np.isfinite(starts).any():
        raise NotAssessed(
            "needs heat_pump_electricity or compressor_speed every 15 minutes or closer, or"
            " compressor_starts",
            "spacing_too_wide",
        )
    running = hours if np.isfinite(hours).any() else days.floats("minutes_running") / 60.0
    return _by_number(context, starts, running, "by the unit's own counter")


def _by_number(context: Context, starts: Floats, running: Floats, basis: str) -> Finding | None:
    """Too many is too many. starts, running : of each day, running in hours, nan where runs hold rests"""
    days, limit = context.days, context.limit
    judged = np.isfinite(starts) & (starts >= 1)
    length = np.divide(running * 60.0, starts, out=np.full(len(starts), np.nan), where=starts > 0)
    most = _most_starts(context, "counted_starts_a_day")
    too_many = judged & (starts > limit(most))
    # Long runs between many starts are a busy winter's day, not short cycling.
    too_many &= ~(length > 2.0 * limit("cold_run_minutes"))
    episode = latest_episode(
        days["day"], too_many, _comparable(too_many, days.floats("outdoor"), judged), hold_days=3, gone_days=7
    )
    if episode is None:
        return None
    here = episode.covers(days["day"]) & too_many
    many, mean = nan_median(starts[here]), nan_median(length[here])
    over = many / limit(most)
    severity = downgraded("act" if over >= 2.0 else "watch", episode, limit("cycling_days"))
    evidence = (
        () if np.isnan(mean) else (context.evidence("mean run", round(mean, 1), "min", "short_run_minutes"),)
    )
    return Finding(
        "short_cycling",
        severity,
        episode.since,
        confidence_of(over, episode.days * episode.share, episode.share),
        f"The compressor starts {many:.0f} times a day, {basis}.",
        evidence=(
            context.evidence("starts a day", round(many, 1), "1/day", most),
            *evidence,
            context.evidence("days with short cycling", int(here.sum()), "days", "cycling_days"),
        ),
        next_step=(
            "Ask for a week of one-minute data of electricity, flow temperature and heat call: they"
            " show what ends the runs."
        ),
        home=(
            ""
            if severity == "note"
            else (
                "Your heat pump switches on and off too often, which wears it. Your installer will"
                " look into it."
            )
        ),
        until=episode.until,
        visit="call",
    )


def _cost(context: Context, runs: Table, by_day: _Days, here: Flags) -> float | None:
    """A year's electricity of the starts beyond one an hour; None without electricity.

    A start costs about two minutes of the unit's power (common practice, as in the losses).
    """
    power = runs["electricity"] / runs["minutes"] * 60.0
    if not np.isfinite(power).any():
        return None
    spare = np.maximum(1.0 - 1.0 / np.maximum(by_day.rate[here], 1.0), 0.0)
    excess = float(np.nansum(by_day.count[here] * np.where(np.isfinite(spare), spare, 0.5)))
    return excess * nan_median(power) * _START_MINUTES / 60.0 * heating_year(context)


RULES: tuple[Rule, ...] = (
    Rule(
        "short_cycling",
        short_cycling,
        needs=(Need(("heat_pump_electricity", "compressor_speed", "operating_mode", "compressor_starts")),),
        reads=frozenset({"heat_pump_electricity", "compressor_speed"}),
    ),
)
