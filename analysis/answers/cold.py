"""Why rooms are cold: candidate limits in order, from the set temperature to open windows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.answers.cold_measures import (
    FEWEST_COLD_MIN,
    ColdZone,
    UnitLoad,
    able_kw,
    call_share,
    emission,
    found_weights,
    load_of,
    need_kw,
    space_kw,
    steady_heating,
    weights_of,
    zone_of,
)
from fieldfare.analysis.answers.cold_night import set_back_step
from fieldfare.analysis.answers.cold_windows import windows_step
from fieldfare.analysis.answers.hours import (
    Hours,
    State,
    Step,
    Value,
    longest_stop,
)
from fieldfare.analysis.answers.other_sources import cold_turn, without_the_pump
from fieldfare.analysis.expectation.set_back import PLAIN
from fieldfare.analysis.facts.table import fill_nan

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_WEAK = 0.6  # weight of a cause by exclusion (common practice)
ORDER = (
    "target",
    "set_back",
    "other_source",
    "stopped",
    "thermostat",
    "valve",
    "flow_temperature",
    "emitters",
    "water_flow",
    "output",
    "house_loss",
    "windows",
    "as_set",
)


def cold_steps(hours: Hours) -> tuple[list[Step], float]:
    """All steps from target to windows, and the weight of the limiting cause [0 to 1]."""
    cold = zone_of(hours)
    load = load_of(hours, cold)
    weights, found = weights_of(hours, cold, load), found_weights(hours)
    weights |= dict.fromkeys(weights, 0.0) | found if found else {}
    steps = [
        _target(hours, cold),
        set_back_step(hours, cold),
        _stopped(hours, cold),
        _thermostat(hours, cold),
        _valve(hours, cold, weights),
        _flow_temperature(hours, cold, weights),
        *_emitters_and_loss(hours, cold, weights, load),
        _water_flow(hours, cold),
        _output(hours, cold, weights, load),
        windows_step(hours, cold),
    ]
    steps = [_as_found(s, found) for s in steps]
    turn, weight = cold_turn(hours, cold.cold)
    if turn is not None:
        steps = [*without_the_pump(steps, turn), turn]
        weights = {**weights, turn.code: weight}
    steps.sort(key=lambda s: ORDER.index(s.code))
    lags = _lags_alone(hours, cold, {s.code: s for s in steps})
    return _one_binds(steps, weights, lags_alone=lags)


def _as_found(step: Step, found: Mapping[str, float]) -> Step:
    """A step beside the finding about the same rooms: its first cause leads also where these hours alone
    don't show it, and a set-back leads only if it is the first."""
    first = max(found, key=lambda c: found[c], default="")
    if step.code == first and step.state in ("unknown", "adds"):
        return replace(step, state="binds")
    is_second = found and step.code == "set_back" and step.code != first and step.reason != "lowered"
    return replace(step, state="adds") if is_second and step.state == "binds" else step


def _target(hours: Hours, cold: ColdZone) -> Step:
    """The rooms follow their target, and the target is low."""
    room, target = hours.mean(cold.room), hours.mean(cold.target)
    values = (
        Value("room", room, "°C"),
        Value("target", target, "°C"),
        Value("design_room", hours.site.design.indoor_c, "°C"),
    )
    if not np.isfinite(room):
        return Step("target", "unknown", values, "no_room_sensor")
    if not np.isfinite(target):
        return Step("target", "unknown", values, "no_target")
    known = int((hours.in_question & np.isfinite(cold.room)).sum())
    follows = int(cold.cold.sum()) < max(0.25 * known, FEWEST_COLD_MIN)
    highest = (
        float(np.nanmax(cold.target[hours.inside]))
        if np.isfinite(cold.target[hours.inside]).any()
        else target
    )
    low = highest < hours.site.design.indoor_c - hours.limit("answer_comfort_k")
    if follows and low:
        return Step("target", "binds", values)
    if follows and highest - target < hours.limit("answer_setback_k"):
        return Step("target", "fine", values, "as_asked")
    return Step("target", "fine" if not low else "adds", values)


def _stopped(hours: Hours, cold: ColdZone) -> Step:
    """The unit was off though rooms were cold. Where rooms are read and were not, it rests rightly."""
    is_read = bool(np.isfinite(cold.room[hours.in_question]).any())
    warm_rooms = is_read and int(cold.cold.sum()) < FEWEST_COLD_MIN
    rows = cold.cold if cold.cold.any() else hours.in_question
    code = hours.minutes.use.code
    known = rows & (code >= 0)
    if not known.any():
        return Step("stopped", "unknown", (), "no_running")
    running = float(hours.minutes.use.running[known].mean())
    # In warm air the controls' heating limit lets a unit rest, whatever a thermostat asks.
    warm = fill_nan(hours.gauge("outdoor_temperature"), -np.inf) > hours.limit("answer_heating_limit_c")
    stop = longest_stop(hours, rows & ~warm)
    values = (
        Value("running_share", running, "-"),
        Value("longest_stop", stop, "h", limit="answer_stop_h"),
        Value("faults", float(len(hours.facts.faults)), ""),
    )
    called = call_share(hours, cold, rows) > hours.limit("answer_call_share")
    missed = stop > hours.limit("answer_stop_h") and called and not warm_rooms
    return Step("stopped", "binds" if missed else "fine", values, "rooms_warm" if warm_rooms else "")


def _thermostat(hours: Hours, cold: ColdZone) -> Step:
    calls = hours.minutes.grid.zones.get("heat_call", {})
    if not calls or not cold.cold.any():
        return Step("thermostat", "fine" if calls else "unknown", (), "rooms_warm" if calls else "no_call")
    share = call_share(hours, cold, cold.cold)
    values = (Value("call_share", share, "-", limit="answer_call_share"),)
    return Step("thermostat", "binds" if share < hours.limit("answer_call_share") else "fine", values)


def _judged(code: str, wrong: bool | None, hours: Hours, cold: ColdZone, weights: dict[str, float]) -> State:
    """State of a step that the model of cold rooms weighs. wrong : what its own numbers say; None where
    they are not known"""
    if cold.cold.sum() < FEWEST_COLD_MIN:
        return "fine"
    likeliest = code == max(weights, key=lambda c: weights[c])
    if wrong is None:
        return "binds" if likeliest and weights[code] >= hours.limit("answer_weight") else "unknown"
    return ("binds" if likeliest else "adds") if wrong else "fine"


def _valve(hours: Hours, cold: ColdZone, weights: dict[str, float]) -> Step:
    """One zone lags behind the others, or warm water passes emitters that take up little heat."""
    taken = emission(hours, cold, steady_heating(hours))
    values = (
        Value("gap", cold.gap, "K", limit="answer_gap_k"),
        Value("emission", taken, "-"),
        Value("weight", weights["valve"], "-"),
    )
    if np.isfinite(cold.gap):
        wrong = cold.gap >= hours.limit("answer_gap_k") or taken < hours.limit("room_emission_shut")
        return Step("valve", _judged("valve", wrong, hours, cold, weights), values)
    if not np.isfinite(taken):
        return Step("valve", _judged("valve", None, hours, cold, weights), values, "one_zone")
    if taken > hours.limit("answer_taken_most"):
        return Step("valve", "unknown", values, "emission_impossible")
    wrong = taken < hours.limit("answer_taken")
    return Step("valve", _judged("valve", wrong, hours, cold, weights), values)


def _flow_temperature(hours: Hours, cold: ColdZone, weights: dict[str, float]) -> Step:
    """The water is cooler than designed at this weather, and as warm as the controls ask for."""
    steady = steady_heating(hours)
    flow, curve, target_flow = (
        hours.gauge("flow_temperature"),
        hours.minutes.curve,
        hours.gauge("target_flow_temperature"),
    )
    known = steady & np.isfinite(flow)
    gap = hours.mean(curve - flow, known)
    values = (
        Value("flow", hours.mean(flow, known), "°C"),
        Value("designed_flow", hours.mean(curve, known), "°C"),
        Value("asked_flow", hours.mean(target_flow, known), "°C"),
        Value("below_curve", gap, "K", limit="answer_flow_gap_k"),
    )
    if not np.isfinite(gap):
        return Step(
            "flow_temperature",
            _judged("flow_temperature", None, hours, cold, weights),
            values,
            "no_flow_or_curve",
        )
    wrong = gap >= hours.limit("answer_flow_gap_k")
    return Step("flow_temperature", _judged("flow_temperature", wrong, hours, cold, weights), values)


def _leaky(hours: Hours) -> bool:
    """Whether the house surely loses clearly more than it was designed for."""
    ratio: Mapping[str, float] | None = (hours.result.get("heat_loss") or {}).get("ratio")
    return ratio is not None and ratio["value"] >= hours.limit("answer_loss_ratio") and ratio["low"] > 1.0


def _lost_more(hours: Hours, cold: ColdZone, gives_kw: float) -> bool:
    """Whether a need beyond the design makes more of the shortage than what emitters or unit give below it.

    Need over output is need over designed need, times designed need over output: the larger factor binds.
    """
    need, designed = (need_kw(hours, cold, designed=d)[0] for d in (False, True))
    return bool(_leaky(hours) and need / designed >= designed / max(gives_kw, 0.1))


def _emitters_and_loss(
    hours: Hours, cold: ColdZone, weights: dict[str, float], load: UnitLoad
) -> tuple[Step, Step]:
    """Emitter output at the measured water temperature against the house's need, by measured and designed
    loss."""
    need, designed = need_kw(hours, cold, designed=False), need_kw(hours, cold, designed=True)
    able = float("nan")
    if hours.site.emitter:
        able = hours.mean(
            able_kw(hours, fill_nan(cold.target, hours.site.design.indoor_c)), steady_heating(hours)
        )
    ratio: Mapping[str, float] | None = (hours.result.get("heat_loss") or {}).get("ratio")
    low, high = (ratio["low"], ratio["high"]) if ratio else (None, None)
    loss = Value("loss_ratio", ratio["value"] if ratio else None, "-", low, high, "answer_loss_ratio")
    values = (Value("able_kw", able, "kW"), Value("need_kw", need[0], "kW", need[1], need[2]))
    least = hours.limit("answer_emission")
    leaky = _leaky(hours)
    small = None if not np.isfinite(able + need[0]) else able < least * need[0]
    by_loss = bool(small) and _lost_more(hours, cold, able / least)
    emitters = Step(
        "emitters",
        _judged("emitters", small and not by_loss, hours, cold, weights),
        values,
        "no_emitters" if small is None else "",
    )
    if emission(hours, cold, steady_heating(hours)) > hours.limit("answer_taken_most"):
        emitters = Step("emitters", "unknown", values, "emission_impossible")
    if ratio is None:
        return emitters, Step("house_loss", "unknown", (loss,), "no_heat_loss")
    by_loss |= _unit_full(hours, load) is True and _lost_more(hours, cold, hours.mean(space_kw(hours)))
    state: State = "binds" if by_loss and cold.cold.sum() >= FEWEST_COLD_MIN else "adds" if leaky else "fine"
    return emitters, Step("house_loss", state, (loss, Value("need_design_kw", designed[0], "kW")))


def _water_flow(hours: Hours, cold: ColdZone) -> Step:
    steady, nominal = steady_heating(hours), hours.site.heat_pump.flow_m3_per_h
    rate = hours.mean(hours.gauge("flow_rate"), steady)
    lift = hours.mean(hours.gauge("flow_temperature") - hours.gauge("return_temperature"), steady)
    values = (
        Value("flow_rate", rate, "m3/h"),
        Value("nominal_flow", nominal, "m3/h"),
        Value("lift", lift, "K", limit="answer_high_lift_k"),
    )
    if nominal and np.isfinite(rate):
        # A pump that follows the load gives less water in mild weather, and no larger difference.
        low = rate < hours.limit("answer_low_flow") * nominal and not lift < hours.limit(
            "answer_usual_lift_k"
        )
    elif np.isfinite(lift):
        low = lift > hours.limit("answer_high_lift_k")
    else:
        return Step("water_flow", "unknown", values, "no_flow_rate")
    return Step(
        "water_flow",
        "binds" if low and cold.cold.sum() >= FEWEST_COLD_MIN else "adds" if low else "fine",
        values,
    )


def _output(hours: Hours, cold: ColdZone, weights: dict[str, float], load: UnitLoad) -> Step:
    """The unit has no reserve: it hardly stops, gives its rating, or misses the set flow temperature."""
    values = (
        Value("running_share", load.running, "-", limit="answer_running_share"),
        Value("output_share", load.output, "-", limit="answer_full_share"),
        Value("lacking_share", load.lacking, "-", limit="answer_lacking_share"),
    )
    if not np.isfinite(load.running):
        return Step("output", _judged("output", None, hours, cold, weights), values, "no_running")
    wrong = _unit_full(hours, load)
    if wrong is None:  # a unit that always runs may run at its least output
        heat_read = bool(np.isfinite(hours.minutes.heat[hours.in_question]).any())
        return Step("output", "unknown", values, "no_output_rating" if heat_read else "no_output")
    wrong = wrong and not _lost_more(hours, cold, hours.mean(space_kw(hours)))
    return Step("output", _judged("output", wrong, hours, cold, weights), values)


def _unit_full(hours: Hours, load: UnitLoad) -> bool | None:
    """Whether the unit gives all it can; None where that is not known."""
    always = load.running >= hours.limit("answer_running_share")
    if np.isfinite(load.output) or _has_water_temperatures(hours):
        full = load.output >= hours.limit("answer_full_share") or load.lacking >= hours.limit(
            "answer_lacking_share"
        )
        return bool(always and full)
    return False if np.isfinite(load.running) and not always else None


def _has_water_temperatures(hours: Hours) -> bool:
    """Whether the set flow temperature is read beside the flow's own."""
    return hours.site.measures("target_flow_temperature") and hours.site.measures("flow_temperature")


_FIRST = ("target", "set_back", "other_source", "stopped", "thermostat", "windows", "water_flow")
"""Causes that outrank those that the model weighs: while one of them holds, valve, water and output can't
be judged."""


def _one_binds(
    steps: list[Step], weights: dict[str, float], *, lags_alone: bool = False
) -> tuple[list[Step], float]:
    """Choose the limiting step; the others add to it. Returns the steps and the limiting step's weight."""
    found = [s.code for s in steps if s.state == "binds"]
    ranked = [c for c in _FIRST if c in found]
    lowered = any(s.code == "set_back" and s.reason == "lowered" for s in steps)
    if {"set_back", "water_flow"} <= set(ranked) and not lowered:
        # Rooms come back late for lack of water.
        ranked.remove("water_flow")
        ranked.insert(ranked.index("set_back"), "water_flow")
    ranked += sorted((c for c in found if c not in _FIRST), key=lambda c: -weights.get(c, 0.0))
    if not ranked:
        return _nothing_binds(steps, weights, lags_alone=lags_alone)
    out = [replace(s, state="adds") if s.state == "binds" and s.code != ranked[0] else s for s in steps]
    return out, weights.get(ranked[0], PLAIN)


def _lags_alone(hours: Hours, cold: ColdZone, by_code: Mapping[str, Step]) -> bool:
    """Whether a zone is cold most of the time and lags behind another while water, emitters, unit and house
    are in order: then its own valves are what is left."""
    in_order = all(
        by_code[code].settled.state == "fine"
        for code in ("flow_temperature", "emitters", "water_flow", "output", "house_loss", "windows")
    )
    known = hours.in_question & np.isfinite(cold.room)
    mostly = cold.cold.sum() > hours.limit("answer_mostly_cold") * known.sum()
    return bool(in_order and mostly and cold.gap >= hours.limit("answer_cold_k"))


def _nothing_binds(
    steps: list[Step], weights: dict[str, float], *, lags_alone: bool
) -> tuple[list[Step], float]:
    """Without a clear cause: the likeliest finding, a zone that lags alone, a set-back too deep to recover
    from in a day, or rooms as warm as set."""
    by_code = {s.code: s for s in steps}
    likely = [s.code for s in steps if s.state == "adds" and s.code in weights]
    if likely:
        first = max(likely, key=lambda c: weights[c])
        return [replace(s, state="binds") if s.code == first else s for s in steps], weights[first]
    if lags_alone:
        return [replace(s, state="binds") if s.code == "valve" else s for s in steps], _WEAK
    if by_code["set_back"].state == "adds":
        return [replace(s, state="binds") if s.code == "set_back" else s for s in steps], _WEAK
    target = by_code["target"]
    if target.reason == "as_asked":
        return [*steps, Step("as_set", "binds", target.values)], _WEAK
    return steps, 0.0
