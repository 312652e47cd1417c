"""Noise at night: speed, starts, defrosts, hot water, water and air in pipes, in the hours named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldfare.analysis.answers.hours import Hours, Step, Value, defrosts_show
from fieldfare.analysis.answers.ice import as_frost_asks
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.figures.operation import cycling
from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.analysis.minutes.operating_state import DEFROST, HOT_WATER, OFF

_RAISED_K = 0.3
_PLAIN, _WEAK = 0.8, 0.5
ORDER = ("air", "defrosts", "hot_water_at_night", "short_runs", "high_speed", "water_noise", "quiet")


def noise_steps(hours: Hours) -> tuple[list[Step], float]:
    """All steps; the one that exceeds its limit most is the cause."""
    steps = [
        _air(hours),
        _defrosts(hours),
        _hot_water(hours),
        _short_runs(hours),
        _high_speed(hours),
        _water(hours),
    ]
    over = {s.code: _excess(hours, s) for s in steps if s.state == "binds"}
    if not over:
        asked = [s for s in steps if s.settled.state != "not_here"]
        if 2 * sum(s.state == "unknown" for s in asked) > len(asked):
            return steps, 0.0  # too little data is not quiet
        quiet = hours.mean(hours.minutes.use.running.astype(float))
        return [*steps, Step("quiet", "binds", (Value("running_share", quiet, "-"),))], _WEAK
    # Defrosts that the frost asks for are usual: what else is beyond its limit comes first.
    usual = {s.code for s in steps if s.reason == "by_frost"}
    loudest = max(over, key=lambda code: (code not in usual, over[code]))
    return [
        replace(s, state="adds") if s.state == "binds" and s.code != loudest else s for s in steps
    ], _PLAIN


def _excess(hours: Hours, step: Step) -> float:
    """How far a step's numbers lie beyond their limits at most [-]: 1 at the limit."""
    each = [1.0]
    for v in step.values:
        if v.limit and isinstance(v.value, float) and np.isfinite(v.value):
            over = v.value / hours.limit(v.limit)
            each.append(1.0 / max(over, 1e-6) if LIMITS[v.limit].side == "below" else over)
    return max(each)


def _air(hours: Hours) -> Step:
    bar = hours.gauge("system_pressure")
    if not np.isfinite(bar[hours.inside]).any():
        return Step("air", "unknown", (), "no_pressure")
    lowest = float(np.nanmin(bar[hours.inside]))
    return Step(
        "air",
        "binds" if lowest < hours.limit("answer_low_bar") else "fine",
        (Value("lowest_bar", lowest, "bar", limit="answer_low_bar"),),
    )


def _defrosts(hours: Hours) -> Step:
    if hours.site.heat_pump.source != "air":
        return Step("defrosts", "fine", (), "no_air")
    if not defrosts_show(hours):
        return Step("defrosts", "unknown", (), "no_defrost_signal")
    mine = hours.events(hours.facts.defrosts)
    a_night = len(mine) / hours.nights
    values: tuple[Value, ...] = (
        Value("defrosts_a_night", a_night, "1/night", limit="answer_defrosts_a_night"),
    )
    usual = hours.usual.defrosts
    if len(hours.usual.days) >= hours.limit("answer_usual_nights"):
        share = max(float(hours.in_question.sum()) / max(float(hours.inside.sum()), 1.0), 1e-6)
        values += (Value("usual_defrosts", len(usual) / len(hours.usual.days) * share, "1/night"),)
    if len(mine):
        values += (Value("defrost_minutes", mine.median("minutes"), "min"),)
    if a_night <= hours.limit("answer_defrosts_a_night"):
        return Step("defrosts", "fine", values)
    return Step("defrosts", "binds", values, "by_frost" if as_frost_asks(hours) else "")


def _hot_water(hours: Hours) -> Step:
    """The cylinder is charged in the hours named: units then run hard."""
    code = hours.minutes.use.code
    known = hours.in_question & (code >= 0)
    if not known.any() or hours.site.hot_water is None:
        reason = "no_running" if hours.site.hot_water else "no_hot_water"
        return Step("hot_water_at_night", "unknown", (), reason)
    running = hours.minutes.use.running & known
    share = float((code == HOT_WATER)[running].mean()) if running.any() else 0.0
    charges = len(hours.events(hours.facts.reheats)) / hours.nights
    values = (
        Value("charging_share", share, "-", limit="answer_charging_share"),
        Value("charges_a_night", charges, "1/night"),
    )
    return Step(
        "hot_water_at_night", "binds" if share > hours.limit("answer_charging_share") else "fine", values
    )


def _short_runs(hours: Hours) -> Step:
    if cycling(hours.site, hours.facts).starts is None:
        return Step("short_runs", "unknown", (), "no_starts")
    runs = hours.events(hours.facts.runs)
    length_h = max(float(hours.in_question.sum()) / 60.0, 1e-6)
    an_hour = len(runs) / length_h
    values: tuple[Value, ...] = (Value("starts_an_hour", an_hour, "1/h", limit="answer_starts_per_h"),)
    often = an_hour > hours.limit("answer_starts_per_h")
    if len(runs):
        length = runs.median("minutes")
        values += (Value("run_minutes", length, "min", limit="answer_short_run_min"),)
        short = length < hours.limit("answer_short_run_min")
        often = often or (short and an_hour >= hours.limit("answer_short_starts_per_h"))
    return Step("short_runs", "binds" if often else "fine", values)


def _high_speed(hours: Hours) -> Step:
    """Compressor and fan near their greatest speed; and whether a set-back's end makes them hurry. A charge
    of the cylinder is fast by itself and is another step's."""
    speed, code = hours.gauge("compressor_speed"), hours.minutes.use.code
    read = hours.in_question & (code != OFF) & (code != DEFROST) & np.isfinite(speed)
    if not read.any():
        return Step("high_speed", "unknown", (), "no_speed")
    running = read & (code != HOT_WATER)
    if not running.any():
        return Step("high_speed", "fine", (Value("fast_share", 0.0, "-", limit="answer_fast_time"),))
    greatest = max(float(np.nanmax(speed)), 1.0)
    top = max(100.0, greatest) if greatest > 1.5 else 1.0
    fast = speed >= hours.limit("answer_fast_share") * top
    share = float(fast[running].mean())
    target = hours.gauge("target_room_temperature")
    raised = np.concatenate(([0.0], np.diff(fill_nan(target, 0.0)))) > _RAISED_K
    values = (
        Value("fast_share", share, "-", limit="answer_fast_time"),
        Value("mean_speed", hours.mean(speed, running) / top, "-"),
        Value("target_raised", float((raised & hours.in_question).sum()) / hours.nights, "1/night"),
    )
    return Step("high_speed", "binds" if share > hours.limit("answer_fast_time") else "fine", values)


def _water(hours: Hours) -> Step:
    rate, nominal = hours.gauge("flow_rate"), hours.site.heat_pump.flow_m3_per_h
    flowing = hours.in_question & (fill_nan(rate, 0.0) > 0.05)
    if not flowing.any() or not nominal:
        return Step("water_noise", "unknown", (), "no_flow_rate")
    share = hours.mean(rate, flowing) / nominal
    values = (Value("flow_share", share, "-", limit="answer_high_flow"),)
    return Step("water_noise", "binds" if share > hours.limit("answer_high_flow") else "fine", values)
