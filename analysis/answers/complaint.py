"""Complaints: cold rooms, no hot water, noise, ice. Evidence of the hours named, one cause, actions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from fieldfare.analysis.answers.actions import actions_of, cautions_of, plan_of
from fieldfare.analysis.answers.cold import cold_steps
from fieldfare.analysis.answers.hot_water import hot_water_steps
from fieldfare.analysis.answers.hours import Hours, Step
from fieldfare.analysis.answers.ice import ice_steps
from fieldfare.analysis.answers.noise import noise_steps
from fieldfare.analysis.errors import InputError
from fieldfare.analysis.reports.verdict import is_standing

COMPLAINTS: dict[str, Callable[[Hours], tuple[list[Step], float]]] = {
    "cold": cold_steps,
    "hot-water": hot_water_steps,
    "noise": noise_steps,
    "ice": ice_steps,
}
USUAL_HOURS: dict[str, tuple[int, int]] = {
    "cold": (0, 0),
    "hot-water": (0, 0),
    "noise": (22, 6),
    "ice": (0, 0),
}
"""Local hours that a complaint is about where the caller names none."""
USUAL_DAYS: dict[str, int] = {"cold": 7, "hot-water": 7, "noise": 7, "ice": 3}
"""Days up to the newest that it is about where the caller names none."""


def complaint(question: str, hours: Hours) -> dict[str, Any]:
    """Answer one complaint.

    Returns a JSON-ready document: `steps` in the order looked at, each with its state and numbers;
    `binding`, the one that
    is the cause, with its weight; `do`, what to do by phone, setting or visit; `tomorrow`, what will show
    that it helped.
    Raises InputError for another question.
    """
    if question not in COMPLAINTS:
        raise InputError(f"unknown question {question!r}; use bill, {', '.join(COMPLAINTS)}")
    steps, weight = COMPLAINTS[question](hours)
    steps = [s.settled for s in steps]
    binds = next((s for s in steps if s.state == "binds"), None)
    binding, plan = binds.code if binds else None, plan_of(question, binds, steps)
    details = hours.question
    return {
        "question": question,
        "asked": {
            "zone": details.zone,
            "from_hour": details.from_hour,
            "to_hour": details.to_hour,
            "since": details.since.isoformat() if details.since else None,
            "minutes": int(hours.in_question.sum()),
            "outdoor_c": _clean(hours.mean(hours.gauge("outdoor_temperature"))),
        },
        "steps": [_described(hours, s) for s in steps],
        "binding": binding,
        "weight": weight if binding else None,
        "findings": _open_findings(hours, question),
        **actions_of(plan, hours, binds),
        "cautions": cautions_of(question, binding, plan, hours),
    }


def _described(hours: Hours, step: Step) -> dict[str, Any]:
    values = [
        v for v in step.values if v.value is not None and (isinstance(v.value, str) or np.isfinite(v.value))
    ]
    plain = [replace(v, value=_clean(v.value)) for v in values]
    return {
        "code": step.code,
        "state": step.state,
        "reason": step.reason or None,
        "finding": _contradicting(hours, step),
        "values": [v.as_dict(hours.limit(v.limit) if v.limit else None) for v in plain],
    }


AGAINST: dict[str, tuple[str, ...]] = {
    "target": ("room_below_target",),
    "stopped": ("unit_stopped", "fault_reported"),
    "flow_temperature": ("flow_temperature_above_curve", "no_weather_compensation"),
    "water_flow": ("low_flow", "falling_flow"),
    "output": ("capacity_short",),
    "house_loss": ("heat_loss_above_design",),
    "loss": ("high_standing_loss",),
    "slow": ("slow_reheat",),
    "setpoint_missed": ("reheat_incomplete",),
    "air": ("pressure_low", "pressure_falling"),
    "short_runs": ("short_cycling",),
    "too_often": ("excessive_defrost",),
    "defrosts": ("excessive_defrost",),
    "no_defrosts": ("defrost_without_frost",),
}
"""Step -> findings about the same thing: while one is open, the step is not in order, cause or not."""


def _contradicting(hours: Hours, step: Step) -> str | None:
    """The open finding about what a step, which is not the cause here, looks at."""
    if step.state != "fine":
        return None
    open_ = _open_codes(hours)
    return next((code for code in AGAINST.get(step.code, ()) if code in open_), None)


def _open_codes(hours: Hours) -> set[str]:
    """Codes of the home's standing findings that ask for something."""
    return {f["code"] for f in hours.result.get("findings", []) if is_standing(f)}


_ABOUT: dict[str, tuple[str, ...]] = {
    "cold": (
        "unit_stopped",
        "fault_reported",
        "room_below_target",
        "capacity_short",
        "low_flow",
        "heat_loss_above_design",
    ),
    "hot-water": (
        "unit_stopped",
        "fault_reported",
        "hot_water_shortfall",
        "slow_reheat",
        "reheat_incomplete",
        "high_standing_loss",
        "diverter_passing",
    ),
    "noise": ("short_cycling", "excessive_defrost", "pressure_low", "low_flow", "fault_reported"),
    "ice": ("excessive_defrost", "defrost_without_frost", "fault_reported"),
}


def _open_findings(hours: Hours, question: str) -> list[str]:
    """Standing findings that bear on the complaint, the weightiest first."""
    about = _ABOUT[question]
    open_ = _open_codes(hours)
    return [code for code in about if code in open_]


def _clean(value: float | str | None) -> float | str | None:
    if value is None or isinstance(value, str):
        return value
    return float(f"{value:.6g}") if np.isfinite(value) else None
