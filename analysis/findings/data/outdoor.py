"""An outdoor sensor that reads too warm because of sun or a warm wall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.hypotheses import Spread
from fieldfare.analysis.expectation.outdoor_offset import offset_chance, without_rooms
from fieldfare.analysis.facts.daylight import OFF_NOON_SHARE
from fieldfare.analysis.facts.table import Table, day_of_year, fill_nan
from fieldfare.analysis.figures.estimate import robust_fit
from fieldfare.analysis.findings.confidence import confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.data.clocks import clock_by_air
from fieldfare.analysis.findings.data.indoors import sensor_indoors
from fieldfare.analysis.findings.model import Finding, Severity
from fieldfare.analysis.findings.overheated import overheated_c
from fieldfare.analysis.physics.sun import clear_noon, daytime_temperature
from fieldfare.analysis.statistics.distributions import GAUSS_95
from fieldfare.analysis.statistics.moving import moving_mean, moving_median

Floats = NDArray[np.float64]

_MONTH_DAYS = 30
_FEWEST_DAYS = 30
_SUN_NEED = Need(("outdoor_temperature",), 120.0, _FEWEST_DAYS)
_WINDOWS = {"fore": 0.5 - OFF_NOON_SHARE, "noon": 0.5, "aft": 0.5 + OFF_NOON_SHARE}
_SIDES = {"fore": "east", "noon": "south", "aft": "west"}
# An hour after sunset the air has given back about a tenth of the way it stood at at sunset (Parton and Logan
# 1981, night coefficient 2.2 over twelve hours).
_DUSK_SHARE = 0.9
_SUN_STEP = 500.0
# Below this clear noon even a plain wall in the sun adds less than its limit on most days.
_DARK_W_M2 = 300.0


@dataclass(frozen=True)
class _Warmth:
    """Warmth that the air's own course does not explain: of the brightest month [K]; growth per 500 W/m2."""

    side: str
    monthly: float
    slope: float
    error: float
    season: float


def outdoor_sensor_biased(context: Context) -> Finding | None:
    """Too warm throughout by what house and curve say; or by day alone, the more so the higher the sun."""
    if (found := sensor_indoors(context) or _offset(context)) is not None:
        return found
    _SUN_NEED.require(context)
    days = context.all_days.days
    latitude = context.site.latitude
    if latitude is None or context.site.longitude is None:
        raise NotAssessed("needs latitude and longitude in the site file", "missing_in_site_file")
    if np.isfinite(days.floats("air_noon") - days.floats("air_dusk")).sum() < _FEWEST_DAYS:
        raise NotAssessed(
            f"needs {_FEWEST_DAYS} days of outdoor temperature every two hours or closer", "too_few_days"
        )
    if clock_by_air(context)[0] is not None:
        raise NotAssessed("the readings' clock does not match the sun: see clock_offset", "distrusted")
    warmth = _warmth(context, latitude)
    # Controls that average the weather see a sunny day cooler too, where heating is mostly by day. The air's
    # own course then shows no warmth.
    by_controls = _against_controls(context) if not -np.inf < warmth.monthly <= 0.0 else None
    by_sun = (
        warmth.monthly >= context.limit("outdoor_sun_k")
        and warmth.slope >= context.limit("outdoor_sun_slope_k")
        and warmth.slope > 2.0 * warmth.error
    )
    plainly = warmth.monthly >= context.limit("outdoor_sun_plain_k")
    if not (by_sun or plainly or by_controls is not None):
        if warmth.season < _DARK_W_M2 and warmth.monthly < context.limit("outdoor_sun_k"):
            raise NotAssessed(
                "the sun was too low in this period to show whether it reaches the outdoor sensor",
                "other_weather",
            )
        return None
    return _finding(context, warmth, by_sun or plainly, by_controls)


def _offset(context: Context) -> Finding | None:
    """A sensor that reads too warm day and night, shown by two independent comparisons.

    A house has free heat from people, appliances and sun, so it needs none of the plant's while it is a few
    kelvin colder outdoors than in the rooms; and the controls, which have a sensor of their own, make water
    for air that is colder by the same amount. Either alone has other causes; a curve set high leaves the
    house's balance as it is.
    """
    loss, curve, days = context.figures.heat_loss, context.figures.curve, context.days
    base, designed = loss.base_temperature_c, curve.designed_slope
    room = days.where(days["minutes_heating"] >= 60).mean("room")
    above = _above_for_rooms_as_wanted(context)
    if base is None or not above.mean or designed is None or not np.isfinite(room):
        return None
    if overheated_c(context) is not None:
        return None  # where heating ends is then a setting, not the house's balance
    free, shift = room - base, above.mean / max(-designed, 0.1)
    usual = context.limit("outdoor_offset_usual_free_k")
    if free > context.limit("outdoor_offset_free_k") or shift < context.limit("outdoor_offset_curve_k"):
        return None
    excess = (usual - free + shift) / 2.0
    real = offset_chance(
        Spread(free, _free_doubt(context, free)),
        Spread(shift, above.sd / max(-designed, 0.1)),
        usual,
    )
    if real < context.limit("finding_chance"):
        return None
    return Finding(
        "outdoor_sensor_biased",
        "act" if excess >= context.limit("outdoor_sun_act_k") else "watch",
        days.day(0).isoformat(),
        min(real, context.limit("surest")),
        (
            f"The outdoor sensor seems to read about {excess:.0f} K too warm, day and night: heating"
            f" starts at {base:.0f} °C outdoors for rooms at {room:.0f} °C, and the flow temperature is"
            f" set as if it were {shift:.0f} K colder."
        ),
        (
            context.evidence(
                "rooms above the outdoor reading at which no heat is needed",
                round(free, 1),
                "K",
                "outdoor_offset_free_k",
            ),
            context.evidence(
                "flow above the designed curve, as kelvin outdoors",
                round(shift, 1),
                "K",
                "outdoor_offset_curve_k",
            ),
        ),
        next_step=(
            "Compare the sensor with a thermometer beside it in the shade; check whether it is near a"
            " window, a flue or the unit's air stream, or is the wrong type for its input. If it is"
            " right, check the room sensor and the curve's offset."
        ),
        caution=(
            "Work on a ladder by the local rules; the sensor's cable is low voltage, but switch the unit's"
            " controls off first."
        ),
        visit="drive",
        bring=("outdoor sensor with a shaded case", "thermometer"),
    )


def _above_for_rooms_as_wanted(context: Context) -> Spread:
    """Flow above the designed curve that cold rooms don't explain [K]; 0 where it is not known.

    Controls with a room sensor raise the flow by so much for each kelvin below the wanted temperature, which
    has nothing to do with the weather. What they ask for shows it best.
    """
    above, days = context.figures.curve.above_design_k, context.days
    if not above or not above.value:
        return Spread(0.0, 0.0)
    lacking = _deficit(days)
    heated = np.isfinite(lacking + days.floats("outdoor")) & (days.floats("minutes_heating") >= 60)
    for name in ("target_above_curve", "above_curve"):
        flow = days.floats(name)
        known = heated & np.isfinite(flow)
        if known.sum() >= _FEWEST_DAYS:
            return without_rooms(flow[known], lacking[known], days.floats("outdoor")[known])
    return Spread(above.value, above.half / GAUSS_95)


def _deficit(days: Table) -> Floats:
    """Wanted less measured room temperature, mean of the zones that have both [K]; nan where none has."""
    zones = [days.floats(name) for name in days.names if name.startswith("deficit.")]
    known = [np.isfinite(zone) for zone in zones]
    count = np.sum(known, axis=0) if zones else np.zeros(len(days))
    total = np.sum([fill_nan(zone, 0.0) for zone in zones], axis=0) if zones else np.zeros(len(days))
    return np.divide(total, count, out=np.full(len(days), np.nan), where=count > 0)


def _free_doubt(context: Context, free: float) -> float:
    """Standard uncertainty of the rooms' excess at which no heat is needed [K].

    It is where the line of heat over difference meets zero: the slope's own uncertainty, carried from the
    days' mean difference down to there.
    """
    loss, days = context.figures.heat_loss.coefficient, context.days
    heated = days.where(days["minutes_heating"] >= 60)
    mean = heated.mean("room") - heated.mean("outdoor")
    return float(abs(mean - free) * loss.half / GAUSS_95 / loss.value) if loss.value else float("inf")


def _finding(context: Context, warmth: _Warmth, by_sun: bool, by_controls: float | None) -> Finding:
    days = context.all_days.days
    excess = max(warmth.monthly, by_controls or 0.0)
    act = context.limit("outdoor_sun_act_k")
    severity: Severity = "act" if excess >= act else "watch"
    over = (
        warmth.monthly / context.limit("outdoor_sun_k")
        if by_sun
        else (by_controls or 0.0) / context.limit("outdoor_against_controls_k")
    )
    evidence = [
        context.evidence(
            "excess temperature at noon, sunniest month",
            round(warmth.monthly, 1),
            "K",
            "outdoor_sun_k",
        ),
        context.evidence(
            "its increase per 500 W/m2 of sunshine", round(warmth.slope, 1), "K", "outdoor_sun_slope_k"
        ),
    ]
    if by_controls is not None:
        difference = round(by_controls, 1)
        evidence.append(
            context.evidence(
                "sunny days: reading above the controls' own sensor",
                difference,
                "K",
                "outdoor_against_controls_k",
            )
        )
    return Finding(
        "outdoor_sensor_biased",
        severity,
        days.day(0).isoformat(),
        confidence_of(over, _MONTH_DAYS) * (1.0 if by_sun and by_controls is not None else 0.92),
        (f"The outdoor sensor reads about {excess:.0f} K too warm on sunny days: it is exposed to the sun."),
        tuple(evidence),
        next_step=(
            "Move the sensor to a shaded wall (north, 2 m up, away from flues, windows and the unit's"
            f" own air), or shade it; the sun reaches it most from the {_SIDES[warmth.side]}. If the"
            " sun does not reach it, check whether the clock is an hour or two early. Until then,"
            " figures based on outdoor temperature are biased by day."
        ),
        caution=(
            "Work on a ladder by the local rules; the sensor's cable is low voltage, but switch the unit's"
            " controls off first."
        ),
        visit="drive",
        bring=("outdoor sensor with a shaded case", "cable clips"),
    )


def _warmth(context: Context, latitude: float) -> _Warmth:
    """At the time of day at which the air rose most beyond its own course."""
    days = context.all_days.days
    excess = {side: _excess(days, side) for side in _WINDOWS}
    monthly = {
        side: fill_nan(moving_mean(rise, _MONTH_DAYS, 20, centred=False), -np.inf)
        for side, rise in excess.items()
    }
    side = max(monthly, key=lambda s: float(monthly[s].max()))
    sun = np.asarray(clear_noon(day_of_year(days["day"]), latitude))
    known = np.isfinite(excess[side])
    if np.isneginf(monthly[side]).all():
        return _Warmth(side, -np.inf, 0.0, 1.0, float(np.max(sun)))
    x = np.column_stack((np.ones(known.sum()), sun[known] / _SUN_STEP))
    slope, error = 0.0, 1.0
    if known.sum() >= 60 and float(np.ptp(x[:, 1])) > 0.4:
        fit = robust_fit(x, excess[side][known], lags=5, tuning=2.5)
        slope, error = fit.combination(np.array([0.0, 1.0]))
    return _Warmth(side, float(monthly[side].max()), slope, error, float(np.max(sun[known])))


def _excess(days: Table, side: str) -> Floats:
    """Excess temperature at a time of day over a line through two sunless times [K]."""
    hours = days.floats("day_hours")
    dawn, dusk, mid = (days.floats(f"air_{n}") for n in ("dawn", "dusk", side))
    at_window = daytime_temperature(_WINDOWS[side], hours)
    at_dusk = _DUSK_SHARE * daytime_temperature(1.0, hours)
    return np.asarray(mid - dawn - (dusk - dawn) * at_window / at_dusk)


def _against_controls(context: Context) -> float | None:
    """Reading minus the controls' outdoor sensor, sunny minus dull days [K]; None if not measured.

    The controls' view is read back from the flow they ask for by the designed curve. A controller that lets a
    sunny room lower the flow makes this smaller.
    """
    curve = context.site.heating_curve
    days = context.all_days.days
    target_excess = days.floats("target_above_curve")
    swing = days.floats("air_noon") - days.floats("air_dawn")
    known = np.isfinite(target_excess) & np.isfinite(swing) & (days.floats("minutes_heating") > 240.0)
    if curve is None or len(curve.points) < 2 or known.sum() < 40:
        return None
    (cold, hot_flow), (warm, cool_flow) = curve.points[0], curve.points[-1]
    steepness = (hot_flow - cool_flow) / (warm - cold)
    if steepness < 0.2:
        return None
    view = np.where(known, target_excess / steepness, np.nan)
    span = np.where(known, swing, np.nan)
    y = view - moving_median(view, _MONTH_DAYS, 10)
    x = span - moving_median(span, _MONTH_DAYS, 10)
    both = np.isfinite(x) & np.isfinite(y)
    if both.sum() < 40 or float(np.std(x[both])) < 0.8:
        return None
    fit = robust_fit(np.column_stack((np.ones(both.sum()), x[both])), y[both], lags=5)
    slope, error = fit.combination(np.array([0.0, 1.0]))
    bright = float(np.quantile(swing[known], 0.95) - np.quantile(swing[known], 0.1))
    excess = slope * bright
    return excess if excess >= context.limit("outdoor_against_controls_k") and slope > 4.0 * error else None


OUTDOOR_RULES: tuple[Rule, ...] = (
    Rule(
        "outdoor_sensor_biased",
        outdoor_sensor_biased,
        (Need(("outdoor_temperature",), 120.0),),
        frozenset({"outdoor_temperature"}),
        lambda context, finding: frozenset({"outdoor_temperature"}),
    ),
)
