"""Steps of tuning in the maintenance log: a job whose key replaces the finding code and holds the setting and
its values."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from sqlalchemy import select

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.tuning.steps import UNITS, TuningStep
from fieldfare.api.records.sign_off import is_sign_off
from fieldfare.api.state.database import Database
from fieldfare.api.state.work_tables import Work

_KEY = re.compile(r"tune:([a-z_]{1,20})((?::\d{1,3}\.\d>\d{1,3}\.\d){1,2})")
_RANGES = {
    "heating_curve": (15.0, 80.0),
    "set_back": (0.0, 15.0),
    "pump_speed": (0.3, 40.0),
    "hot_water_setpoint": (30.0, 80.0),
    "hot_water_reheat": (20.0, 80.0),
}
"""What a setting can be at all, to catch slips of the finger; in the setting's unit."""


def key_of(step: TuningStep) -> str:
    """Key of a step, used in place of a finding code: `tune:set_back:4.0>2.0`."""
    pairs = "".join(f":{a:.1f}>{b:.1f}" for a, b in zip(step.before, step.after, strict=True))
    return f"tune:{step.code}{pairs}"


def is_step(finding: str | None) -> bool:
    return bool(finding and _KEY.fullmatch(finding))


def step_of(day: date, finding: str | None) -> TuningStep | None:
    """The step of a job; None for any other job."""
    found = _KEY.fullmatch(finding or "")
    if found is None or found[1] not in UNITS:
        return None
    pairs = [tuple(float(v) for v in pair.split(">")) for pair in found[2][1:].split(":")]
    return TuningStep(day, found[1], tuple(p[0] for p in pairs), tuple(p[1] for p in pairs))


def checked_step(day: date, code: str, before: Sequence[float], after: Sequence[float]) -> TuningStep:
    """Validate a reported step. Raises InputError with the first error."""
    if code not in UNITS:
        raise InputError(f"{code[:40]!r} is no setting; use {', '.join(UNITS)}")
    if day > datetime.now(UTC).date() + timedelta(days=1):
        raise InputError(f"a step is logged when it has been made; {day} is still to come")
    many = 2 if code == "heating_curve" else 1
    low, high = _RANGES[code]
    for name, values in (("before", before), ("after", after)):
        if len(values) != many:
            raise InputError(f"{name}: give {many} {'values' if many > 1 else 'value'}, got {len(values)}")
        for value in values:
            if not math.isfinite(value) or not low <= value <= high:
                raise InputError(
                    f"{name}: must lie between {low:g} and {high:g} {UNITS[code]}, got {value:g}"
                )
    step = TuningStep(
        day, code, tuple(round(float(v), 1) for v in before), tuple(round(float(v), 1) for v in after)
    )
    if step.before == step.after:
        raise InputError("before and after are the same; a step changes a setting")
    return step


def steps_of(database: Database, site: str, first: date, last: date) -> tuple[list[TuningStep], list[date]]:
    """Tuning steps in a period, and the days of all other jobs in it, except signed checks."""
    chosen = select(Work.day, Work.finding).where(Work.site == site, Work.day >= first, Work.day <= last)
    steps: list[TuningStep] = []
    others: list[date] = []
    with database.read() as session:
        for day, finding in session.execute(chosen.order_by(Work.day, Work.id)):
            step = step_of(day, finding)
            if step is not None:
                steps.append(step)
            elif not is_sign_off(finding):
                others.append(day)
    return steps, others
