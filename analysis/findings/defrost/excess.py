"""Does the unit defrost more often, longer or at a higher cost than air and load explain?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fieldfare.analysis.cautions import refrigerant_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.defrost import (
    COAT_G_PER_KW,
    DRAWN_SHARE,
    LENGTH_MIN,
    chance,
    coat_share,
    defrosts_due,
    defrosts_take,
    needless_share,
    one_defrost,
)
from fieldfare.analysis.expectation.defrost_odds import (
    USUAL_LOCK_MIN,
    USUAL_PENALTY,
    Change,
    Signs,
    changed,
    fell_odds,
    weights,
)
from fieldfare.analysis.expectation.defrost_pattern import coat_when_dry, pattern
from fieldfare.analysis.expectation.uncertain import Lognormal
from fieldfare.analysis.facts.table import Table, fill_nan, group_by_day
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.context import Context, Rule
from fieldfare.analysis.findings.defrost.causes import (
    defrost_causes,
    drawn_share,
    efficiency,
    measured_efficiency,
    rated_kw,
    used_wh,
)
from fieldfare.analysis.findings.defrost.observed import (
    NEEDS,
    READS,
    DailyFrost,
    by_clock,
    seen,
    timed,
    weekly,
)
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.heat.efficiency_change import own_change
from fieldfare.analysis.findings.model import Evidence, Finding, Severity, rounded
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.findings.yearly_cost import heating_year
from fieldfare.analysis.statistics.distributions import normal_quantile
from fieldfare.analysis.statistics.quantiles import nan_median


@dataclass(frozen=True)
class _Judged:
    """Measured defrosts beside the expected ones, of some days together.

    count : defrosts. due : expected, middle and 95 % interval. minutes, drawn, used : of one defrost,
        medians, drawn over
    rated output [-] and used [Wh/kW] nan where not measured. coat : share of a whole coat that each melted
    [-]
    fell : logarithm of the efficiency over its own before they came more often [-], nan where none was seen
    starved, unmelted, timed : probabilities that they come for another reason than frost, that melting lacks
        heat, and that a timer sets them [-]
    """

    count: int
    due: tuple[float, float, float]
    minutes: float
    drawn: float
    used: float
    coat: float
    needless: float
    fell: float
    starved: float
    unmelted: float
    timed: float

    @property
    def certain(self) -> float:
        return self.starved + self.unmelted

    @property
    def slow(self) -> bool:
        return self.unmelted > self.starved


def excessive_defrost(context: Context) -> Finding | None:
    defrosts = seen(context)
    if len(defrosts) < context.limit("defrost_count_watch"):
        return None
    frost = DailyFrost.of(context)
    change = _changed(context, defrosts, frost)
    certainly_changed = _is_certain(context, change)
    if not certainly_changed and (gap := by_clock(context, defrosts)) is not None:
        return _priced(context, timed(context, defrosts, gap), defrosts, frost)
    change = change if certainly_changed else None
    days = _frosty(frost) if change else frost.clearest(COAT_G_PER_KW.middle)
    if days.sum() < context.limit("defrost_days"):
        return None
    found = _episode_with_defrosts(context, defrosts, frost, days, change)
    if found is None or found[0].certain < context.limit("finding_chance"):
        wasteful = _by_short_timer(context, defrosts, frost, days)
        if wasteful is not None:
            return wasteful
    if found is None:
        return None
    judged, episode = found
    told = context.figures.defrost
    if told.reason and judged.count < judged.due[0]:
        # Some lie between two readings: fewer than expected were seen, and how many there were nobody knows.
        raise NotAssessed(told.reason, "spacing_too_wide")
    here = days & episode.covers(context.days["day"])
    since = episode.since if change else _since(context, defrosts, episode, days)
    return _finding(context, defrosts, judged, episode, here, since)


def _by_short_timer(context: Context, defrosts: Table, frost: DailyFrost, days: Flags) -> Finding | None:
    """Defrosting by a timer, or a sensor that acts as one, if it takes far more heat than the frost needs;
    else None."""
    judged = _judge(context, defrosts, frost, days, None)
    if judged is None or judged.certain + judged.timed < context.limit("finding_chance"):
        return None
    finding = timed(context, defrosts, nan_median(defrosts.floats("since_last")))
    finding = _priced(context, finding, defrosts, frost)
    return finding if finding.severity != "note" else None


def _priced(context: Context, found: Finding, defrosts: Table, frost: DailyFrost) -> Finding:
    """A timer's note, or more where it takes far more heat than any frost of these days explains."""
    days = context.days
    judged = np.ones(len(days), dtype=np.bool_)
    laid, used = frost.total(judged), nan_median(used_wh(defrosts, rated_kw(context)))
    share = _share_of_heat(context, defrosts, judged)
    needless = needless_share(len(defrosts), laid, used)
    real = chance(defrosts_due(laid).score(len(defrosts)))
    dear = share >= context.limit("timed_penalty") and needless >= context.limit("timed_needless")
    if not dear or real < context.limit("finding_chance"):
        return found
    kwh = _yearly(context, defrosts, needless)
    return replace(
        found,
        severity="watch",
        confidence=min(real, context.limit("surest")),
        evidence=(
            *found.evidence,
            context.evidence("share of the heat used by defrosts", round(share, 3), "-", "timed_penalty"),
            context.evidence(
                "of it, beyond what the frost asks for", round(needless, 2), "-", "timed_needless"
            ),
        ),
        home=(
            "Your heat pump de-ices by the clock, far more often than the weather asks for. Your installer"
            " may be able to set it to do so when there is ice."
        ),
        cost_kwh=kwh,
        cost_money=context.money(kwh),
    )


def _is_certain(context: Context, change: Change | None) -> bool:
    """Whether a unit began to defrost more often: by its defrosts, or by an efficiency drop at about the
    same time that the defrosts support."""
    if change is None or change.odds < 0.0:
        return False
    lost = max(fell_odds(*_fell_with(context, change)), 0.0)
    return change.odds + lost >= context.limit("defrost_change_odds")


def _episode_with_defrosts(
    context: Context, defrosts: Table, frost: DailyFrost, days: Flags, change: Change | None
) -> tuple[_Judged, Episode] | None:
    """The newest episode in which it was so, judged as a whole; None where frost explains it."""
    limit = context.limit
    episode = _episode(context, defrosts, frost, days, change)
    if episode is not None:
        judged = _judge(context, defrosts, frost, days & episode.covers(context.days["day"]), change)
        if judged is not None and judged.certain >= limit("defrost_chance_note"):
            return judged, episode
    # A coil that carries little air may defrost no more often than a usual one, and shows by all else, all
    # the time.
    judged = _judge(context, defrosts, frost, days, None)
    if judged is None or judged.certain < limit("finding_chance"):
        return None
    return judged, _throughout(context, days)


def _throughout(context: Context, days: Flags) -> Episode:
    first = int(np.flatnonzero(days)[0])
    return Episode(context.days.day(first).isoformat(), None, int(days.sum()), 1.0)


def _frosty(frost: DailyFrost) -> Flags:
    return np.asarray(frost.usual >= COAT_G_PER_KW.middle, dtype=np.bool_)


def _changed(context: Context, defrosts: Table, frost: DailyFrost) -> Change | None:
    """A step in defrosts at like frost; its day as a row of the days table."""
    rows = np.flatnonzero(_frosty(frost))
    day = context.days["day"]
    number = group_by_day(day, defrosts["day"], np.ones(len(defrosts)), "sum")
    due = frost.usual / COAT_G_PER_KW.middle
    found = changed(fill_nan(number, 0.0)[rows], due[rows], context.days.floats("outdoor")[rows])
    return None if found is None else found._replace(day=int(rows[found.day]))


def _judge(
    context: Context, defrosts: Table, frost: DailyFrost, rows: Flags, change: Change | None
) -> _Judged | None:
    """The defrosts of some days beside what their frost asks for; None where there are none.

    Against its own earlier days the unit's coil and coat are known: what one of them takes and its efficiency
    beside the rating say nothing more. How many there are beside what the frost asks for, and what share of
    the heat they take, still do: a step to a usual number at a usual cost is hardly a fault.
    """
    mine = defrosts.where(np.isin(defrosts["day"], context.days["day"][rows]))
    if not len(mine):
        return None
    rated = rated_kw(context)
    laid, used = frost.total(rows), nan_median(used_wh(mine, rated))
    minutes, drawn = nan_median(mine.floats("minutes")), nan_median(drawn_share(mine, rated))
    due, takes = defrosts_due(laid), defrosts_take(laid)
    usual = pattern(mine.floats("since_last"), mine.floats("frost_usual_kg") * 1000.0 / rated, laid.spread)
    dry = _coat_when_dry(context, defrosts, rows)
    signs = Signs(
        often=float(np.log(len(mine) / due.middle)),
        often_spread=due.spread,
        used=float(np.log(used / one_defrost().middle)),
        locked=usual.locked if usual else np.nan,
        # The defrosts of one day are in the same air: as many are independent as there are days (binomial).
        locked_spread=float(np.sqrt(usual.locked * (1.0 - usual.locked) / rows.sum())) if usual else 0.0,
        locked_due=usual.due.mean if usual else 0.0,
        locked_due_spread=usual.due.sd if usual else 0.0,
        lock=float(np.log(usual.lock / USUAL_LOCK_MIN)) if usual else np.nan,
        follows=usual.follows if usual else np.nan,
        follows_clear=usual.clear if usual else 1.0,
        efficiency=measured_efficiency(context),
        dry=float(np.log(dry.middle)) if dry else np.nan,
        dry_spread=dry.spread if dry else 0.0,
        penalty=_penalty(_share_of_heat(context, mine, rows)),
        melted=float(np.log(len(mine) * used / takes.middle)),
        melted_spread=takes.spread,
        minutes=float(np.log(minutes / LENGTH_MIN.middle)),
        drawn=float(np.log(drawn / DRAWN_SHARE.middle)),
    )
    needless = needless_share(len(mine), laid, used)
    if change is not None:
        fell, doubt = _fell_with(context, change)
        signs = replace(signs, used=np.nan, efficiency=np.nan, fell=fell, fell_spread=doubt)
        needless = max(needless, 1.0 - float(np.exp(-change.size)))
    chances = weights(signs, change.odds if change else 0.0)
    # A timer that began on a day was set then, or is a sensor that has failed.
    began = chances["timed"] if change is not None else 0.0
    long = minutes > context.limit("defrost_long_minutes")
    return _Judged(
        len(mine),
        (due.middle, due.low, due.high),
        minutes,
        drawn,
        used,
        coat_share(used),
        needless,
        signs.fell,
        chances["starved"] + began,
        chances["leaves ice"] + (chances["melts slowly"] if long else 0.0),
        chances["timed"],
    )


def _fell_with(context: Context, change: Change) -> tuple[float, float]:
    """Change of the unit's efficiency about the time its defrosts changed, logarithm and standard
    uncertainty; nan where none was seen."""
    (first, last), found = own_change(context)
    apart = max(first - change.day, change.day - last)
    if found is None or apart > context.limit("defrost_change_days"):
        return float("nan"), 0.0
    return found.size, found.error


def _coat_when_dry(context: Context, defrosts: Table, rows: Flags) -> Lognormal | None:
    """`coat_when_dry` of all defrosts from the first to the last of some days, the dry ones between as
    well."""
    day = context.days["day"][rows]
    mine = defrosts.where((defrosts["day"] >= day[0]) & (defrosts["day"] <= day[-1]))
    per_kw = 1000.0 / rated_kw(context)
    return coat_when_dry(mine.floats("frost_usual_kg") * per_kw, mine.floats("frost_kg") * per_kw)


def _penalty(share: float) -> float:
    """Logarithm of the share of heat that melting takes over a usual one, never under it; nan where not
    measured."""
    return max(float(np.log(max(share, 1e-9) / USUAL_PENALTY)), 0.0) if np.isfinite(share) else float("nan")


def _episode(
    context: Context, defrosts: Table, frost: DailyFrost, days: Flags, change: Change | None
) -> Episode | None:
    """Latest episode, each judged day taken with the week around it; from a level change on, if any."""
    if change is not None:
        rows = int(_frosty(frost)[change.day :].sum())
        return Episode(context.days.day(change.day).isoformat(), None, rows, 1.0)
    scores = weekly(context, defrosts, frost, days)
    worst = np.fmax(scores["often"], scores["long"])
    condition = days & (fill_nan(worst, -np.inf) >= normal_quantile(context.limit("defrost_week_chance")))
    # Frosting weather comes and goes: three weeks of it without are needed to call it over.
    return latest_episode(context.days["day"], condition, days, hold_days=5, gone_days=21)


def _finding(
    context: Context, defrosts: Table, judged: _Judged, episode: Episode, here: Flags, since: str
) -> Finding:
    whole = defrosts.where(episode.covers(defrosts["day"]))
    share = _share_of_heat(context, whole, episode.covers(context.days["day"]))
    severity = _severity(context, judged, episode, share)
    mine = defrosts.where(np.isin(defrosts["day"], context.days["day"][here]))
    ratio = judged.count / judged.due[0]
    # Sound weeks before it fell say nothing about the cause; without a fall all days tell.
    acting = _from_first_day(context, episode) if np.isfinite(judged.fell) else context
    causes = defrost_causes(acting, mine, slow=judged.slow, sooner=ratio, fell=judged.fell)
    kwh = _cost(context, whole, judged) if np.isfinite(judged.minutes) else None
    days = int(here.sum())
    headline = _headline(context, judged, days)
    low, high = (x / days for x in judged.due[1:])
    return Finding(
        "excessive_defrost",
        severity,
        since,
        min(judged.certain, context.limit("surest")),
        headline,
        evidence=(
            context.evidence(
                "defrosts a frosty day over expected, for this air and load",
                round(ratio, 2),
                "-",
                "defrost_excess",
            ),
            Evidence("expected a frosty day, 95 % interval", f"{low:.0f} to {high:.0f}", "defrosts"),
            context.evidence(
                "probability that the excess is real", round(judged.certain, 2), "-", "finding_chance"
            ),
            Evidence(
                "heat and electricity of a defrost, per kilowatt rated", rounded(judged.used, 1), "Wh/kW"
            ),
            Evidence(
                "expected for a full coat of frost, 95 % interval",
                f"{one_defrost().low:.0f} to {one_defrost().high:.0f}",
                "Wh/kW",
            ),
            context.evidence(
                "share of the heat used by defrosts",
                rounded(share, 3),
                "-",
                "defrost_penalty_act",
            ),
            context.evidence(
                "length of a defrost", rounded(judged.minutes, 1), "min", "defrost_long_minutes"
            ),
            context.evidence(
                "heat drawn from the water during a defrost, over rated output",
                rounded(judged.drawn, 2),
                "-",
                "defrost_heat_share",
            ),
            context.evidence("frosty days compared", days, "days", "defrost_days"),
        ),
        causes=causes,
        next_step=_next_step(causes[0].cause if causes else ""),
        caution=refrigerant_caution(context.site),
        home=(
            ""
            if severity == "note"
            else (
                "Your heat pump melts ice off its outdoor unit more often or longer than the weather"
                " explains. Please keep leaves, snow and covers a metre away from it; do not chip at"
                " the ice. Your installer will check it."
            )
        ),
        until=episode.until,
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="drive",
        bring=("coil brush and fin comb", "clamp thermometer", "hose"),
    )


def _from_first_day(context: Context, episode: Episode) -> Context:
    """The days from an episode's first on."""
    days = context.days
    row = min(int(np.searchsorted(days["day"], np.datetime64(episode.since))), len(days) - 1)
    return replace(context, facts=context.facts.between(days.day(row), days.day(len(days) - 1)))


def _headline(context: Context, judged: _Judged, days: int) -> str:
    if judged.slow and judged.minutes > context.limit("defrost_long_minutes"):
        return (
            f"Each defrost takes {judged.minutes:.0f} minutes;"
            f" {context.limit('defrost_long_minutes'):.0f} minutes should clear the coil."
        )
    often = f"On frosty days it defrosts {judged.count / days:.0f} times"
    if judged.count > judged.due[0] * context.limit("defrost_excess_told") or np.isnan(judged.used):
        return f"{often}; {judged.due[0] / days:.0f} are expected for this air and load."
    return f"{often}, with only {percent(min(judged.coat, 1.0))} of a full coat of frost each time."


def _since(context: Context, defrosts: Table, episode: Episode, days: Flags) -> str:
    """First day of the episode; the first defrost's where no earlier day could be judged."""
    judged = context.days["day"][days]
    if len(judged) and np.datetime64(episode.since) <= judged[0]:
        return np.datetime_as_string(defrosts["day"][0], unit="D").item()
    return episode.since


def _severity(context: Context, judged: _Judged, episode: Episode, share: float) -> Severity:
    """Severity by cost; a past episode is a note. The probability enters in `grading`."""
    limit = context.limit
    small = np.isfinite(share) and share * judged.needless < limit("defrost_needless_heat")
    # A coil that has cost efficiency as well matters, however little is melted.
    small = small and efficiency(context) >= limit("efficiency_note")
    if episode.until is not None or (small and not judged.slow):
        return "note"
    dear = np.isfinite(share) and share >= limit("defrost_penalty_act")
    many = judged.count / judged.due[0] >= limit("defrost_excess_act")
    very_long = judged.slow and judged.minutes >= limit("defrost_very_long_minutes")
    return "act" if dear or many or very_long else "watch"


def _share_of_heat(context: Context, mine: Table, rows: Flags) -> float:
    """Heat taken back and electricity of some defrosts over all heat given on their days [-]; nan where not
    measured.

    mine : the defrosts of these days. rows : bool (n,), the days, by row of the days table
    """
    heat = float(np.nansum(context.days.floats("heat_total_kwh")[rows]))
    taken = mine.floats("heat_taken")
    if heat <= 0.0 or not np.isfinite(taken).any():
        return float("nan")
    return (float(np.nansum(taken)) + float(np.nansum(mine["electricity"]))) / heat


def _cost(context: Context, mine: Table, judged: _Judged) -> float:
    """Yearly electricity of needless defrosts: too early, or longer than needed."""
    spare = judged.needless
    if judged.slow:
        spare = max(spare, 1.0 - context.limit("defrost_long_minutes") / judged.minutes)
    return _yearly(context, mine, spare)


def _yearly(context: Context, mine: Table, spare: float) -> float:
    """A year's electricity of a share of some defrosts, the heat they draw back included [kWh]."""
    each = mine.total("electricity") + float(np.nansum(mine["heat_taken"])) / _cop(context)
    return float(each) * spare * heating_year(context)


def _cop(context: Context) -> float:
    """Heat over electricity of space heating [-]; as `defrost_usual_cop` where it is not measured."""
    days = context.days
    heat, used = (
        float(np.nansum(days.floats(c))) for c in ("expected_heat_space_kwh", "expected_used_space_kwh")
    )
    return heat / used if heat > 0 and used > 0 else context.limit("defrost_usual_cop")


def _next_step(cause: str) -> str:
    return {
        "coil_airflow": (
            "Ask for a photo of the outdoor unit; clear leaves, snow and obstructions, clean the fins"
            " and check that the fan turns freely at full speed."
        ),
        "low_refrigerant_symptom": (
            "First ask for a photo of the outdoor unit: in the data a blocked coil looks the same. If"
            " the coil is clear, check for oil traces, frost at the inlet only, and output and"
            " suction superheat against the maker's table; leak search and charging by a licensed"
            " person."
        ),
        "insufficient_defrost_heat": (
            "Check that all zones and the minimum water volume stay open during a defrost, that the"
            " flow is nominal and the water above 20 °C; then check the reversing valve and the"
            " defrost-end sensor."
        ),
    }.get(cause, "Watch one defrost on site from start to end.")


RULES: tuple[Rule, ...] = (Rule("excessive_defrost", excessive_defrost, needs=NEEDS, reads=READS),)
