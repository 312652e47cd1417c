"""Standby power and pump operation without demand."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import MAINS_WORK
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.idle_pump import chance
from fieldfare.analysis.expectation.standby import standby
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.figures.operation import blurred_runs
from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.episodes import latest_episode
from fieldfare.analysis.findings.grading import downgraded, graded, probable_cost
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.findings.onset import onset
from fieldfare.analysis.findings.yearly_cost import per_year, rest_hours_of_year
from fieldfare.analysis.minutes.operating_state import least_running_w
from fieldfare.analysis.statistics.distributions import normal_probability
from fieldfare.analysis.statistics.quantiles import nan_median

_REST_MIN = 30
_UNASKED_MIN = 60
# Fewer days with the unit at rest may be days on which somebody works on it (common practice).
_FEWEST_RESTING_DAYS = 5
# A mean over many rests is right within a fifth as long as a step comes in every other (by simulated
# registers).
_RESTS_A_STEP = 2.0
_USUAL_PUMP_W = 45.0
# Rests of 5 minutes show in readings half as far apart (sampling theorem); readings farther apart may hold a
# part of a run.
_CLOSE_MIN, _CLOSEST_MIN, _MOST_APART_MIN = 5.0, 2.5, 15.0
# Standby is the same for days. Readings that blur short runs show it as a floor: the least of so many days
# is shared by most of them.
_FLOOR_DAYS, _FLOOR_SHARE = 10, 0.5
# A draw near that of a running compressor, beyond every heater of a resting unit, is no standby (common
# practice).
_PARTLY, _MOST_STANDBY_W = 0.35, 300.0
_USUAL_SIZE_KW = 12.0
# By the hour: a floor is the lowest level, shared by many days to within a register's last digit; an hour or
# two lower still are a power cut. Hours of part running lie anywhere above it.
_FLOOR_SPREAD, _REGISTER_W, _FEWEST_FLOOR_DAYS, _CUT_DAYS = 1.2, 10.0, 10, 2


def high_standby(context: Context) -> Finding | None:
    days, limit = context.days, context.limit
    power, judged, basis, pumps = _resting_power(context)
    shown = judged & _counted_finely(context)
    if shown.sum() < _FEWEST_RESTING_DAYS <= judged.sum():
        step = float(np.nanmax(days.floats("step.heat_pump_electricity")[judged]))
        raise NotAssessed(
            f"the electricity register counts in steps of {step:.2g} kWh: at standby hardly one falls into"
            " a rest",
            "spacing_too_wide",
        )
    judged = shown
    if judged.sum() < _FEWEST_RESTING_DAYS:
        raise NotAssessed("too few days with the unit at rest to measure its standby power", "too_few_days")
    rated = context.site.heat_pump.rated_output_kw or 0.0
    more = limit("standby_w_per_kw") * max(rated - _USUAL_SIZE_KW, 0.0)
    more += limit("standby_pump_w") * max(rated / _USUAL_SIZE_KW, 1.0) if pumps else 0.0
    watch, act = limit("standby_watch_w") + more, limit("standby_act_w") + more
    is_high = judged & (fill_nan(power, 0.0) >= watch)
    episode = latest_episode(days["day"], is_high, judged, hold_days=_FEWEST_RESTING_DAYS, gone_days=7)
    if episode is None:
        if is_high[np.flatnonzero(judged)[-1]]:
            raise NotAssessed(
                f"only {int(is_high.sum())} days show a draw of {nan_median(power[is_high]):.0f} W at"
                f" standby, which is high; needs {_FEWEST_RESTING_DAYS} days with the unit at rest",
                "too_few_days",
            )
        return None
    here = episode.covers(days["day"]) & judged
    drawn = nan_median(power[here])
    if drawn < watch:
        return None
    rest = float(np.nanmean(days.floats("minutes_rest")[here])) / 1440.0
    year = rest_hours_of_year(context, rest)
    usual = standby(rated or _USUAL_SIZE_KW)
    pump = limit("standby_pump_w") * max(rated / _USUAL_SIZE_KW, 1.0) if pumps else 0.0
    real = normal_probability(usual.score(max(drawn - pump, 1.0)))
    kwh = max(drawn - pump - usual.middle, 0.0) * year / 1000.0
    severity = downgraded(graded(drawn, watch, act), episode, 5.0)
    severity = probable_cost(context, severity, real, kwh, "standby_kwh")
    return Finding(
        "high_standby",
        severity,
        onset(days["day"], np.where(judged, power, np.nan), episode),
        min(real, limit("surest")),
        f"The unit draws {drawn:.0f} W at standby.",
        evidence=(
            context.evidence(f"standby power, {basis}", round(drawn), "W", "standby_watch_w", round(watch)),
            Evidence(
                "expected for a unit of this size, 95 % interval", f"{usual.low:.0f} to {usual.high:.0f}", "W"
            ),
            Evidence("hours at standby a day", round(24.0 * rest, 1), "h"),
            Evidence("hours at standby in a year", round(year, -1), "h"),
            Evidence("days seen", int(here.sum()), "days"),
        ),
        next_step=(
            "Ask what else is on this supply (trace heating, a second controller, a pump); then check"
            " the control of the crankcase heater and the tray heater: both should be off in mild"
            " weather."
        ),
        caution=MAINS_WORK,
        home=(
            ""
            if severity == "note"
            else (
                "Your heat pump uses more electricity at standby than it should. Your installer will"
                " find out why."
            )
        ),
        until=episode.until,
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="call" if severity != "act" else "drive",
        bring=("clamp meter",),
    )


def _counted_finely(context: Context) -> Flags:
    """Days on which a register steps in every other rest at least, at the most power that is still usual.

    In shorter rests it counts what runs left over, or nothing.
    """
    days = context.days
    step = fill_nan(days.floats("step.heat_pump_electricity"), 0.0)
    if not (step > 0.0).any():
        return np.ones(len(days), dtype=np.bool_)
    rest_min = days.floats("minutes_calm") / np.maximum(fill_nan(days.floats("starts"), 1.0), 1.0)
    spacing = days.floats("spacing.heat_pump_electricity")
    # Farther apart no rest is seen, only the lowest of such intervals.
    rest_min = np.where(spacing > _MOST_APART_MIN, spacing, rest_min)
    watched_kwh = context.limit("standby_watch_w") * fill_nan(rest_min, 0.0) / 60_000.0
    return np.asarray(step <= _RESTS_A_STEP * watched_kwh, dtype=np.bool_)


def _resting_power(context: Context) -> tuple[Floats, Flags, str, bool]:
    """Power at rest by day [W], days that show it, how it was seen, and whether a pump may be in it."""
    days, site = context.days, context.site
    inside_meter = site.includes("heat_pump_electricity", "circulation_pump")
    inside_meter = inside_meter and not site.measures("circulation_pump_electricity")
    still, minutes_still = days.floats("still_power"), days.floats("minutes_still")
    if inside_meter and (np.isfinite(still) & (minutes_still >= _REST_MIN)).sum() >= 5:
        return (
            still,
            np.isfinite(still) & (minutes_still >= _REST_MIN),
            "with the water standing still",
            # Beyond a parallel buffer another pump moves water that the unit's flow meter does not see.
            site.buffer is not None and site.buffer.arrangement == "parallel",
        )
    spacing = float(np.nanmin(days.floats("spacing.heat_pump_electricity")))
    if spacing <= _MOST_APART_MIN:
        power = days.floats("rest_power")
        judged = np.isfinite(power) & (days.floats("minutes_calm") >= _REST_MIN)
        if spacing > _CLOSEST_MIN:
            judged &= fill_nan(power, 0.0) < max(_PARTLY * least_running_w(site), _MOST_STANDBY_W)
        if spacing > _CLOSE_MIN or (spacing > _CLOSEST_MIN and blurred_runs(site, context.facts)):
            floor = _at_a_floor(power, judged)
            if floor.sum() < _FLOOR_SHARE * judged.sum():
                raise NotAssessed(
                    f"readings every {spacing:.0f} minutes can't tell standby from short runs here",
                    "spacing_too_wide",
                )
            judged = floor
        return power, judged, "well after a stop", inside_meter
    lowest, high = days.floats("lowest_hour"), context.limit("standby_watch_w")
    return (
        lowest,
        _at_the_floor(lowest, least_running_w(site), high),
        "lowest hour of calm days",
        inside_meter,
    )


def _at_the_floor(lowest: Floats, running_w: float, high_w: float) -> Flags:
    """Days whose lowest hour is standby: at the minimum level and far below a running compressor. A low level
    bounds the standby on few days too; from `high_w` [W] on most days must share it."""
    known = np.isfinite(lowest)
    if known.sum() <= _CUT_DAYS:
        return np.zeros(len(lowest), dtype=np.bool_)
    floor = float(np.sort(lowest[known])[_CUT_DAYS])
    near = known & (lowest <= _FLOOR_SPREAD * floor + _REGISTER_W)
    if floor >= high_w and near.sum() < _FLOOR_SHARE * known.sum():
        return np.zeros(len(lowest), dtype=np.bool_)  # it goes with the load: no hour without a run is seen
    return (
        near
        if floor < 0.5 * running_w and near.sum() >= _FEWEST_FLOOR_DAYS
        else np.zeros(len(lowest), dtype=np.bool_)
    )


def _at_a_floor(power: Floats, judged: Flags) -> Flags:
    """Days at the least level of the days before or after them.

    power : float64 (n,) [W] at rest. judged : bool (n,), days that show it. Returns bool (n,)

    A reading with a part of a run in it lies above the standby, at another height each time. So the least
    level that many days share is the standby, or bounds it from above. Looking to one side at a time keeps
    the days about a step.
    """
    out = np.zeros(len(power), dtype=np.bool_)
    rows = np.flatnonzero(judged)
    value = power[rows]
    for i, row in enumerate(rows):
        sides = value[max(i - _FLOOR_DAYS + 1, 0) : i + 1], value[i : i + _FLOOR_DAYS]
        floors = [float(np.sort(side)[_CUT_DAYS]) for side in sides if len(side) > _CUT_DAYS]
        out[row] = any(value[i] <= _FLOOR_SPREAD * floor + _REGISTER_W for floor in floors)
    return out


def pump_always_on(context: Context) -> Finding | None:
    days, limit = context.days, context.limit
    unasked, pumped = days.floats("minutes_unasked"), days.floats("minutes_unasked_pumped")
    judged = np.isfinite(unasked) & (fill_nan(unasked, 0.0) >= _UNASKED_MIN)
    # Rooms below set temperature are a demand, even without other signs.
    target = days.floats("target")
    least_room_c = np.where(np.isfinite(target), target - 0.5, context.site.design.indoor_c - 1.0)
    judged &= ~(days.floats("room") < least_room_c)
    if judged.sum() < 5:
        raise NotAssessed(
            "too few days without demand, or neither heat call nor flow temperature shows when there is none",
            "not_enough_data",
        )
    share = np.divide(pumped, unasked, out=np.zeros(len(days)), where=judged)
    runs_idle = judged & (share >= limit("idle_pump_share"))
    episode = latest_episode(days["day"], runs_idle, judged, hold_days=5, gone_days=7)
    if episode is None:
        return None
    here = episode.covers(days["day"]) & judged
    hours, part = float(np.mean(pumped[here])) / 60.0, float(np.sum(pumped[here]) / np.sum(unasked[here]))
    if part < limit("idle_pump_share") and hours < limit("idle_pump_hours"):
        return None
    power = nan_median(days.floats("unasked_pump_power")[here])
    power = power if np.isfinite(power) else _USUAL_PUMP_W
    kwh = per_year(power * hours / 1000.0 * int(here.sum()), len(days))
    severity = downgraded(_idle_grade(context, hours, part), episode, limit("idle_pump_days"))
    summer, before = _idle_elsewhere(context, judged, here)
    real = chance(summer=summer, before=before, without_call=context.site.measures("heat_call"))
    severity = probable_cost(context, severity, real, kwh, "idle_pump_kwh")
    return Finding(
        "pump_always_on",
        severity,
        episode.since,
        min(real, limit("surest")),
        f"A circulation pump runs {hours:.0f} hours a day without demand.",
        evidence=(
            context.evidence(
                "share of the time without demand in which a pump runs",
                round(part, 2),
                "-",
                "idle_pump_share",
            ),
            context.evidence("pumping without demand", round(hours, 1), "h/day", "idle_pump_hours"),
            Evidence(
                "the same share on days too warm to heat", None if summer is None else round(summer, 2), "-"
            ),
            Evidence("the same share before it began", None if before is None else round(before, 2), "-"),
            context.evidence("days seen", int(here.sum()), "days", "idle_pump_days"),
        ),
        next_step=(
            "Set the pump to run only with the heat call (plus its run-on and frost protection); look"
            " for a pump wired to permanent live or left in manual mode."
        ),
        caution=MAINS_WORK,
        home=(
            ""
            if severity == "note"
            else (
                "A heating pump in your home runs even when no heat is needed, which uses"
                " electricity. Your installer can change the setting."
            )
        ),
        until=episode.until,
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="setting",
    )


def _idle_grade(context: Context, hours: float, part: float) -> Severity:
    limit = context.limit
    if part < limit("idle_pump_share"):
        return "note"
    return "act" if hours >= limit("idle_pump_act_hours") else "watch"


def _idle_elsewhere(context: Context, judged: Flags, here: Flags) -> tuple[float | None, float | None]:
    """Share of time without demand with a pump on, in warm weather and before it began; None if unknown."""
    days, limit = context.days, context.limit
    unasked, pumped = days.floats("minutes_unasked"), days.floats("minutes_unasked_pumped")
    outdoor = days.floats("outdoor")
    fewest = limit("idle_pump_other_days")

    def part(rows: Flags) -> float | None:
        if rows.sum() < fewest:
            return None
        return float(np.sum(pumped[rows]) / np.sum(unasked[rows]))

    day = days["day"]
    earlier = judged & (day < day[here][0])
    return part(here & (outdoor >= limit("heating_limit_c"))), part(earlier)


RULES: tuple[Rule, ...] = (
    Rule(
        "high_standby",
        high_standby,
        needs=(Need(("heat_pump_electricity",), 60.0, 7),),
        reads=frozenset({"heat_pump_electricity"}),
    ),
    Rule(
        "pump_always_on",
        pump_always_on,
        needs=(
            Need(("circulation_pump_electricity", "flow_rate"), 10.0, 7),
            Need(("heat_call", "flow_temperature"), 15.0),
        ),
        reads=frozenset({"flow_rate", "outdoor_temperature"}),  # a day too warm to heat is known by it
    ),
)
