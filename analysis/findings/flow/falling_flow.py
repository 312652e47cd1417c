"""Is the water through the heat pump getting less?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.cautions import water_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.excess import Excess
from fieldfare.analysis.expectation.water_flow import steady_flow
from fieldfare.analysis.facts.table import group_by_day
from fieldfare.analysis.figures.estimate import robust_fit
from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.flow.dropped_flow import dropped, flow_drop
from fieldfare.analysis.findings.grading import graded
from fieldfare.analysis.findings.model import Cause, Evidence, Finding
from fieldfare.analysis.findings.phrases import day_text, percent
from fieldfare.analysis.statistics.distributions import GAUSS_95
from fieldfare.analysis.statistics.moving import moving_median
from fieldfare.analysis.statistics.quantiles import nan_median

_FEWEST_DAYS = 28
_WINDOW_DAYS = 14
# Where nobody knows the load, a season of it moves the flow by so much (common practice: valves and pump
# control).
_LOAD_UNKNOWN = 0.06


def falling_flow(context: Context) -> Finding | None:
    """Flow that slides down as a strainer clogs, or that dropped at once and stayed low."""
    like = _like_conditions(context)
    day, flow = like.day, like.flow
    if len(flow) < _FEWEST_DAYS:
        raise NotAssessed(
            f"needs at least {_FEWEST_DAYS} days with a flow rate at comparable conditions, has {len(flow)}",
            "too_few_days",
        )
    if (drop := flow_drop(context, day, flow, heating=like.heating)) is not None:
        sliding = _slide(context, like)
        return dropped(context, drop, like.what) if sliding is None else sliding
    return _slide(context, like)


def _slide(context: Context, like: _Like) -> Finding | None:
    limit, day, flow = context.limit, like.day, like.flow
    smooth = moving_median(flow, _WINDOW_DAYS, 7)
    peak = int(np.nanargmax(smooth[: len(smooth) - 7]))
    end = nan_median(flow[-_WINDOW_DAYS:])
    fall = 1.0 - end / smooth[peak]
    if fall < limit("flow_fall_note_share") or len(flow) - peak < _WINDOW_DAYS:
        return None
    part = flow[peak:]
    begun = peak + int(np.argmax(smooth[peak:] < smooth[peak] * (1.0 - 0.2 * fall)))
    steepest = _steepest(smooth[peak:], day[peak:]) / max(fall * smooth[peak], 1e-9)
    noise = 1.4826 * nan_median(np.abs(part - smooth[peak:])) / smooth[peak]
    if steepest > limit("flow_step_share") or fall < limit("flow_fall_noise") * noise:
        return None
    weeks = max((day[-1] - day[begun]) / np.timedelta64(7, "D"), 1.0)
    severity = graded(fall, limit("flow_fall_watch_share"), limit("flow_fall_act_share"))
    since = np.datetime_as_string(day[begun], unit="D").item()
    steady = steady_flow(noise, len(part), like.load_error)
    real = min(Excess(fall, steady.uncertainty).probability_above(steady.value), limit("surest"))
    return Finding(
        "falling_flow",
        severity,
        since,
        real,
        f"The water flow has fallen {percent(fall)} since {day_text(since)}.",
        evidence=(
            Evidence(f"flow then, {like.what}", round(float(smooth[peak]), 3), "m3/h"),
            Evidence(f"flow now, {like.what}", round(end, 3), "m3/h"),
            context.evidence("fall", round(fall, 3), "-", "flow_fall_watch_share"),
            Evidence(
                "apparent fall from drift, load and scatter, 95 %",
                round(steady.value + GAUSS_95 * steady.uncertainty, 3),
                "-",
            ),
            context.evidence(
                "fall in the steepest two weeks over the total fall",
                round(steepest, 2),
                "-",
                "flow_step_share",
            ),
        ),
        causes=(
            Cause("strainer_clogging", 1.0, f"it fell gradually over {weeks:.0f} weeks, without a step"),
        ),
        next_step=(
            "Clean the strainer, look at what it caught, and check the water quality and the venting;"
            " compare the flow before and after."
        ),
        caution=water_caution(context.site),
        home=(
            ""
            if severity == "note"
            else ("The water filter of your heating is filling up. Your installer will clean it.")
        ),
        visit="drive",
        bring=("strainer insert and seals", "hose and bucket", "water test", "magnet filter"),
    )


@dataclass(frozen=True)
class _Like:
    """Daily flow at constant conditions. load_error : relative uncertainty of the load's effect [-]"""

    day: NDArray[Any]
    flow: Floats
    what: str
    load_error: float

    @property
    def heating(self) -> bool:
        return self.what.startswith("heating")


def _like_conditions(context: Context) -> _Like:
    """Charging the cylinder, whose circuit has no valves that close by themselves; else heating. What the
    load moves is
    taken off both: a pump that modulates follows the heat."""
    days = context.days
    stamp = days["day"]
    hot = days.floats("flow_rate_hot_water")
    usable = np.isfinite(hot) & (days.floats("minutes_hot_water") >= 15)
    if usable.sum() >= _FEWEST_DAYS:
        return _at_like_load(
            stamp[usable], hot[usable], _charging_kw(context)[usable], "charging the cylinder"
        )
    flow, heat = days.floats("flow_rate"), days.floats("heat_power") / 1000.0
    usable = np.isfinite(flow) & (days.floats("minutes_steady") >= context.limit("flow_steady_minutes"))
    return _at_like_load(stamp[usable], flow[usable], heat[usable], "heating")


def _charging_kw(context: Context) -> Floats:
    """Heat while charging, median of each day [kW]; nan where not measured."""
    reheats, day = context.facts.reheats, context.days["day"]
    if not len(reheats):
        return np.full(len(day), np.nan)
    power = reheats.floats("heat") / np.maximum(reheats.floats("minutes"), 1.0) * 60.0
    return group_by_day(day, reheats["day"], power, "median")


def _at_like_load(day: NDArray[Any], flow: Floats, kilowatts: Floats, what: str) -> _Like:
    known = np.isfinite(kilowatts) & np.isfinite(flow)
    if known.sum() < _FEWEST_DAYS or float(np.ptp(kilowatts[known])) < 0.1:
        return _Like(day, flow, what, _LOAD_UNKNOWN if what == "heating" else 0.0)
    day, flow, kilowatts = day[known], flow[known], kilowatts[known]
    time = (day - day[0]) / np.timedelta64(1, "D")
    fit = robust_fit(np.column_stack([kilowatts, time, np.ones(len(flow))]), flow)
    moved = fit.coefficients[0] * (kilowatts - np.median(kilowatts))
    # Load and season go together: what the load's slope is not known by may pass for a slide.
    error = float(np.sqrt(max(fit.covariance[0, 0], 0.0))) * float(np.std(kilowatts)) / float(np.median(flow))
    return _Like(
        day,
        flow - moved,
        f"{what} at the same load",
        2.0 * error + 0.2 * float(np.std(moved) / np.median(flow)),
    )


def _steepest(smooth: Floats, day: np.ndarray) -> float:
    """Greatest fall within two weeks."""
    known = np.flatnonzero(np.isfinite(smooth))
    days = (day[known] - day[known][0]) / np.timedelta64(1, "D")
    grid = np.arange(0.0, days[-1] + 1.0)
    level = np.interp(grid, days, smooth[known])
    reach = min(_WINDOW_DAYS, len(level) - 1)
    return float(np.max(level[:-reach] - level[reach:])) if reach else 0.0


RULES: tuple[Rule, ...] = (
    Rule(
        "falling_flow",
        falling_flow,
        needs=(Need(("flow_rate",), 15.0, _FEWEST_DAYS),),
        reads=frozenset({"flow_rate"}),
    ),
)
