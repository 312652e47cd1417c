"""Is the circuit losing water, is its pressure low or high, does its expansion vessel still take up the
water?"""

from __future__ import annotations

from datetime import timedelta
from functools import lru_cache

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.excess import Excess, Expected, excess
from fieldfare.analysis.expectation.pressure import RELIEF_BAR, slope_expected
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats, confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.cycling.common import (
    graded,
    nan_median,
    ranked,
    water_caution,
)
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.flow.pressure_trend import FEWEST_DAYS, Drift, drift
from fieldfare.analysis.findings.hot_water.common import circuit_context, passed
from fieldfare.analysis.findings.model import (
    Cause,
    Evidence,
    Finding,
    Severity,
)

# Air leaves a new circuit for some weeks, and its pressure with it (common practice).
_SETTLING = timedelta(days=28)
_EMPTY_BAR = 0.05
_GAUGE_BAR = 0.1  # standard uncertainty of a dwelling's pressure sensor or gauge (common practice)
_VESSEL_CAUTION = (
    "The relief valve discharges hot water without warning: keep clear of its outlet and never plug it."
    " Vessel, relief valve and filling loop are for people qualified for heating work, by the maker's"
    " instructions and local codes."
)


def pressure_falling(context: Context) -> Finding | None:
    context = context.once(circuit_context)
    days, limit = context.days, context.limit
    pressure = _pressure(context, FEWEST_DAYS)
    known = np.isfinite(pressure)
    fall = _drift(context, -1, limit("pressure_fall_note"), limit("pressure_fallen_bar"))
    if fall is None:
        return None
    loss, fallen = -fall.slope, -fall.change
    ongoing = _ongoing(fall, pressure)
    now = float(np.median(pressure[known][-3:]))
    severity = _fall_severity(context, fall, now, ongoing=ongoing)
    if severity is None:
        return None
    real = Excess(loss, max(fall.error, 0.1 * limit("pressure_fall_note")))
    topped = f", though it was topped up {fall.refills_within} times" if fall.refills_within > 1 else ""
    return Finding(
        "pressure_falling",
        severity,
        days.day(fall.first).isoformat(),
        _confidence(real.probability_above(limit("pressure_fall_note") / 2.0)),
        f"The heating circuit loses {loss:.2f} bar a week, {fallen:.1f} bar so"
        f" far{topped}.{_ahead(context, now, loss) if ongoing else ''}",
        evidence=(
            passed(
                context,
                "fall of pressure at like water temperature",
                round(loss, 3),
                "bar/week",
                "pressure_fall_watch",
            ),
            Evidence("its standard uncertainty", round(fall.error, 4), "bar/week"),
            passed(
                context, "fallen in all, refills taken off", round(fallen, 2), "bar", "pressure_fallen_bar"
            ),
            passed(context, "pressure now", round(now, 2), "bar", "pressure_low_watch"),
            *_days_left(context, now, loss),
            Evidence("refills seen", fall.refills, ""),
        ),
        until=None if ongoing else days.day(fall.last).isoformat(),
        next_step=(
            "Ask the householder to look for drips at radiators, valves and the relief valve's outlet, and"
            " how often it is topped up. Then visit: relief valve, expansion vessel's charge (with the"
            " circuit empty of pressure), joints, the coil of the cylinder; find the leak, then top up with"
            " the right water or mixture."
        ),
        caution=water_caution(context.site),
        home=(
            ""
            if severity == "note"
            else (
                "The heating circuit is slowly losing water. Please look for damp spots at radiators and"
                " pipes and tell your installer; the heating goes on working for now."
            )
        ),
        visit="drive" if severity != "note" else "none",
        bring=("vessel pump and gauge", "relief valve", "leak detector") if severity != "note" else (),
    )


def _pressure(context: Context, fewest: int) -> Floats:
    """The days' pressures. Raises NotAssessed where there are too few, or the sensor shows nothing at all."""
    pressure = context.days.floats("pressure")
    known = np.isfinite(pressure)
    if known.sum() < fewest:
        raise NotAssessed(f"needs system_pressure on at least {fewest} days", "too_few_days")
    if float(np.max(pressure[known])) < _EMPTY_BAR and float(np.ptp(pressure[known])) < 0.02:
        raise NotAssessed(
            "system_pressure reads nothing on every day: the sensor, not the circuit", "distrusted"
        )
    return pressure


def _drift(context: Context, sign: int, least: float, least_change: float) -> Drift | None:
    days = context.days
    return drift(
        days["day"],
        np.where(_cools(context), np.nan, days.floats("pressure")),
        days.floats("loop_c"),
        days.floats("pressure_topped"),
        sign=sign,
        refill_bar=context.limit("pressure_refill_bar"),
        empty_bar=_EMPTY_BAR,
        least=least,
        least_change=least_change,
    )


def _cools(context: Context) -> Flags:
    """Days with cooling: the water swings by 20 K and more between cooling and hot water, and its mean tells
    little."""
    return np.asarray(context.days.floats("n_cooling") > 0.0, dtype=np.bool_)


def _ongoing(fall: Drift, pressure: Floats) -> bool:
    """A circuit that has run empty can fall no further: that has not ended."""
    last = int(np.flatnonzero(np.isfinite(pressure))[-1])
    after = pressure[fall.last + 1 :]
    return fall.last >= last - 6 or float(np.nanmax(after)) < 2.0 * _EMPTY_BAR


def _fall_severity(context: Context, fall: Drift, now: float, *, ongoing: bool) -> Severity | None:
    limit = context.limit
    loss, fallen = -fall.slope, -fall.change
    severity = graded(loss, limit("pressure_fall_watch"), limit("pressure_fall_act"))
    if severity == "note" and fallen >= limit("pressure_fallen_watch"):
        severity = "watch"
    if severity == "note" and fall.refills_within >= limit("pressure_refills_watch"):
        severity = "watch"
    if severity == "watch" and now < limit("pressure_low_act"):
        severity = "act"
    handed = context.site.site.handed_over
    settling = handed is not None and context.days.day(fall.first) < handed + _SETTLING
    if not ongoing or (settling and fallen < limit("pressure_settling_bar")):
        severity = "note"
    return severity


def _ahead(context: Context, now: float, loss: float) -> str:
    lowest = context.limit("pressure_low_act")
    weeks = (now - lowest) / loss if loss > 0 else np.inf
    if weeks <= 0:
        return f" It is below {lowest:g} bar."
    if weeks < 1.5:
        return f" It is at {lowest:g} bar now or within days."
    return f" At this rate it reaches {lowest:g} bar in {weeks:.0f} weeks." if weeks < 30 else ""


def _confidence(probability: float) -> float:
    return float(np.clip(probability, 0.5, 0.99))


def pressure_low(context: Context) -> Finding | None:
    context = context.once(circuit_context)
    days, limit = context.days, context.limit
    pressure = _pressure(context, 3)
    known = np.isfinite(pressure)
    watch, act = limit("pressure_low_watch"), limit("pressure_low_act")
    so = fill_nan(pressure, 9.0) < watch
    spell = latest_episode(days["day"], so, known, hold_days=3, gone_days=7)
    if spell is None:
        return None
    inside = so & spell.covers(days["day"])
    level = float(np.median(pressure[inside][-14:]))
    vessel = context.once(_vessel_fails)
    severity: Severity = graded(level, watch, act, downward=True) if spell.until is None else "note"
    return Finding(
        "pressure_low",
        severity,
        _low_since(context, spell),
        _confidence(Excess(watch - level, _GAUGE_BAR).probability),
        f"The heating circuit stands at {level:.1f} bar.",
        evidence=(
            passed(context, "pressure of the circuit", round(level, 2), "bar", "pressure_low_watch"),
            passed(
                context,
                "lowest",
                round(float(np.nanmin(days.floats("pressure_min")[inside])), 2),
                "bar",
                "pressure_low_act",
            ),
            Evidence("days with it", int(inside.sum()), "days"),
        ),
        until=spell.until,
        next_step=(
            "Have the expansion vessel put right first, see pressure_swings: topped up before, the circuit"
            " opens its relief valve when it warms. Then set the marked cold pressure."
            if vessel
            else (
                "Have the circuit topped up to its marked cold pressure (usually 1 to 1.5 bar); the"
                " householder may do it if shown how. Watch whether it falls again: see pressure_falling."
                " Check the expansion vessel's charge at the next visit."
            )
        ),
        caution=water_caution(context.site),
        home=(
            ""
            if severity == "note"
            else (
                "The water pressure in the heating is low while it is cool and high while it is hot. Please"
                " do not top it up; call your installer. Until then the heating may stop."
                if vessel
                else (
                    "The water pressure in the heating is low. If you were shown how to top it up, bring the"
                    " needle to the mark; otherwise call your installer. Until then the heating may stop."
                )
            )
        ),
        visit="none" if severity == "note" else "call" if severity == "watch" else "drive",
        bring=("filling hose", "vessel pump and gauge") if severity == "act" else (),
    )


def _vessel_fails(context: Context) -> bool:
    """True where the pressure swings as it does with an empty vessel: topping up would then do harm."""
    try:
        found = pressure_swings(context)
    except NotAssessed:
        return False
    return found is not None and found.severity != "note"


def _low_since(context: Context, spell: Episode) -> str:
    """Where a slow fall brought the pressure down, the day on which the fall began, not on which it passed
    the limit."""
    limit = context.limit
    fall = _drift(context, -1, limit("pressure_fall_note"), limit("pressure_fallen_bar"))
    if fall is None or context.days.day(fall.last).isoformat() < spell.since:
        return spell.since
    return min(spell.since, context.days.day(fall.first).isoformat())


def pressure_high(context: Context) -> Finding | None:
    """Close to the relief valve, or on its way there."""
    context = context.once(circuit_context)
    days, limit = context.days, context.limit
    level = (
        fill_nan(days["pressure_max"], days["pressure"]) if "pressure_max" in days else _pressure(context, 3)
    )
    _pressure(context, 3)
    known = np.isfinite(level)
    watch, act = limit("pressure_high_watch"), limit("pressure_high_act")
    spell = latest_episode(days["day"], fill_nan(level, 0.0) > watch, known, hold_days=2, gone_days=7)
    rise = _drift(context, +1, limit("pressure_rise_watch"), limit("pressure_risen_bar"))
    if rise is not None and rise.last < int(np.flatnonzero(known)[-1]) - 6:
        rise = None
    if spell is None and (rise is None or nan_median(level[-14:]) < limit("pressure_rise_from")):
        return None
    inside = (
        known & spell.covers(days["day"]) if spell else known & (np.arange(len(known)) >= len(known) - 14)
    )
    hottest = float(np.quantile(level[inside], 0.9))
    coldest = nan_median(days.floats("pressure_min")[inside])
    severity: Severity = "watch" if hottest < act else "act"
    if spell is not None and spell.until is not None:
        severity = "note"
    causes = _high_causes(context, coldest, hottest, rise)
    since = spell.since if spell else ""
    if rise is not None:
        since = min(filter(None, (since, days.day(rise.first).isoformat())))
    filling = causes[0].cause == "filling_loop_open"
    rising = f" It rises by {rise.slope:.2f} bar a week." if rise is not None else ""
    return Finding(
        "pressure_high",
        severity,
        since,
        _confidence(_high_probability(hottest - watch, rise)),
        f"The heating circuit reaches {hottest:.1f} bar; its relief valve usually opens at {RELIEF_BAR:g}"
        f" bar.{rising}",
        evidence=(
            passed(context, "highest pressure of a day", round(hottest, 2), "bar", "pressure_high_watch"),
            Evidence("lowest of the same days", round(coldest, 2), "bar"),
            passed(
                context,
                "rise at like water temperature",
                0.0 if rise is None else round(rise.slope, 3),
                "bar/week",
                "pressure_rise_watch",
            ),
            Evidence("days with it", int(inside.sum()), "days"),
        ),
        causes=causes,
        until=spell.until if spell else None,
        next_step=(
            "Ask at once whether the filling loop is shut at both ends, and have its hose taken off. If the"
            " pressure still rises, water comes in through the cylinder's coil or a plate exchanger: visit."
            " Let down to the marked cold pressure and see that the relief valve closes."
            if filling
            else (
                "Visit: check the expansion vessel's gas charge with the circuit empty of pressure, recharge"
                " or replace it, set the cold pressure, and see that the relief valve closes. Until then the"
                " circuit may lose water at each hot spell."
            )
        ),
        caution=f"{_VESSEL_CAUTION} {water_caution(context.site)}",
        home=(
            ""
            if severity == "note"
            else (
                "The water pressure in the heating is too high. Please see that the filling tap is shut if"
                " you were shown where it is, keep away from the outlet of the safety valve, and ring your"
                " installer."
            )
        ),
        visit="none" if severity == "note" else "call" if filling and severity == "watch" else "drive",
        bring=() if severity == "note" else ("vessel pump and gauge", "expansion vessel", "relief valve"),
    )


def _high_probability(over: float, rise: Drift | None) -> float:
    """Probability that the level is over its limit, or that it truly rises, whichever is the surer."""
    level = Excess(over, _GAUGE_BAR).probability
    if rise is None:
        return level
    return max(level, Excess(rise.slope, max(rise.error, 0.1 * rise.slope)).probability)


def _days_left(context: Context, now: float, loss: float) -> tuple[Evidence, ...]:
    """How long the circuit lasts at this rate, in bar a week."""
    if loss <= 0.0:
        return ()
    left = max(now - context.limit("pressure_low_act"), 0.0) / loss * 7.0
    return (
        passed(
            context, "time until the unit locks out at this rate", round(left), "days", "pressure_days_left"
        ),
    )


def _high_causes(context: Context, coldest: float, hottest: float, rise: Drift | None) -> tuple[Cause, ...]:
    """An empty vessel is high only while the water is hot; an open filling loop lifts the cold pressure
    too."""
    swing, usual = hottest - coldest, context.limit("pressure_swing_watch")
    vessel = 3.0 * (swing - usual)
    filling = 4.0 * (coldest - context.limit("pressure_rise_from")) + (2.0 if rise is not None else 0.0)
    odds = 1.0 / (1.0 + float(np.exp(np.clip(vessel - filling, -6.0, 6.0))))
    told = f"it moves between {coldest:.1f} and {hottest:.1f} bar in a day"
    if rise is not None:
        told += f" and rises by {rise.slope:.2f} bar a week at like water temperature"
    return ranked({"filling_loop_open": (odds, told), "vessel_empty": (1.0 - odds, told)})


def pressure_swings(context: Context) -> Finding | None:
    """Does the pressure follow the water's temperature more than a vessel that works lets it?"""
    context = context.once(circuit_context)
    days, limit = context.days, context.limit
    _pressure(context, 3)
    if "pressure_swing" not in days:
        raise NotAssessed("needs system_pressure every 15 minutes or closer", "spacing_too_wide")
    swing, slope = days.floats("pressure_swing"), days.floats("pressure_per_k")
    follows = fill_nan(days.floats("pressure_follows"), 0.0) >= limit("pressure_follows")
    wide = fill_nan(swing, 0.0) >= limit("pressure_swing_watch")
    expected = _slopes(context)
    steep = fill_nan(slope, 0.0) > limit("pressure_slope_over") * expected
    if not (np.isfinite(slope).sum() >= 3 or wide.any()):
        raise NotAssessed(
            "needs flow_temperature and return_temperature beside system_pressure on at least 3 days",
            "missing_quantity",
        )
    told = np.isfinite(slope) & np.isfinite(expected)
    # Without the water's temperature only a swing that no sound vessel leaves tells.
    far = fill_nan(swing, 0.0) >= limit("pressure_swing_act")
    near_relief = far & (fill_nan(days.floats("pressure_max"), 0.0) >= limit("pressure_high_watch"))
    so = np.where(told, follows & ((steep & wide) | near_relief), far)
    # A vessel does not mend itself: only days on which the pressure follows as a sound one lets it show that
    # it was mended.
    sound = np.isfinite(swing) & ~(told & (fill_nan(slope, 0.0) > limit("pressure_slope_sound") * expected))
    spell = latest_episode(days["day"], so, so | sound, hold_days=3, gone_days=7)
    if spell is None or spell.share < 0.3:
        return None
    inside = so & spell.covers(days["day"])
    amount, top, rate = (
        nan_median(swing[inside]),
        nan_median(days.floats("pressure_max")[inside]),
        nan_median(slope[inside]),
    )
    usual = nan_median(expected[inside])
    severity: Severity = "watch"
    low = nan_median(days.floats("pressure_min")[inside])
    if (
        top >= limit("pressure_high_watch")
        or amount >= limit("pressure_swing_act")
        or low < limit("pressure_low_act")
    ):
        severity = "act"
    if spell.until is not None:
        severity = "note"
    told_by = (
        f", {rate / usual:.1f} times as far as a vessel of the least size lets it"
        if np.isfinite(rate / usual)
        else ""
    )
    confidence = confidence_of(1.0 + amount / limit("pressure_swing_act"), float(inside.sum()), spell.share)
    if np.isfinite(rate) and np.isfinite(usual):
        model = slope_expected(
            nan_median(days.floats("pressure")[inside]),
            nan_median(days.floats("loop_c")[inside]),
            _hottest(context),
        )
        spread = 1.4826 * nan_median(np.abs(slope[inside] - rate)) / np.sqrt(max(int(inside.sum()), 1))
        confidence = _confidence(excess(rate, spread, model).probability)
    return Finding(
        "pressure_swings",
        severity,
        spell.since,
        confidence,
        f"The circuit's pressure swings by {amount:.1f} bar with the water's temperature{told_by}.",
        evidence=(
            passed(context, "swing of a day", round(amount, 2), "bar", "pressure_swing_watch"),
            passed(
                context,
                "slope on the water's temperature",
                None if not np.isfinite(rate) else round(rate, 3),
                "bar/K",
                "pressure_slope_over",
                None if not np.isfinite(usual) else round(limit("pressure_slope_over") * usual, 3),
            ),
            passed(
                context,
                "how closely it follows",
                round(nan_median(days.floats("pressure_follows")[inside]), 2),
                "-",
                "pressure_follows",
            ),
            passed(context, "highest pressure of a day", round(top, 2), "bar", "pressure_high_watch"),
            Evidence("days with it", int(inside.sum()), "days"),
        ),
        causes=ranked(
            {
                "vessel_empty": (
                    1.0,
                    (
                        f"the water's warming alone moves the pressure by {amount:.1f} bar: the vessel takes"
                        " up little or nothing"
                    ),
                )
            }
        ),
        until=spell.until,
        next_step=(
            "Visit: press the vessel's gas valve (water there means a split membrane), check its charge with"
            " the circuit empty of pressure, recharge or replace it, and see that the relief valve closes."
            " Compare the vessel's size with the circuit's water content."
        ),
        caution=f"{_VESSEL_CAUTION} {water_caution(context.site)}",
        home=(
            ""
            if severity == "note"
            else (
                "The pressure in the heating goes up and down more than it should. The heating goes on"
                " working; keep away from the outlet of the safety valve, and your installer will see to it."
            )
        ),
        visit="none" if severity == "note" else "drive",
        bring=() if severity == "note" else ("vessel pump and gauge", "expansion vessel", "relief valve"),
    )


def _slopes(context: Context) -> Floats:
    """The steepest healthy slope on each day [bar/K]; nan where pressure or water temperature is not
    known."""
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
    """The hottest mean water the circuit is meant for [°C]: by the curve, or while it charges the
    cylinder."""
    site = context.site
    asked = [50.0]
    if site.heating_curve is not None:
        asked.append(max(flow for _, flow in site.heating_curve.points))
    if site.hot_water is not None:
        asked.append(site.hot_water.setpoint_c + 5.0)
    return max(asked)


_PRESSURE = frozenset({"system_pressure"})
RULES = (
    Rule("pressure_falling", pressure_falling, (Need(("system_pressure",), 1440.0, FEWEST_DAYS),), _PRESSURE),
    Rule("pressure_low", pressure_low, (Need(("system_pressure",), 1440.0, 3),), _PRESSURE),
    Rule("pressure_high", pressure_high, (Need(("system_pressure",), 1440.0, 3),), _PRESSURE),
    Rule("pressure_swings", pressure_swings, (Need(("system_pressure",), 15.0, 3),), _PRESSURE),
)
