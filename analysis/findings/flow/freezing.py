"""Can the water in the unit freeze?"""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import MAINS_WORK
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.figures.electricity_days import filled_with_zeros
from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.model import (
    Cause,
    Evidence,
    Finding,
    Severity,
)
from fieldfare.analysis.findings.silent_meter import nothing_at_rest
from fieldfare.analysis.findings.stopped.rests import rests
from fieldfare.analysis.physics.water import freezing_point


def frost_risk(context: Context) -> Finding | None:
    # Cold beyond design and days off for work are no excuse here: every day counts.
    days, limit = context.all_days.days, context.limit
    outdoor = days.floats("outdoor_min")
    if not np.isfinite(outdoor).any():
        raise NotAssessed("needs outdoor_temperature", "missing_quantity")
    near, dead = days.floats("minutes_near_freezing"), days.floats("minutes_dead_frost")
    cold_water = fill_nan(near, 0.0) >= limit("frost_minutes")
    no_supply = (fill_nan(dead, 0.0) >= limit("frost_dead_minutes")) & ~filled_with_zeros(days)
    # A meter that stands still shows no power although the unit draws it.
    no_supply &= "heat_pump_electricity" not in context.unreliable and not nothing_at_rest(
        context.site, context.all_days.days
    )
    safe_to = _safe_to(context)
    at_risk = (cold_water | no_supply) & (outdoor < safe_to)
    hits = np.flatnonzero(at_risk)
    if not len(hits):
        return None
    first, last = _last_cluster(hits)
    inside = slice(first, last + 1)
    coldest = days.floats("water_min")[inside]
    water = float(np.nanmin(coldest)) if np.isfinite(coldest).any() else np.nan
    ongoing = last >= len(days) - 2 and (cold_water[last] or not _has_power_again(context))
    minutes = float(np.nansum(np.fmax(near, dead)[inside]))
    severity = _frost_severity(context, water, minutes, ongoing=ongoing, protected=bool(safe_to < 0))
    if all(_serviced(context, days.day(hit).isoformat()) for hit in hits[(hits >= first) & (hits <= last)]):
        severity = "note"
    causes = _frost_causes(dead, cold_water, inside)
    hours = minutes / 60.0
    heard = f"down to {water:.0f} °C" if np.isfinite(water) else "unseen"
    return Finding(
        "frost_risk",
        severity,
        days.day(first).isoformat(),
        0.95 if np.isfinite(water) and water < limit("frost_water_c") else 0.7,
        f"In frost the water in the unit did not circulate for {hours:.0f} hours, {heard}"
        + (", without supply." if causes else "."),
        evidence=(
            context.evidence(
                "coldest water in the unit",
                None if not np.isfinite(water) else round(water, 1),
                "°C",
                "frost_water_c",
            ),
            Evidence("coldest outdoors", round(float(np.nanmin(outdoor[inside])), 1), "°C"),
            context.evidence(
                "near freezing without flow", round(float(np.nansum(near[inside]))), "min", "frost_minutes"
            ),
            context.evidence(
                "no electricity drawn in frost",
                round(float(np.nansum(dead[inside]))),
                "min",
                "frost_dead_minutes",
            ),
        ),
        causes=causes,
        until=None if ongoing else days.day(last).isoformat(),
        next_step=(
            "Ring at once: is the unit's supply on (breaker, isolator)? If it cannot be restored, drain the"
            " outdoor part by the maker's instructions."
            if ongoing
            else (
                "Find out why the unit was without supply or flow before the next frost (breaker,"
                " residual-current device, pump, frost valve). Look for a leak at the unit and for falling"
                " pressure: ice may have split its exchanger."
            )
        ),
        caution=(
            "A split exchanger can let refrigerant into the water: if gas or a lasting loss of pressure is"
            f" suspected, keep the unit off and call licensed people. {MAINS_WORK}"
        ),
        home=(
            ""
            if severity == "note"
            else (
                (
                    "The heat pump outside has no power or water flow in frost. Please check whether its"
                    " switch is on and ring your installer today."
                )
                if ongoing
                else (
                    "The heat pump outside had no power or water flow during a frost. It may be"
                    " undamaged; your installer will check it before the next cold night."
                )
            )
        ),
        visit="none" if severity == "note" else "drive",
        bring=("leak detector", "pressure gauge") if severity != "note" else (),
    )


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


def _has_power_again(context: Context) -> bool:
    """The unit works again after its newest rest without any power."""
    least = context.limit("stopped_powerless_minutes")
    whole = rests(context, "unit")
    if whole is None:
        return False
    dead = np.flatnonzero(whole.columns["minutes_powerless"] >= least)
    return bool(len(dead)) and bool(whole.ended[dead[-1]])


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


RULES = (
    Rule(
        "frost_risk",
        frost_risk,
        (
            Need(("outdoor_temperature",), 60.0),
            Need(("flow_temperature", "return_temperature", "heat_pump_electricity"), 15.0),
        ),
        frozenset({"outdoor_temperature", "flow_temperature", "return_temperature"}),
    ),
)
