"""Complaints in a home with another heat source: which of the sources should have heated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldfare.analysis.answers.hours import Flags, Hours, Step, Value

CODE = "other_source"
_GIVES_W = 200.0  # below it a meter drifts at rest (common practice)
_SHOWN, _LIKELY = 0.9, 0.6  # weight of a source that is seen to give nothing; of one that has the turn alone
_OF_THE_PUMP = frozenset(
    {
        "stopped",
        "thermostat",
        "flow_temperature",
        "water_flow",
        "output",
        "schedule",
        "setpoint_missed",
        "slow",
    }
)
"""Steps that look at the heat pump."""


def cold_turn(hours: Hours, cold: Flags) -> tuple[Step | None, float]:
    """Whether another source had to warm the rooms while they were cold, and the weight with which it failed.

    cold : bool (n,), minutes in which a zone was cold; where none is, the hours asked about count
    None without such a source.
    """
    sources = hours.site.other_heat_for("space_heating")
    if not sources:
        return None, 0.0
    rows = cold if cold.any() else hours.in_question
    outdoor = hours.mean(hours.gauge("outdoor_temperature"), rows)
    gives = _gives_kw(hours, rows)
    limits = [s.below_c for s in sources if s.below_c is not None]
    values = (
        Value("outdoor", outdoor, "°C"),
        Value("works_below", max(limits) if limits else None, "°C"),
        Value("other_kw", gives, "kW"),
    )
    turn = None if not limits or not np.isfinite(outdoor) else outdoor < max(limits)
    alone = any(s.alone for s in sources)
    if np.isfinite(gives):
        failed = bool(turn) and gives * 1000.0 < _GIVES_W and bool(cold.any())
        if not failed and turn and alone and cold.any():  # it works, and too little of it arrives
            return Step(CODE, "binds", values), _LIKELY
        return Step(CODE, "binds" if failed else "fine", values), _SHOWN if failed else 0.0
    if turn is False:
        return Step(CODE, "fine", values, "not_its_turn"), 0.0
    if turn and alone and cold.any():
        return Step(CODE, "binds", values, "other_not_metered"), _LIKELY
    return Step(CODE, "unknown", values, "other_not_metered"), 0.0


def _gives_kw(hours: Hours, rows: Flags) -> float:
    other = hours.minutes.balance.other_heat
    return float("nan") if other is None else hours.mean(other * 0.06, rows)


def without_the_pump(steps: list[Step], turn: Step) -> list[Step]:
    """The steps where another source had the turn, or may have had it: none of the heat pump's own is
    judged."""
    if turn.state == "binds" or turn.reason == "works_now":
        reason = "not_the_pumps_turn"
    elif turn.reason == "turn_not_told":
        reason = "turn_not_told"
    else:
        return steps
    return [replace(s, state="unknown", reason=reason) if s.code in _OF_THE_PUMP else s for s in steps]


def water_turn(hours: Hours, cold: Flags) -> tuple[Step | None, float]:
    """Whether a boiler had to charge the cylinder while its water was too cold, and the weight with which it
    failed. A solar collector has no turn: the heat pump charges what the sun does not.

    cold : bool (n,), minutes with water too cold; where none is, the hours asked about count
    None where no other source makes hot water.
    """
    sources = hours.site.other_heat_for("hot_water")
    if not sources:
        return None, 0.0
    rows = cold if cold.any() else hours.in_question
    outdoor, gives = hours.mean(hours.gauge("outdoor_temperature"), rows), _gives_kw(hours, rows)
    boilers = [s for s in sources if s.kind == "boiler"]
    limits = [s.below_c for s in boilers if s.below_c is not None]
    values = (
        Value("outdoor", outdoor, "°C"),
        Value("works_below", max(limits) if limits else None, "°C"),
        Value("other_kw", gives, "kW"),
    )
    if not boilers:
        return Step(CODE, "unknown", values, "other_makes_water"), 0.0
    if len(limits) < len(boilers) or not np.isfinite(outdoor):
        return Step(CODE, "unknown", values, "turn_not_told"), 0.0
    if outdoor >= max(limits):
        return Step(CODE, "fine", values, "not_its_turn"), 0.0
    if not cold.any() or gives * 1000.0 >= _GIVES_W:
        return Step(CODE, "fine" if np.isfinite(gives) else "unknown", values, "works_now"), 0.0
    if np.isfinite(gives):
        return Step(CODE, "binds", values), _SHOWN
    return Step(CODE, "binds", values, "other_not_metered"), _LIKELY
