"""Is the circuit's pressure high, does its expansion vessel still take up the water?"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from fieldfare.analysis.cautions import water_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.excess import Excess, Expected, excess
from fieldfare.analysis.expectation.hypotheses import probability_of
from fieldfare.analysis.expectation.pressure import (
    ATMOSPHERE_BAR,
    RELIEF_BAR,
    expansion,
    slope_expected,
)
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats, confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.flow.pressure_common import (
    GAUGE_BAR,
    bounded,
    drift_of_pressure,
    pressure_of_days,
)
from fieldfare.analysis.findings.flow.pressure_trend import Drift
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.model import (
    Cause,
    Evidence,
    Finding,
    Severity,
)
from fieldfare.analysis.findings.onset import onset
from fieldfare.analysis.statistics.quantiles import nan_median

_VESSEL_CAUTION = (
    "The relief valve discharges hot water without warning: keep clear of its outlet and never plug it."
    " Vessel, relief valve and filling loop are for people qualified for heating work, by the maker's"
    " instructions and local codes."
)


def pressure_high(context: Context) -> Finding | None:
    """Close to the relief valve, or on its way there."""
    days, limit = context.days, context.limit
    level = (
        fill_nan(days["pressure_max"], days["pressure"])
        if "pressure_max" in days
        else pressure_of_days(context, 3)
    )
    pressure_of_days(context, 3)
    known = np.isfinite(level)
    watch, act = limit("pressure_high_watch"), limit("pressure_high_act")
    episode = latest_episode(days["day"], fill_nan(level, 0.0) > watch, known, hold_days=2, gone_days=7)
    rise = drift_of_pressure(context, +1, limit("pressure_rise_watch"), limit("pressure_risen_bar"))
    if rise is not None and rise.last < int(np.flatnonzero(known)[-1]) - 6:
        rise = None
    if episode is None and (rise is None or nan_median(level[-14:]) < limit("pressure_rise_from")):
        return None
    inside = (
        known & episode.covers(days["day"]) if episode else known & (np.arange(len(known)) >= len(known) - 14)
    )
    hottest = float(np.quantile(level[inside], 0.9))
    coldest = nan_median(days.floats("pressure_min")[inside])
    severity: Severity = "watch" if hottest < act else "act"
    if episode is not None and episode.until is not None:
        severity = "note"
    causes = _high_causes(context, coldest, hottest, rise)
    since = episode.since if episode else ""
    if rise is not None:
        since = min(filter(None, (since, days.day(rise.first).isoformat())))
    filling = causes[0].cause == "filling_loop_open"
    rising = f" It rises by {rise.slope:.2f} bar a week." if rise is not None else ""
    return Finding(
        "pressure_high",
        severity,
        since,
        bounded(_high_probability(hottest - watch, rise)),
        f"The heating circuit reaches {hottest:.1f} bar; its relief valve usually opens at {RELIEF_BAR:g}"
        f" bar.{rising}",
        evidence=(
            context.evidence("highest pressure of a day", round(hottest, 2), "bar", "pressure_high_watch"),
            Evidence("lowest of the same days", round(coldest, 2), "bar"),
            context.evidence(
                "rise at the same water temperature",
                0.0 if rise is None else round(rise.slope, 3),
                "bar/week",
                "pressure_rise_watch",
            ),
            Evidence("days with it", int(inside.sum()), "days"),
        ),
        causes=causes,
        until=episode.until if episode else None,
        next_step=(
            (
                "Ask at once whether the filling loop is shut at both ends, and have its hose"
                " removed. If the pressure still rises, water comes in through the cylinder's coil or"
                " a plate exchanger: visit. Let the pressure down to the marked cold pressure and"
                " check that the relief valve closes."
            )
            if filling
            else (
                "Visit: check the expansion vessel's gas charge with the circuit empty of pressure,"
                " recharge or replace it, set the cold pressure, and check that the relief valve"
                " closes. Until then the circuit may lose water at each hot spell."
            )
        ),
        caution=f"{_VESSEL_CAUTION} {water_caution(context.site)}",
        home=(
            ""
            if severity == "note"
            else (
                "The water pressure in the heating is too high. Please check that the filling tap is"
                " shut if you were shown where it is, keep away from the outlet of the safety valve,"
                " and ring your installer."
            )
        ),
        visit="none" if severity == "note" else "call" if filling and severity == "watch" else "drive",
        bring=() if severity == "note" else ("vessel pump and gauge", "expansion vessel", "relief valve"),
    )


def _high_probability(over: float, rise: Drift | None) -> float:
    """Probability that the level is over its limit, or that it truly rises, whichever is the surer."""
    level = Excess(over, GAUGE_BAR).probability
    if rise is None:
        return level
    return max(level, Excess(rise.slope, max(rise.error, 0.1 * rise.slope)).probability)


def _high_causes(context: Context, coldest: float, hottest: float, rise: Drift | None) -> tuple[Cause, ...]:
    """A failed vessel is high only with hot water; an open filling loop also raises the cold pressure."""
    swing, usual = hottest - coldest, context.limit("pressure_swing_watch")
    vessel = 3.0 * (swing - usual)
    filling = 4.0 * (coldest - context.limit("pressure_rise_from")) + (2.0 if rise is not None else 0.0)
    p = probability_of(float(np.clip(filling - vessel, -6.0, 6.0)))
    reason = f"it moves between {coldest:.1f} and {hottest:.1f} bar in a day"
    if rise is not None:
        reason += f" and rises by {rise.slope:.2f} bar a week at the same water temperature"
    return ranked({"filling_loop_open": (p, reason), "vessel_empty": (1.0 - p, reason)})


def pressure_swings(context: Context) -> Finding | None:
    """Does the pressure follow the water's temperature more than a vessel that works lets it?"""
    days, limit = context.days, context.limit
    pressure_of_days(context, 3)
    if "pressure_swing" not in days:
        raise NotAssessed("needs system_pressure every 15 minutes or closer", "spacing_too_wide")
    swing, slope, expected = days.floats("pressure_swing"), days.floats("pressure_per_k"), _slopes(context)
    swings, sound = _swing_days(context, expected)
    episode = latest_episode(days["day"], swings, swings | sound, hold_days=3, gone_days=7)
    if episode is None or episode.share < limit("pressure_swing_share"):
        return None
    inside = swings & episode.covers(days["day"])
    amount, top, rate = (
        nan_median(swing[inside]),
        nan_median(days.floats("pressure_max")[inside]),
        nan_median(slope[inside]),
    )
    usual = nan_median(expected[inside])
    low = nan_median(days.floats("pressure_min")[inside])
    severity = _swing_severity(context, episode, amount=amount, top=top, low=low)
    comparison = (
        f", {rate / usual:.1f} times what a vessel of the minimum size allows"
        if np.isfinite(rate / usual)
        else ""
    )
    if np.isfinite(rate) and np.isfinite(usual):
        confidence = _steepness_confidence(context, inside, slope[inside])
    else:
        excess_share = 1.0 + amount / limit("pressure_swing_act")
        confidence = confidence_of(excess_share, float(inside.sum()), episode.share)
    return Finding(
        "pressure_swings",
        severity,
        onset(days["day"], np.where(sound | swings, slope / expected, np.nan), episode),
        confidence,
        f"The circuit's pressure swings by {amount:.1f} bar with the water's temperature{comparison}.",
        evidence=(
            context.evidence("swing of a day", round(amount, 2), "bar", "pressure_swing_watch"),
            context.evidence(
                "slope over water temperature",
                None if not np.isfinite(rate) else round(rate, 3),
                "bar/K",
                "pressure_slope_over",
                None if not np.isfinite(usual) else round(limit("pressure_slope_over") * usual, 3),
            ),
            context.evidence(
                "correlation with water temperature",
                round(nan_median(days.floats("pressure_follows")[inside]), 2),
                "-",
                "pressure_follows",
            ),
            context.evidence("highest pressure of a day", round(top, 2), "bar", "pressure_high_watch"),
            Evidence("days with it", int(inside.sum()), "days"),
        ),
        causes=ranked(
            {
                "vessel_empty": (
                    1.0,
                    (
                        f"warming the water alone changes the pressure by {amount:.1f} bar: the vessel"
                        " absorbs little or nothing"
                    ),
                )
            }
        ),
        until=episode.until,
        next_step=(
            "Visit: press the vessel's gas valve (water there means a split membrane), check its"
            " charge with the circuit empty of pressure, recharge or replace it, and check that the"
            " relief valve closes. Compare the vessel's size with the circuit's water content."
        ),
        caution=f"{_VESSEL_CAUTION} {water_caution(context.site)}",
        home=(
            ""
            if severity == "note"
            else (
                "The pressure in the heating goes up and down more than it should. Keep away from the"
                " outlet of the safety valve; your installer will deal with it."
            )
        ),
        visit="none" if severity == "note" else "drive",
        bring=() if severity == "note" else ("vessel pump and gauge", "expansion vessel", "relief valve"),
    )


def _swing_severity(context: Context, episode: Episode, *, amount: float, top: float, low: float) -> Severity:
    """amount : of a day's swing [bar]. top, low : highest and lowest pressure of a day [bar]"""
    if episode.until is not None:
        return "note"
    limit = context.limit
    near_an_end = top >= limit("pressure_high_watch") or low < limit("pressure_low_act")
    return "act" if near_an_end or amount >= limit("pressure_swing_act") else "watch"


def _steepness_confidence(context: Context, inside: Flags, slope: Floats) -> float:
    """Probability that the pressure follows the water more steeply than a vessel of the minimum size allows.

    inside : days of the swings, bool (n,). slope : of these days [bar/K]
    """
    days, rate = context.days, nan_median(slope)
    model = slope_expected(
        nan_median(days.floats("pressure")[inside]),
        nan_median(days.floats("loop_c")[inside]),
        _hottest(context),
    )
    spread = 1.4826 * nan_median(np.abs(slope - rate)) / np.sqrt(max(int(inside.sum()), 1))
    return bounded(excess(rate, spread, model).probability)


def _swing_days(context: Context, expected: Floats) -> tuple[Flags, Flags]:
    """Days whose pressure follows the water too steeply, and days that show a healthy vessel: bool (n,).

    expected : slope with a vessel of the minimum size [bar/K], (n,). Raises NotAssessed
    """
    days, limit = context.days, context.limit
    swing, slope = days.floats("pressure_swing"), days.floats("pressure_per_k")
    follows = fill_nan(days.floats("pressure_follows"), 0.0) >= limit("pressure_follows")
    # Where the water is cool today, its pressure at the hottest counts.
    ends = days.floats("pressure") + slope * (_hottest(context) - days.floats("loop_c"))
    wide = fill_nan(swing, 0.0) >= limit("pressure_swing_watch")
    wide |= fill_nan(ends, 0.0) >= limit("pressure_high_watch")
    steep = fill_nan(slope, 0.0) > limit("pressure_slope_over") * expected
    if not (np.isfinite(slope).sum() >= 3 or wide.any()):
        raise NotAssessed(
            "needs flow_temperature and return_temperature beside system_pressure on at least 3 days",
            "missing_quantity",
        )
    is_known = np.isfinite(slope) & np.isfinite(expected)
    # Without the water's temperature only a swing beyond that of any healthy vessel counts.
    far = fill_nan(swing, 0.0) >= limit("pressure_swing_act")
    near_relief = far & (fill_nan(days.floats("pressure_max"), 0.0) >= limit("pressure_high_watch"))
    swings = np.where(is_known, follows & ((steep & wide) | near_relief), far)
    # A vessel does not repair itself: only days with the pressure of a healthy vessel show that it was
    # repaired.
    sound = np.isfinite(swing) & ~(
        is_known & (fill_nan(slope, 0.0) > limit("pressure_slope_sound") * expected)
    )
    # Water that the relief valve let out does not repair it either, though the pressure is lower and
    # follows less from then on.
    gas = _gas(context)
    sound &= ~(gas < limit("pressure_mended") * nan_median(gas[swings]))
    return swings, sound


def _gas(context: Context) -> Floats:
    """Gas in the vessel that each day's slope implies: pressure times volume over the circuit's volume [bar].

    Boyle's law: the slope is (p + 1)^2 times the water's growth, over this. It stays as it is while water
    comes and goes.
    """
    days = context.days
    pressure, loop, slope = days.floats("pressure"), days.floats("loop_c"), days.floats("pressure_per_k")
    per_k = np.full(len(days), np.nan)
    is_known = np.isfinite(pressure) & np.isfinite(loop) & (slope > 0.0)
    per_k[is_known] = expansion(loop[is_known] - 0.5, loop[is_known] + 0.5)
    return np.asarray((pressure + ATMOSPHERE_BAR) ** 2 * per_k / np.where(slope > 0.0, slope, np.nan))


def _slopes(context: Context) -> Floats:
    """Steepest healthy slope by day [bar/K]; nan where pressure or water temperature is unknown."""
    days = context.days
    pressure, loop = days.floats("pressure"), days.floats("loop_c")
    out = np.full(len(days), np.nan)
    pump = context.site.heat_pump
    for i in np.flatnonzero(np.isfinite(pressure) & np.isfinite(loop)):
        model = _slope(
            round(float(pressure[i]), 1),
            round(float(loop[i])),
            _hottest(context),
            fluid=pump.antifreeze,
            percent=min(pump.antifreeze_percent, 50.0) if pump.antifreeze != "none" else 0.0,
        )
        out[i] = model.value
    return out


@lru_cache(maxsize=4096)
def _slope(pressure_bar: float, loop_c: float, hottest_c: float, *, fluid: str, percent: float) -> Expected:
    """slope_expected, remembered: days are much alike."""
    return slope_expected(pressure_bar, loop_c, hottest_c, fluid=fluid, percent=percent)


def _hottest(context: Context) -> float:
    """Highest mean water temperature of the design [°C]: by the curve or while charging the cylinder."""
    site = context.site
    candidates = [50.0]
    if site.heating_curve is not None:
        candidates.append(max(flow for _, flow in site.heating_curve.points))
    if site.hot_water is not None:
        candidates.append(site.hot_water.setpoint_c + 5.0)
    return max(candidates)


_PRESSURE = frozenset({"system_pressure"})
RULES = (
    Rule("pressure_high", pressure_high, (Need(("system_pressure",), 1440.0, 3),), _PRESSURE),
    Rule("pressure_swings", pressure_swings, (Need(("system_pressure",), 15.0, 3),), _PRESSURE),
)
