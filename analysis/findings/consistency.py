"""Consistency of one result: no contradicting advice; known evidence only, and limits only where a value
passes them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from math import isfinite

from fieldfare.analysis.findings.model import Evidence, Finding, Setting

COMFORT_FIRST = ("room_below_target", "hot_water_shortfall", "disinfection_lacking", "pasteurisation_missed")
"""Findings whose direction holds in a conflict: people go cold or come to harm before electricity is
saved."""

ROUNDING = 0.01
"""Relative: the half of the last digit of two that a number is rounded to for people."""

# Consequences of a finding: codes, and the first causes for which they are consequences; empty for any.
_CONSEQUENCES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "unit_stopped": (
        ("room_below_target", "hot_water_shortfall", "capacity_short", "reheat_incomplete", "slow_reheat"),
        (),
    ),
    "reheat_incomplete": (("hot_water_shortfall", "slow_reheat"), ("sensor_fault", "diverter_stuck")),
}
_ROOTS = {
    "unit_stopped": "the heat pump does not run ({code})",
    "reheat_incomplete": "the heat of the charges does not reach the cylinder's sensor ({code})",
}
_SURE = ("act", "urgent")

_WORDS: dict[Setting, str] = {
    "flow_temperature": "flow temperature",
    "hot_water_setpoint": "hot-water set temperature",
}


def without_conflicts(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Postpone advice that contradicts another finding's.

    findings : in their order, worst first
    Returns them in the same order. Of two that move one setting in opposite directions, the one about comfort
    or safety keeps its advice, else the one that comes first; the other says to wait and changes no setting.
    """
    holder: dict[Setting, Finding] = {}
    for finding in sorted(findings, key=lambda f: f.code not in COMFORT_FIRST):
        for setting, _ in finding.changes:
            holder.setdefault(setting, finding)
    return tuple(_checked(finding, holder) for finding in findings)


def without_consequences(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Remove causes and advice from findings that are consequences of another.

    Rooms and water that go cold while the unit stands tell nothing about curve, valves or time programmes.
    """
    out = list(findings)
    for root in (f for f in findings if f.until is None and f.severity in _SURE):
        codes, causes = _CONSEQUENCES.get(root.code, ((), ()))
        if not causes or (root.causes and root.causes[0].cause in causes):
            out = [_as_consequence(f, root) if _follows(f, root, codes) else f for f in out]
    return tuple(out)


def _follows(finding: Finding, root: Finding, codes: tuple[str, ...]) -> bool:
    day_before = (date.fromisoformat(root.since) - timedelta(1)).isoformat()
    return finding.code in codes and finding.since >= day_before


def _as_consequence(finding: Finding, root: Finding) -> Finding:
    why = _ROOTS[root.code].format(code=root.code)
    step = f"Change no setting for this: {why}. Look again once that is mended."
    return replace(finding, causes=(), next_step=step, changes=(), visit="none", bring=())


def _checked(finding: Finding, holder: dict[Setting, Finding]) -> Finding:
    for setting, direction in finding.changes:
        other = holder[setting]
        if direction != dict(other.changes)[setting]:
            name = _WORDS[setting]
            wait = (
                f"Leave the {name} as it is for now: another finding ({other.code}) needs it changed"
                " in the opposite direction. Resolve that one first, then review this one."
            )
            home = (
                finding.home
                and "Your installer will look at this setting once the rooms and the hot water are right."
            )
            return replace(finding, next_step=wait, home=home, changes=(), visit="none")
    return finding


def with_known_evidence(finding: Finding) -> Finding:
    """Remove evidence that nobody measured: the finding rests on the rest."""
    return replace(finding, evidence=tuple(e for e in finding.evidence if _is_known(e)))


def _is_known(e: Evidence) -> bool:
    return e.value is not None and (isinstance(e.value, str) or isfinite(e.value))


def with_passed_limits(finding: Finding) -> Finding:
    """Remove limits that are not exceeded from a finding's evidence.

    Such a number explains or rules something out; a limit beside it would seem to contradict the finding. A
    note may stand before its limit.
    """
    if finding.severity == "note":
        return finding
    return replace(finding, evidence=tuple(_without_idle_limit(e) for e in finding.evidence))


def _without_idle_limit(e: Evidence) -> Evidence:
    if e.limit is None or e.side is None or e.value is None or isinstance(e.value, str):
        return e
    over = e.value - e.limit if e.side == "above" else e.limit - e.value
    # The value is rounded for people, so a limit that was just reached may seem missed by its last digit.
    passed = over >= -ROUNDING * max(abs(e.limit), abs(e.value))
    return e if passed else replace(e, limit=None, limit_name=None, side=None)
