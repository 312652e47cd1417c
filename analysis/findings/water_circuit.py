"""Is the circuit losing water, and can the unit freeze?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise

import numpy as np

from analysis.errors import NotAssessed
from analysis.facts.table import first_known
from analysis.figures.estimate import robust_fit, robust_spreads
from analysis.findings.context import Context, Need, Rule
from analysis.findings.model import Cause, Evidence, Finding, Severity
from analysis.findings.operation_common import MAINS_CAUTION, graded, ranked, water_caution
from analysis.findings.spells import last_spell
from analysis.findings.telling import Flags, Floats, sure
from analysis.medians import running_median
from analysis.physics.water import freezing_point

_REFILL_BAR = 0.12
_FEWEST_DAYS = 10
_SETTLING = timedelta(
    days=28
)  # air leaves a new circuit for some weeks, and its pressure with it (common practice)
_EMPTY_BAR = 0.05
# A slope of a level line, in bar/week, is rounding: no gauge shows a millionth.
_LEVEL = 1e-6


@dataclass(frozen=True)
class _Fall:
    """A fall of pressure: slope [bar/week] with its error, from which row on, how much in all [bar], refills seen"""

    slope: float
    error: float
    first: int
    last: int
    fallen: float
    refills: int


def pressure_falling(context: Context) -> Finding | None:
    days, limit = context.days, context.limit
    pressure = days.floats("pressure")
    known = np.isfinite(pressure)
    if known.sum() < _FEWEST_DAYS:
        raise NotAssessed(f"needs system_pressure on at least {_FEWEST_DAYS} days")
    _alive(pressure[known])
    fall = _fall(days["day"], pressure, days.floats("loop_c"))
    if fall is None:
        return None
    loss, least = -fall.slope, limit("pressure_fall_note")
    if loss - 2.0 * fall.error < 0.3 * least or loss < least or fall.fallen < limit("pressure_fallen_bar"):
        return None
    # A circuit that has run empty can fall no further: that has not ended.
    ongoing = (
        fall.last >= int(np.flatnonzero(known)[-1]) - 6
        or float(np.nanmax(pressure[fall.last + 1 :])) < 2.0 * _EMPTY_BAR
    )
    now = float(np.median(pressure[known][-3:]))
    severity = graded(loss, limit("pressure_fall_watch"), limit("pressure_fall_act"))
    if severity == "note" and fall.fallen >= 0.4:
        severity = "watch"
    if severity == "watch" and now < limit("pressure_low_act"):
        severity = "act"
    handed = context.site.site.handed_over
    settling = handed is not None and days.day(fall.first) < handed + _SETTLING
    if not ongoing or (settling and fall.fallen < 0.3):
        severity = "note"
    weeks = (now - limit("pressure_low_act")) / loss if loss > 0 else np.inf
    lowest = f"{limit('pressure_low_act'):g} bar"
    ahead = ""
    if ongoing and weeks < 1.5:
        ahead = f" It is at {lowest} now or within days." if weeks > 0 else f" It is below {lowest}."
    elif ongoing and weeks < 30:
        ahead = f" At this rate it reaches {lowest} in {weeks:.0f} weeks."
    return Finding(
        "pressure_falling", severity, days.day(fall.first).isoformat(),
        float(np.clip(1.0 - np.exp(-loss / max(2.0 * fall.error, 0.1 * least)), 0.5, 0.99)),
        f"The heating circuit loses {loss:.2f} bar a week, {fall.fallen:.1f} bar so far.{ahead}",
        evidence=(
            context.evidence("fall of pressure at like water temperature", round(loss, 3), "bar/week", "pressure_fall_watch"),
            Evidence("its standard uncertainty", round(fall.error, 4), "bar/week"),
            Evidence("fallen in all", round(fall.fallen, 2), "bar"),
            context.evidence("pressure now", round(now, 2), "bar", "pressure_low_watch"),
            Evidence("refills seen", fall.refills, ""),
        ),
        until=None if ongoing else days.day(fall.last).isoformat(),
        next_step=(
            "Ask the householder to look for drips at radiators, valves and the relief valve's outlet, and when it was last topped up. Then visit: relief valve, expansion "
            "vessel's charge (with the circuit empty of pressure), joints, the coil of the cylinder; top up with the right water or mixture and find the leak."
        ),
        caution=water_caution(context.site),
        home="" if severity == "note" else (
            "The heating circuit is slowly losing water. Please look for damp spots at radiators and pipes and tell your installer; the heating goes on working for now."
        ),
        visit="drive" if severity != "note" else "none",
        bring=("vessel pump and gauge", "relief valve", "leak detector") if severity != "note" else (),
    )  # fmt: skip


def _alive(pressure: Floats) -> None:
    """Raises NotAssessed for a sensor that shows nothing at all."""
    if float(np.max(pressure)) < _EMPTY_BAR and float(np.ptp(pressure)) < 0.02:
        raise NotAssessed("system_pressure reads nothing on every day: the sensor, not the circuit")


def _fall(day: np.ndarray, pressure: Floats, loop: Floats) -> _Fall | None:
    """The newest stretch between refills, fitted with a level part and a falling one, water temperature set equal."""
    rows = np.flatnonzero(np.isfinite(pressure) & (pressure > _EMPTY_BAR))
    if len(rows) < _FEWEST_DAYS:
        return None
    value = pressure[rows]
    warm = np.where(
        np.isfinite(loop[rows]),
        loop[rows],
        np.nanmedian(loop[rows]) if np.isfinite(loop[rows]).any() else 0.0,
    )
    number = (day[rows] - day[rows[0]]) / np.timedelta64(1, "D")
    # A refill shows as a level that jumps from the days before to the days after and stays.
    before = np.concatenate((value[:1], running_median(value, 2, 0)[:-1]))
    after = running_median(value, 0, 2)
    rise = after - before - 0.01 * np.maximum(warm - np.roll(warm, 1), 0.0)
    jumps = [
        i
        for i in range(1, len(value))
        if rise[i] > _REFILL_BAR and rise[i] == rise[max(i - 3, 0) : i + 4].max()
    ]
    bounds = [0, *jumps, len(value)]
    spans = [(a, b) for a, b in pairwise(bounds) if b - a >= _FEWEST_DAYS]
    for a, b in spans[::-1]:
        found = _hinge(number[a:b], value[a:b], warm[a:b])
        if found is not None:
            slope, error, start = found
            fallen = -slope * (number[b - 1] - number[a + start]) / 7.0
            return _Fall(slope, error, int(rows[a + start]), int(rows[b - 1]), float(fallen), len(jumps))
    return None


def _hinge(number: Floats, value: Floats, warm: Floats) -> tuple[float, float, int] | None:
    """Level until some day and falling from it: (slope [bar/week], its error, index of that day); None where it does not fall."""
    n, use_warm = len(number), float(warm.std()) > 0.5
    spread: dict[int, float] = {}

    def look(starts: Iterable[int]) -> int:
        if new := [at for at in starts if at not in spread]:
            models = np.stack([_hinge_columns(number, warm, at, use_warm=use_warm) for at in new])
            spread.update(zip(new, robust_spreads(models, value).tolist(), strict=True))
        return min(spread, key=lambda at: (spread[at], at))

    last = n - _FEWEST_DAYS
    if last < 0:
        return None
    wide, near = max(1, n // 15), max(1, n // 60)  # first far apart, then closer about the best
    coarse = look(range(0, last + 1, wide))
    best = look(range(max(coarse - wide, 0), min(coarse + wide, last) + 1, near))
    fit = robust_fit(_hinge_columns(number, warm, best, use_warm=use_warm), value)
    slope, error = float(fit.coefficients[1]), float(np.sqrt(max(fit.covariance[1, 1], 0.0)))
    return (slope, error, best) if slope < -_LEVEL else None


def _hinge_columns(number: Floats, warm: Floats, at: int, *, use_warm: bool) -> Floats:
    columns = [np.ones(len(number)), np.maximum(number - number[at], 0.0) / 7.0]
    if use_warm:
        columns.append(warm - warm.mean())
    return np.column_stack(columns)


def pressure_low(context: Context) -> Finding | None:
    days, limit = context.days, context.limit
    pressure = days.floats("pressure")
    known = np.isfinite(pressure)
    if known.sum() < 3:
        raise NotAssessed("needs system_pressure on at least 3 days")
    _alive(pressure[known])
    watch, act = limit("pressure_low_watch"), limit("pressure_low_act")
    so = first_known(pressure, 9.0) < watch
    spell = last_spell(days["day"], so, known, hold_days=3, gone_days=7)
    if spell is None:
        return None
    inside = so & spell.covers(days["day"])
    level = float(np.median(pressure[inside][-14:]))
    severity: Severity = graded(level, watch, act, downward=True) if spell.until is None else "note"
    return Finding(
        "pressure_low", severity, spell.since, sure(1.0 + (watch - level) / 0.3, float(inside.sum()), spell.share),
        f"The heating circuit stands at {level:.1f} bar.",
        evidence=(
            Evidence("pressure of the circuit", round(level, 2), "bar", watch),
            Evidence("lowest", round(float(np.nanmin(days.floats("pressure_min")[inside])), 2), "bar", act),
            Evidence("days with it", int(inside.sum()), "days"),
        ),
        until=spell.until,
        next_step=(
            "Have the circuit topped up to its marked cold pressure (usually 1 to 1.5 bar); the householder may do it if shown how. Watch whether it falls again: "
            "see pressure_falling. Check the expansion vessel's charge at the next visit."
        ),
        caution=water_caution(context.site),
        home="" if severity == "note" else (
            "The water pressure in the heating is low. If you were shown how to top it up, bring the needle to the mark; otherwise call your installer. Until then the heating may stop."
        ),
        visit="none" if severity == "note" else "call" if severity == "watch" else "drive",
        bring=("filling hose", "vessel pump and gauge") if severity == "act" else (),
    )  # fmt: skip


def frost_risk(context: Context) -> Finding | None:
    # Cold beyond design and days off for work are no excuse here: every day counts.
    days, limit = context.whole.days, context.limit
    outdoor = days.floats("outdoor_min")
    if not np.isfinite(outdoor).any():
        raise NotAssessed("needs outdoor_temperature")
    near, dead = days.floats("n_near_freezing"), days.floats("n_dead_frost")
    cold_water = first_known(near, 0.0) >= limit("frost_minutes")
    no_supply = first_known(dead, 0.0) >= limit("frost_dead_minutes")
    safe_to = _safe_to(context)
    so = (cold_water | no_supply) & (outdoor < safe_to)
    hits = np.flatnonzero(so)
    if not len(hits):
        return None
    first, last = _last_cluster(hits)
    inside = slice(first, last + 1)
    coldest = days.floats("water_min")[inside]
    water = float(np.nanmin(coldest)) if np.isfinite(coldest).any() else np.nan
    ongoing = last >= len(days) - 2
    minutes = float(np.nansum(np.fmax(near, dead)[inside]))
    severity = _frost_severity(context, water, minutes, ongoing=ongoing, protected=bool(safe_to < 0))
    if all(_serviced(context, days.day(hit).isoformat()) for hit in hits[(hits >= first) & (hits <= last)]):
        severity = "note"
    causes = _frost_causes(dead, cold_water, inside)
    hours = minutes / 60.0
    heard = f"down to {water:.0f} °C" if np.isfinite(water) else "unseen"
    return Finding(
        "frost_risk", severity, days.day(first).isoformat(), 0.95 if np.isfinite(water) and water < limit("frost_water_c") else 0.7,
        f"For {hours:.0f} hours in frost the water in the unit stood still, {heard}" + (", without supply." if causes else "."),
        evidence=(
            context.evidence("coldest water in the unit", None if not np.isfinite(water) else round(water, 1), "°C", "frost_water_c"),
            Evidence("coldest outdoors", round(float(np.nanmin(outdoor[inside])), 1), "°C"),
            context.evidence("near freezing without flow", round(float(np.nansum(near[inside]))), "min", "frost_minutes"),
            context.evidence("nothing drawn, in frost", round(float(np.nansum(dead[inside]))), "min", "frost_dead_minutes"),
        ),
        causes=causes, until=None if ongoing else days.day(last).isoformat(),
        next_step=(
            "Ring at once: is the unit's supply on (breaker, isolator)? If it cannot be restored, drain the outdoor part by the maker's instructions." if ongoing else
            "Find out why the unit was without supply or flow before the next frost (breaker, residual-current device, pump, frost valve). Look for a leak at the unit and for falling "
            "pressure: ice may have split its exchanger."
        ),
        caution=f"A split exchanger can let refrigerant into the water: if gas or a lasting loss of pressure is suspected, keep the unit off and call licensed people. {MAINS_CAUTION}",
        home=(
            "" if severity == "note" else
            "The heat pump outside stands without power or flow in frost. Please look whether its switch is on and ring your installer today." if ongoing else
            "The heat pump outside stood without power or flow during a frost. It may have come through well; your installer will check it before the next cold night."
        ),
        visit="none" if severity == "note" else "drive", bring=("leak detector", "pressure gauge") if severity != "note" else (),
    )  # fmt: skip


def _safe_to(context: Context) -> float:
    """Outdoor temperature down to which the water itself cannot freeze [°C]."""
    pump = context.site.heat_pump
    if pump.antifreeze == "none" or pump.antifreeze_percent <= 0:
        return 0.5
    return float(np.asarray(freezing_point(pump.antifreeze, pump.antifreeze_percent)))


def _frost_severity(
    context: Context, water: float, minutes: float, *, ongoing: bool, protected: bool
) -> Severity:
    """Harm once done stays until someone has looked: what has ended is still to be watched."""
    freezing = np.isfinite(water) and water < context.limit("frost_water_c")
    if ongoing:
        return "urgent" if freezing and not protected else "act"
    unseen = not np.isfinite(water) and minutes >= context.limit("frost_unseen_minutes")
    return "watch" if freezing or unseen else "note"


def _serviced(context: Context, day: str) -> bool:
    """True for a day on which someone worked on the unit, who will have seen to it."""
    return any(r.kind == "serviced" and r.since <= day <= r.until for r in context.recognised)


def _frost_causes(dead: Floats, cold_water: Flags, inside: slice) -> tuple[Cause, ...]:
    minutes = float(np.nansum(dead[inside]))
    if minutes < 20.0:
        return ()
    return ranked(
        {
            "power_loss": (
                1.0,
                f"the unit drew nothing for {minutes / 60.0:.0f} hours in frost, not even for its controls",
            )
        }
    )


def _last_cluster(hits: np.ndarray) -> tuple[int, int]:
    first = last = int(hits[-1])
    for i in hits[-2::-1]:
        if first - int(i) > 2:
            break
        first = int(i)
    return first, last


_PRESSURE = frozenset({"system_pressure"})
RULES = (
    Rule("pressure_falling", pressure_falling, (Need(("system_pressure",), 1440.0, _FEWEST_DAYS),), _PRESSURE),
    Rule("pressure_low", pressure_low, (Need(("system_pressure",), 1440.0, 3),), _PRESSURE),
    Rule(
        "frost_risk", frost_risk,
        (Need(("outdoor_temperature",), 60.0), Need(("flow_temperature", "return_temperature", "heat_pump_electricity"), 15.0)),
        frozenset({"outdoor_temperature", "flow_temperature", "return_temperature"}),
    ),
)  # fmt: skip
