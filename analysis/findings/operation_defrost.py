"""Defrosts: more than the weather explains, and those that had no frost to melt."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.errors import NotAssessed
from analysis.facts.table import Table, first_known
from analysis.findings.context import Context, Need, Rule
from analysis.findings.model import Evidence, Finding, Severity
from analysis.findings.operation_common import (
    Flags,
    Floats,
    heating_year,
    lowered,
    middle,
    refrigerant_caution,
)
from analysis.findings.operation_defrost_causes import (
    defrost_causes,
    drawn_share,
    dry_causes,
    efficiency,
    rated_kw,
    used_wh,
)
from analysis.findings.spells import Spell, last_spell
from analysis.findings.telling import sure
from analysis.physics.air import frost_rate_index
from analysis.windows import window_sum

_EXTREME_COIL_K = 10.0
_FAR_TOO_LITTLE = 2.0 / 3.0
# What humidity and coil are taken to be moves the frost by more than a twentieth.
_CLEARLY = 1.05
# Sooner than any lock of 45 minutes, in air that is not far from keeping a part-loaded coil free of frost.
_IN_A_ROW, _COIL_NEAR_ZERO_C = 0.6, 2.0
# A reversed compressor can't draw less than this out of the water [Wh a kilowatt rated].
_LEAST_TAKEN_WH = 0.5
_WEEK = 7
# A clean coil has hardly any such defrost; where a third of a week's are so, the rest had the wetter air.
_A_GOOD_PART = 0.35
_FROST_BAND_C = (-5.0, 5.0)


def excessive_defrost(context: Context) -> Finding | None:
    defrosts = _seen(context)
    limit, days = context.limit, context.days
    # Frost grows fastest about 0 °C; in hard frost the air holds too little for spacing to tell anything.
    low, high = _FROST_BAND_C
    band = (defrosts["outdoor"] >= low) & (defrosts["outdoor"] <= high)
    frosty = defrosts.where(defrosts["frosting"].astype(np.bool_) & band)
    if len(frosty) < limit("defrost_count_watch"):
        return None
    if (by_clock := _by_clock(context, defrosts)) is not None:
        return _timed(context, defrosts, by_clock)
    rated = rated_kw(context)
    gap = frosty.floats("since_last")
    laid = frosty["frost_kg"] * 1000.0 / rated
    # What a defrost used tells as well how much there was to melt; where it is not known the frost must be far less.
    used, coat = used_wh(frosty, rated), limit("defrost_frost_g_per_kw")
    melted = used < limit("defrost_melting_wh_per_kw")
    # Where it is known to have melted a coat the air is taken to lay too little, unless they come one upon the other.
    coated = (used >= limit("defrost_melting_wh_per_kw")) & (
        gap > _IN_A_ROW * limit("defrost_interval_minutes")
    )
    far = (laid < _FAR_TOO_LITTLE * coat) & ~coated
    # Air that could lay a blocking coat between two defrosts explains them, however often they come; unless what was
    # melted shows that it did not, and the air could lay no more than the thickest coat that coils carry.
    light = (laid < limit("defrost_thick_frost_g_per_kw")) & (used < limit("defrost_light_wh_per_kw"))
    soon = _too_soon(context, gap, laid) > _CLEARLY
    needless = (gap < limit("defrost_interval_minutes")) & (
        far | ((laid < coat) & melted & soon) | (light & soon)
    )
    minutes = frosty.floats("minutes")
    weak = drawn_share(frosty, rated) < limit("defrost_heat_share")
    slow = ((minutes > limit("defrost_long_minutes")) & weak) | (minutes > limit("defrost_very_long_minutes"))
    judged, so = _mostly(days["day"], frosty["day"], needless | slow)
    # Frosting weather comes and goes: three weeks of it without are needed to call it over.
    spell = last_spell(days["day"], so, judged, hold_days=5, gone_days=21)
    if spell is None:
        return None
    lately = np.isin(frosty["day"], days["day"][spell.covers(days["day"])])
    here = frosty.where(lately)
    interval = middle(here.floats("since_last"))
    frost = middle(here["frost_kg"] * 1000.0 / rated)
    length, drawn = middle(here.floats("minutes")), middle(drawn_share(here, rated))
    sooner = float(_too_soon(context, np.array([interval]), np.array([frost]))[0])
    weak_now = drawn < limit("defrost_heat_share")
    longer = length / limit("defrost_long_minutes" if weak_now else "defrost_very_long_minutes")
    sooner = sooner if needless[lately].mean() >= 0.3 else 0.0
    over = max(sooner, longer)
    if not over > _CLEARLY or spell.share < 0.5:
        return None
    severity: Severity = "act" if over >= 1.6 else "watch"
    enough = len(here) >= limit("defrost_count_watch")
    severity = lowered(severity, spell, 5.0) if enough else "note"
    causes = defrost_causes(context, here, slow=longer > 1.0, sooner=sooner)
    kwh = _cost(context, here, frost if sooner > 1.0 else limit("defrost_frost_g_per_kw"), slow=longer > 1.0)
    headline = (
        f"Each defrost takes {length:.0f} minutes"
        + (" and draws little heat to melt with." if weak_now else ".")
        if longer > sooner
        else f"It defrosts every {interval:.0f} minutes of running, on less frost than a clean coil carries."
    )
    return Finding(
        "excessive_defrost", severity, spell.since, sure(over, spell.days * spell.share, spell.share), headline,
        evidence=(
            context.evidence("running time between defrosts in frosting air", round(interval, 1), "min", "defrost_interval_minutes"),
            context.evidence("most frost that can settle between two, a kilowatt rated", round(frost, 0), "g/kW", "defrost_frost_g_per_kw"),
            context.evidence("length of a defrost", round(length, 1), "min", "defrost_long_minutes"),
            context.evidence("heat drawn from the water meanwhile, over rated output", round(drawn, 2), "-", "defrost_heat_share"),
            Evidence("defrosts seen in frosting air", len(here), ""),
        ),
        causes=causes,
        next_step=_next_step(causes[0].cause if causes else ""),
        caution=refrigerant_caution(context.site),
        home="" if severity == "note" else (
            "Your heat pump melts ice off its outdoor unit more often or longer than the weather explains. Please keep leaves, snow and "
            "covers a metre away from it; do not chip at the ice. Your installer will look at it."
        ),
        until=spell.until, cost_kwh=kwh, cost_money=context.money(kwh), visit="drive",
        bring=("coil brush and fin comb", "clamp thermometer", "hose"),
    )  # fmt: skip


def defrost_without_frost(context: Context) -> Finding | None:
    defrosts = _seen(context)
    limit, days = context.limit, context.days
    if _by_clock(context, defrosts) is not None:
        return None  # a timer does not look for frost; excessive_defrost notes it
    dry, hollow = _dry(context, defrosts), _hollow(context, defrosts)
    in_air, dry = int(dry.sum()), dry | hollow
    known = defrosts["frost_known"].astype(np.bool_)
    if not known.any() and len(defrosts):
        raise NotAssessed("needs outdoor_temperature")
    so = np.isin(days["day"], defrosts["day"][dry])
    spell = _spell_of_weather(context, so)
    if spell is None:
        return None
    covered = spell.covers(days["day"])
    inside = np.isin(defrosts["day"], days["day"][covered])
    chosen = defrosts.where(dry & inside)
    number, on = len(chosen), int((so & covered).sum())
    share = number / max(int(inside.sum()), 1)
    enough = number >= limit("dry_defrosts") and on >= limit("dry_defrost_days")
    enough = enough and share >= limit("dry_defrost_least_share")
    energy = middle(used_wh(defrosts, rated_kw(context)))
    severity: Severity = "note" if not enough else "act" if number >= limit("dry_defrosts_act") else "watch"
    severity = "note" if spell.until is not None else severity
    kwh = float(chosen.total("electricity") + np.nansum(chosen["heat_taken"]) / 3.0) * heating_year(context)
    warmest = float(np.fmax.reduce(chosen["outdoor"]))
    return Finding(
        "defrost_without_frost", severity, spell.since, sure(number / limit("dry_defrosts"), on * 2.0),
        f"{number} defrosts came in air that could not frost a coil, up to {warmest:.0f} °C."
        if in_air >= 0.5 * number
        else f"{number} defrosts came so soon that hardly any frost can have settled since the one before.",
        evidence=(
            context.evidence("defrosts without frost", number, "defrosts", "dry_defrosts"),
            context.evidence("days with one", on, "days", "dry_defrost_days"),
            Evidence("their share of all", round(share, 3), "-"),
            context.evidence("heat and electricity of a defrost, a kilowatt rated", round(energy, 1), "Wh/kW", "defrost_light_wh_per_kw"),
        ),
        causes=dry_causes(context, energy),
        next_step=(
            "See that leaves, snow or a fence do not keep the air from the coil. Read the coil sensor against a clamp thermometer on the same pipe "
            "and against the air after a long rest; if it agrees, have the "
            "refrigerant circuit checked."
        ),
        caution=refrigerant_caution(context.site),
        home="" if severity == "note" else (
            "Your heat pump melts ice that is not there, so it stops heating for some minutes now and then. Rooms stay warm; your "
            "installer will check a sensor and the refrigerant."
        ),
        until=spell.until, cost_kwh=kwh, cost_money=context.money(kwh), visit="drive", bring=("clamp thermometer", "coil sensor"),
    )  # fmt: skip


def _by_clock(context: Context, defrosts: Table) -> float | None:
    """Running time between defrosts [min] of a unit that defrosts by a timer; None where it does not.

    A timer's spacing is the same in fog and in dry frost. A sensor that reads too cold keeps to the unit's lock, which is
    shorter, and goes on in mild air; a circuit short of refrigerant has lost performance.
    """
    limit = context.limit
    gaps = defrosts.floats("since_last")
    gaps = gaps[np.isfinite(gaps)]
    if len(gaps) < limit("timed_defrosts"):
        return None
    low, middle_gap, high = np.quantile(gaps, (0.15, 0.5, 0.85))
    mild = float((defrosts["outdoor"] > limit("frost_free_above_c") + 2.0).mean())
    regular = high - low < limit("timed_defrost_spread") * middle_gap
    sound = efficiency(context) > limit("timed_defrost_efficiency")
    return (
        float(middle_gap)
        if regular and sound and middle_gap >= limit("timed_defrost_minutes") and mild < 0.05
        else None
    )


def _timed(context: Context, defrosts: Table, gap: float) -> Finding:
    low, high = np.nanquantile(defrosts["since_last"], (0.15, 0.85))
    return Finding(
        "excessive_defrost", "note", context.days.day(0).isoformat(), 0.8,
        f"The unit defrosts by the clock, every {gap:.0f} minutes of running, frost or not.",
        evidence=(
            Evidence("running time between defrosts", round(gap, 1), "min"),
            Evidence("spread of the middle seven tenths of them", round(float(high - low), 1), "min", round(context.limit("timed_defrost_spread") * gap, 1)),
            Evidence("defrosts seen", len(defrosts), ""),
        ),
        next_step="See whether its settings offer defrosting on demand; on dry cold days a timer melts nothing.",
        visit="setting",
    )  # fmt: skip


def _too_soon(context: Context, gap: Floats, laid: Floats) -> Floats:
    """How much sooner and on how much less frost than usual [-], the geometric mean of both; above 1 is too soon."""
    sooner = context.limit("defrost_interval_minutes") / np.maximum(gap, 1.0)
    less = context.limit("defrost_frost_g_per_kw") / np.maximum(laid, 1.0)
    return np.sqrt(sooner * less)


def _mostly(day: NDArray[Any], event_day: NDArray[Any], bad: Flags) -> tuple[Flags, Flags]:
    """Days with such events, and those about which a good part was bad, a week of such days taken together."""
    on, which, size = np.unique(event_day, return_inverse=True, return_counts=True)
    number = np.bincount(which, weights=bad, minlength=len(on))
    on, number, size = (x[size >= 2] for x in (on, number, size))
    good_part = _near(number) >= _A_GOOD_PART * _near(size)
    return np.isin(day, on), np.isin(day, on[good_part])


def _near(counts: NDArray[Any]) -> Floats:
    """Sums over the week about each of some days, fewer at the ends."""
    return np.asarray(window_sum(counts, _WEEK // 2, _WEEK // 2 + 1), dtype=np.float64)


def _seen(context: Context) -> Table:
    """The defrosts, heat taken nan where no meter shows it: none, or one that counts forwards only."""
    if context.site.heat_pump.source != "air":
        raise NotAssessed("the source is not air")
    if context.figures.defrost.reason:
        raise NotAssessed(context.figures.defrost.reason)
    defrosts = context.facts.defrosts
    if not len(defrosts):
        return defrosts
    taken = middle(defrosts.floats("heat_taken")) * 1000.0 / rated_kw(context)
    shown = context.whole.days.total("n_heat") > 0 and taken > _LEAST_TAKEN_WH
    shown = shown and not context.figures.defrost.taken_reason
    return defrosts if shown else defrosts.with_columns(heat_taken=np.full(len(defrosts), np.nan))


def _dry(context: Context, defrosts: Table) -> Flags:
    """Defrosts with nothing to melt: warm air and a coil that by its load stayed above freezing, or air too dry.

    The coil's load counts since the last defrost; without one within a day the temperature alone decides, two kelvin on.
    """
    limit = context.limit
    outdoor = defrosts.floats("outdoor")
    humidity = defrosts.floats("humidity")
    frost = defrosts["frost_kg"] * 1000.0 / rated_kw(context)
    none = first_known(frost, np.inf) < limit("dry_frost_g_per_kw")
    warm = (outdoor > limit("frost_free_above_c")) & none
    warm |= (outdoor > limit("frost_free_above_c") + 2.0) & ~np.isfinite(frost)
    index = np.asarray(
        frost_rate_index(
            outdoor,
            np.clip(first_known(humidity, 100.0), 1.0, 100.0),
            coil_difference_k=_EXTREME_COIL_K,
        )
    )
    arid = np.isfinite(humidity) & np.isfinite(outdoor) & (index < limit("dry_frost_index")) & none
    return np.asarray((warm | arid) & defrosts["frost_known"].astype(np.bool_), dtype=np.bool_)


def _hollow(context: Context, defrosts: Table) -> Flags:
    """Defrosts that follow one another on little frost: those that use no more than the bare coil takes, where most are
    so; and those on next to none, where there are many."""
    limit, rated = context.limit, rated_kw(context)
    laid = defrosts["frost_kg"] * 1000.0 / rated
    gap = defrosts.floats("since_last")
    little = (laid < limit("defrost_frost_g_per_kw") * _FAR_TOO_LITTLE) & (
        gap < limit("defrost_interval_minutes")
    )
    hollow = little & (used_wh(defrosts, rated) < limit("defrost_coil_wh_per_kw"))
    _, so = _mostly(context.days["day"], defrosts["day"], hollow)
    hollow &= np.isin(defrosts["day"], context.days["day"][so])
    # One after the other on hardly any frost, and not only now and then: unless what it used says that it melted some.
    bare = (laid < limit("dry_frost_g_per_kw")) & (gap < _IN_A_ROW * limit("defrost_interval_minutes"))
    bare &= defrosts["outdoor"] > _COIL_NEAR_ZERO_C
    # What was melted tells that there was frost, whatever the air is thought to lay.
    bare &= ~(used_wh(defrosts, rated) > limit("defrost_light_wh_per_kw"))
    many = bare.sum() >= limit("defrost_count_watch") and bare.mean() >= limit("dry_defrost_share")
    return np.asarray(hollow | bare if many else hollow, dtype=np.bool_)


def _spell_of_weather(context: Context, so: Flags) -> Spell | None:
    """The newest stretch, judged on days as mild as those on which it was so: a frosty month does not end it."""
    days = context.days
    outdoor = days.floats("outdoor")
    heated = days.floats("n_heating") >= 60
    if so.any() and np.isfinite(outdoor[so]).any():
        low, high = np.nanquantile(outdoor[so], (0.1, 0.9))
        heated &= (first_known(outdoor, low) >= low) & (first_known(outdoor, high) <= high)
    return last_spell(days["day"], so, heated | so, hold_days=2, gone_days=14)


def _cost(context: Context, here: Table, frost: float, *, slow: bool) -> float:
    """A year's electricity of the defrosts beyond those the frost asks for; a third of the heat drawn is electricity."""
    each = here.total("electricity") + np.nansum(here["heat_taken"]) / 3.0
    spare = max(1.0 - frost / context.limit("defrost_frost_g_per_kw"), 0.0)
    if slow:
        spare = max(spare, 0.3)
    return float(each) * spare * heating_year(context)


def _next_step(cause: str) -> str:
    return {
        "coil_airflow": "Ask for a photo of the outdoor unit; clear leaves, snow and whatever stands before it, clean the fins and see that the fan turns freely at full speed.",
        "low_refrigerant_symptom": (
            "First a photo of the outdoor unit: a blocked coil looks the same from here. If the coil is clear: oil traces, frost that begins at the inlet "
            "only, output and suction superheat against the maker's table; leak search and charging by a licensed person."
        ),
        "insufficient_defrost_heat": (
            "See that all zones and a least water volume stay open during a defrost, that the flow is nominal and the water above 20 °C; then the "
            "reversing valve and the defrost-end sensor."
        ),
    }.get(cause, "Watch one defrost on site from start to end.")  # fmt: skip


_NEEDS = (
    Need(("outdoor_temperature",), 60.0),
    Need(("defrost_active", "operating_mode", "heat_output", "flow_rate", "flow_temperature"), 2.0),
)
RULES: tuple[Rule, ...] = (
    Rule(
        "excessive_defrost",
        excessive_defrost,
        needs=_NEEDS,
        reads=frozenset({"outdoor_temperature", "heat_output"}),
    ),
    Rule(
        "defrost_without_frost",
        defrost_without_frost,
        needs=_NEEDS,
        reads=frozenset({"outdoor_temperature", "heat_output"}),
    ),
)
