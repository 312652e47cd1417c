"""Can the stored water scald, and what made it so hot?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.cautions import HOT_WATER
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.cylinder_cooling import cooling_minutes, expected
from fieldfare.analysis.expectation.excess import Excess
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.findings.context import Context, Need, Rule, distrust
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.hot_water.set_high import charged_beyond_setpoint
from fieldfare.analysis.findings.model import (
    SEVERITIES,
    Cause,
    Evidence,
    Finding,
    Severity,
)
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.minutes.rolling import running_total
from fieldfare.analysis.physics.hot_water import (
    SENSOR_LOW_K,
    STORED_HOT_C,
    USUAL_CYLINDER_LITRES,
    WH_PER_LITRE_KELVIN,
)
from fieldfare.analysis.plant.site import HotWater
from fieldfare.analysis.statistics.distributions import ONE_SIDED_95
from fieldfare.analysis.statistics.quantiles import nan_median

# A sensor in its pocket, clamped or slipped: a kelvin or so either way (common practice).
_SENSOR_K = 1.0
_MOSTLY = 0.8
_NOON, _SUNNY_WIDTH_MIN = 840.0, 150.0
# A programme by the clock ends so near to the early afternoon on one day in four by chance; most are set to
# the night (common practice).
_NOON_BY_CHANCE = 0.25
_LIKELY_SURPLUS = 0.5


@dataclass(frozen=True)
class _Hot:
    """What the hot days show. held [°C], the hottest of the newest days; jumps, a share of the hot days;
    alone, the share of what was needed that came with every known heater off; immersion, the same share by
    the immersion heater; above_flow [K], hottest over the hottest flow; scheduled [K], hottest over the
    scheduled disinfection, nan without one; still, True where the sensor hardly moves; sunny, 1 where it is
    hottest in the early afternoon, 0 where at any hour"""

    held: float
    jumps: float
    alone: float
    immersion: float
    above_flow: float
    scheduled: float
    still: bool
    sunny: float


def water_too_hot(context: Context) -> Finding | None:
    # A cylinder whose sensor reports scalds whether or not the site file describes it. And water scalds on
    # every day alike: none is left out.
    days, limit = context.all_days.days, context.limit
    culprit = context.unreliable.get("cylinder_temperature")
    if "tank_held" not in days or not np.isfinite(days.floats("tank_held")).any():
        raise NotAssessed("needs cylinder_temperature", "missing_quantity")
    held = days.floats("tank_held")
    # Doubts about the sensor's unit withhold the danger only where no water can be so hot.
    mistaken = culprit is not None and culprit.code == "unit_mismatch"
    if mistaken and culprit is not None and float(np.nanmax(held)) > limit("scald_boils_c"):
        raise NotAssessed(f"withheld: {distrust('cylinder_temperature', culprit)}", "distrusted")
    known = np.isfinite(held)
    watch, act, urgent = (limit(f"scald_{name}_c") for name in ("watch", "act", "urgent"))
    over = known & (fill_nan(held, 0.0) > watch)
    too_hot = over & ((fill_nan(held, 0.0) > act) | ~_disinfecting(context))
    hits = np.flatnonzero(too_hot)
    if not len(hits):
        return _held_on(context) or charged_beyond_setpoint(context)
    first, last = _newest(hits, known)
    inside = too_hot & (np.arange(len(days)) >= first) & (np.arange(len(days)) <= last)
    hottest = float(np.nanmax(held[inside]))
    ongoing = int(known[last + 1 :].sum()) < limit("scald_gone_days")
    severity: Severity = "urgent" if hottest > urgent else "act" if hottest > act else "watch"
    facts = _facts(context, days, inside)
    causes = _causes(context, facts, stuck=culprit is not None)
    if not ongoing:
        # It may come again: after one scald, "all is well" would be false comfort.
        severity = "watch" if hottest > act else "note"
    elif _doubted(causes, culprit is not None) or known[last + 1 :].sum() >= limit("scald_cool_days"):
        severity = SEVERITIES[min(SEVERITIES.index(severity), SEVERITIES.index("act"))]
    first_cause = causes[0].cause
    return Finding(
        "water_too_hot",
        severity,
        days.day(first).isoformat(),
        _confidence(context, hottest, facts),
        f"The stored water reached {hottest:.0f} °C"
        + (f" on {int(inside.sum())} days." if inside.sum() > 1 else "."),
        evidence=(
            context.evidence(
                "hottest stored water, held for ten minutes",
                round(hottest, 1),
                "°C",
                "scald_urgent_c" if hottest > urgent else "scald_act_c" if hottest > act else "scald_watch_c",
            ),
            Evidence(
                "time above 65 °C on such a day",
                round(nan_median(days.floats("minutes_tank_hot")[inside])),
                "min",
            ),
            Evidence(
                "stored water above the hottest flow",
                None if not np.isfinite(facts.above_flow) else round(facts.above_flow, 1),
                "K",
            ),
            Evidence("warming with every known heater off, over the heat needed", round(facts.alone, 2), "-"),
            Evidence(
                "immersion heat over the heat needed",
                None if not np.isfinite(facts.immersion) else round(facts.immersion, 2),
                "-",
            ),
            Evidence("rises faster than any heater can cause, on such a day", round(facts.jumps, 1), ""),
        ),
        causes=causes,
        until=None if ongoing else days.day(last).isoformat(),
        next_step=_step(first_cause),
        caution=HOT_WATER,
        home=(
            ""
            if severity == "note"
            else (
                (
                    "The hot water is hotter than it should be and can scald. Run cold water first and"
                    " mix, don't leave children or frail people alone at the tap, and ring your installer"
                )
                + (" today." if severity == "urgent" else ".")
            )
        ),
        visit="none" if severity == "note" else "call" if severity == "watch" else "drive",
        bring=(
            ()
            if severity == "note"
            else ("tempering valve", "immersion thermostat with safety cut-out", "contact thermometer")
        ),
    )


def _held_on(context: Context) -> Finding | None:
    """A disinfection that does not end: at scheduled temperature but held far too long."""
    plant, days, limit = context.site.hot_water, context.all_days.days, context.limit
    if plant is None or plant.pasteurise_c is None or "minutes_hot_enough" not in days:
        return None
    if plant.pasteurise_c < plant.setpoint_c + limit("held_over_setpoint_k") or context.unreliable.get(
        "cylinder_temperature"
    ):
        return None
    held = fill_nan(days.floats("minutes_hot_enough"), 0.0)
    known = days.floats("minutes_tank_known") > 0
    allowed = limit("scald_disinfection_minutes") + _cooling(
        context, plant.pasteurise_c - SENSOR_LOW_K, slowly=True
    )
    # A run a day, oftener than scheduled, ends each day; one that does not end holds most of it.
    held_long = known & (held > limit("held_day_minutes")) & (_in_interval(context, held) > allowed)
    hits = np.flatnonzero(held_long)
    if len(hits) < 2:
        return None
    first, last = _newest(hits, known)
    inside = held_long & (np.arange(len(days)) >= first) & (np.arange(len(days)) <= last)
    ongoing = int(known[last + 1 :].sum()) < limit("scald_gone_days")
    level = nan_median(days.floats("tank_held")[inside])
    hours = nan_median(held[inside]) / 60.0
    causes = _causes(context, _facts(context, days, inside), stuck=False)
    return Finding(
        "water_too_hot",
        "watch" if ongoing else "note",
        days.day(first).isoformat(),
        float(np.clip(1.0 - np.exp(-nan_median(_in_interval(context, held)[inside]) / allowed), 0.5, 0.97)),
        f"The stored water stays at {level:.0f} °C for {hours:.0f} hours a day: the disinfection does not"
        " end.",
        evidence=(
            context.evidence(
                "minutes at disinfection temperature per interval of the schedule",
                round(nan_median(_in_interval(context, held)[inside])),
                "min",
                "scald_disinfection_minutes",
                round(allowed),
            ),
            Evidence("scheduled every", float(plant.pasteurise_every_days), "days"),
            Evidence("days affected", int(inside.sum()), "days"),
        ),
        causes=causes,
        until=None if ongoing else days.day(last).isoformat(),
        next_step=_step(causes[0].cause),
        caution=HOT_WATER,
        home=(
            ""
            if not ongoing
            else (
                "Your hot water is kept at the temperature of the weekly disinfection all the time,"
                " which costs electricity and can scald. Mix with cold before touching, and ring your"
                " installer."
            )
        ),
        visit="call" if ongoing else "none",
    )


def _in_interval(context: Context, minutes: Floats) -> Floats:
    """Minutes summed over the schedule's interval up to each day. minutes : float64 (n,), finite"""
    plant, days = context.site.hot_water, context.all_days.days
    assert plant is not None
    number = (days["day"] - days["day"][0]) // np.timedelta64(1, "D")
    begin = np.searchsorted(number, number - plant.pasteurise_every_days, "right")
    total = running_total(minutes)
    return np.asarray(total[1:] - total[begin])


def _cooling(context: Context, to_c: float, *, slowly: bool = False) -> float:
    """Time that an undisturbed cylinder takes to cool after a scheduled run [min].

    slowly : for one that is insulated better than its rating says, or stands in a warm cupboard
    """
    plant = context.site.hot_water
    assert plant is not None
    assert plant.pasteurise_c is not None
    litres = plant.cylinder_litres or USUAL_CYLINDER_LITRES
    usual = expected(litres, plant.standing_loss_kwh_per_day)
    # One cylinder in twenty loses even less.
    loss = usual.value - (ONE_SIDED_95 * usual.uncertainty if slowly else 0.0)
    return cooling_minutes(litres, loss, plant.pasteurise_c + context.limit("scald_disinfection_k"), to_c)


def _doubted(causes: tuple[Cause, ...], stuck: bool) -> bool:
    """True where the sensor is to blame rather than the water."""
    return stuck or (causes[0].cause == "sensor_fault" and causes[0].weight > _MOSTLY)


def _step(cause: str) -> str:
    first = "Ring the household today and warn them: mix with cold before touching. "
    if cause == "disinfection_stuck":
        return (
            first
            + "Switch the disinfection programme and the immersion heater's own switch back to automatic,"
            " check the heater's thermostat and safety cut-out, and set the programme to its hours. Check"
            " the tempering valve's outlet temperature."
        )
    if cause == "other_source":
        return (
            first + "Find what else heats the cylinder (solar coil, stove, surplus-power heater, an immersion"
            " heater on a switch of its own) and have its high-limit control set or repaired. Check the"
            " tempering valve's outlet temperature, and have the source metered."
        )
    return (
        first
        + "Compare the sensor with a thermometer at the cylinder and at the tap before anything is set: if"
        " the water is as hot as shown, treat it as real. Reseat or replace the sensor and check its cable."
    )


def _newest(hits: np.ndarray, known: Flags) -> tuple[int, int]:
    """First and last of the newest cluster of hot days: at most a fortnight of known days between two."""
    first = last = int(hits[-1])
    for i in hits[-2::-1]:
        if known[int(i) + 1 : first].sum() > 14:
            break
        first = int(i)
    return first, last


def _disinfecting(context: Context) -> Flags:
    """Days above 65 °C explained by a scheduled disinfection: no hotter, longer or more often."""
    plant, days = context.site.hot_water, context.all_days.days
    none = np.zeros(len(days), dtype=np.bool_)
    if plant is None or plant.pasteurise_c is None:
        return none
    total = _in_interval(context, fill_nan(days.floats("minutes_tank_hot"), 0.0))
    fits = fill_nan(days.floats("tank_held"), 99.0) <= plant.pasteurise_c + context.limit(
        "scald_disinfection_k"
    )
    # A run, and the time a cylinder nobody draws from takes to cool after it.
    allowed = context.limit("scald_disinfection_minutes") + _cooling(context, STORED_HOT_C)
    return np.asarray(fits & (total <= allowed), dtype=np.bool_)


def _facts(context: Context, days: Table, inside: Flags) -> _Hot:
    plant = context.site.hot_water or HotWater()
    held = days.floats("tank_held")[inside]
    litres = plant.cylinder_litres or USUAL_CYLINDER_LITRES
    # Heat from the everyday temperature to this one, on a typical hot day [kWh].
    needed = np.maximum(held - plant.setpoint_c, 5.0) * litres * WH_PER_LITRE_KELVIN / 1000.0
    used = days.floats("electricity_immersion_kwh")[inside]
    alone = fill_nan(days.floats("tank_rise_alone")[inside], 0.0) * litres * WH_PER_LITRE_KELVIN / 1000.0
    peak = days.floats("tank_peak_at")[inside]
    swing = days.floats("tank_max")[inside] - days.floats("tank_min")[inside]
    scheduled = np.nan if plant.pasteurise_c is None else float(np.nanmax(held)) - plant.pasteurise_c
    sunny = np.exp(-0.5 * ((peak[np.isfinite(peak)] - _NOON) / _SUNNY_WIDTH_MIN) ** 2)
    return _Hot(
        held=float(np.nanmax(held)),
        jumps=float(np.nanmean(fill_nan(days.floats("tank_jumps")[inside], 0.0))),
        alone=float(np.clip(nan_median(alone / needed), 0.0, 2.0)),
        immersion=nan_median(used / needed),
        above_flow=nan_median(held - days.floats("flow_greatest")[inside]),
        scheduled=scheduled,
        still=bool(inside.sum() >= 2 and nan_median(swing) < 0.3),
        sunny=float(sunny.mean()) if len(sunny) else 0.0,
    )


def _causes(context: Context, hot: _Hot, *, stuck: bool) -> tuple[Cause, ...]:
    """Each cause by how well what was measured fits it.

    A stuck disinfection: a metered heater, or the unit's own flow, gave the heat, near the scheduled
    temperature. Another source: it warmed smoothly with every known heater off, or above any flow, or with
    the immersion heater in the early afternoon alone, as surplus power does. A sensor: it jumps, or never
    moves.
    """
    by_heater = float(np.clip(fill_nan(np.array([hot.immersion]), 0.0)[0], 0.0, 1.0))
    by_unit = 1.0 if np.isfinite(hot.above_flow) and hot.above_flow < 2.0 else 0.0
    by_clock = 1.0 - hot.sunny * (1.0 - _NOON_BY_CHANCE)
    heated = max(by_heater, by_unit) * by_clock
    surplus = by_heater * hot.sunny
    near = (
        0.0
        if not np.isfinite(hot.scheduled)
        else float(np.exp(-((max(abs(hot.scheduled) - 2.0, 0.0) / 6.0) ** 2)))
    )
    unmetered = not context.site.measures("immersion_electricity")
    beyond = 1.0 if np.isfinite(hot.above_flow) and hot.above_flow >= 2.0 else 0.4
    faulty = min(hot.jumps, 2.0) + (2.0 if hot.still or stuck else 0.0)
    smooth = 0.05 if faulty >= 1.0 else 1.0
    scores = {
        "disinfection_stuck": (
            smooth * (0.05 + heated * (0.5 + near) + (0.5 * near if unmetered and hot.sunny < 0.5 else 0.0)),
            _heater_text(hot),
        ),
        "other_source": (
            smooth
            * (0.05 + surplus + (1.0 - by_heater) * beyond * (min(hot.alone, 1.0) + 0.3 * hot.sunny + 0.2)),
            _source_text(hot, surplus),
        ),
        "sensor_fault": (
            0.05 + faulty + (0.3 if beyond == 1.0 and hot.alone < 0.2 and by_heater < 0.2 else 0.0),
            (
                "the reading hardly moves"
                if hot.still or stuck
                else (
                    f"{hot.jumps:.0f} times a day it rises faster than any heater can cause"
                    if hot.jumps >= 0.5
                    else (
                        "neither the flow nor a known heater explains it"
                        if beyond == 1.0 and by_heater < 0.2
                        else "it rises and falls as water does"
                    )
                )
            ),
        ),
    }
    return ranked(scores)


def _source_text(hot: _Hot, surplus: float) -> str:
    if surplus > _LIKELY_SURPLUS:
        return (
            "the immersion heater gave the heat, and it is hottest in the early afternoon, as with surplus"
            " power"
        )
    words = f"{percent(min(hot.alone, 2.0))} of the warming happened with every known heater off"
    return words + (", and is hottest in the early afternoon" if hot.sunny > 0.5 else "")


def _heater_text(hot: _Hot) -> str:
    parts = []
    if np.isfinite(hot.immersion):
        parts.append(f"the immersion heater supplied {percent(min(hot.immersion, 9.0))} of the heat needed")
    if np.isfinite(hot.above_flow):
        parts.append(
            "the unit's flow was as hot"
            if hot.above_flow < 2.0
            else f"it was {hot.above_flow:.0f} K above the hottest flow"
        )
    if np.isfinite(hot.scheduled):
        parts.append(
            f"{abs(hot.scheduled):.0f} K {'above' if hot.scheduled > 0 else 'below'} the scheduled"
            " disinfection"
        )
    return ", ".join(parts) or "no heater is metered"


def _confidence(context: Context, hottest: float, hot: _Hot) -> float:
    """Probability that the water exceeds the limit, from the sensor error; lower for a doubtful sensor."""
    real = Excess(hottest - context.limit("scald_watch_c"), _SENSOR_K).probability
    doubt = 0.5 if hot.jumps >= 0.5 or hot.still else 0.0
    return float(np.clip(real * (1.0 - doubt), 0.3, 0.99))


RULES = (Rule("water_too_hot", water_too_hot, (Need(("cylinder_temperature",), 60.0),), frozenset()),)
