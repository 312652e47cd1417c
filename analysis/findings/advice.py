"""Keeps the advice of one result consistent: no two findings move the same setting in opposite directions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis.findings.model import Finding, Setting

COMFORT_FIRST = ("room_below_target", "hot_water_shortfall", "disinfection_lacking", "pasteurisation_missed")
"""Findings whose direction holds in a conflict: people go cold or come to harm before electricity is saved."""

_WORDS: dict[Setting, str] = {
    "flow_temperature": "flow temperature",
    "hot_water_setpoint": "hot-water set temperature",
}


def without_conflicts(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The findings, with advice that contradicts another finding's put off.

    findings : in their order, worst first
    Returns them in the same order. Of two that move one setting in opposite directions, the one about comfort or safety
    keeps its advice, else the one that comes first; the other says to wait and changes no setting.
    """
    holder: dict[Setting, Finding] = {}
    for finding in sorted(findings, key=lambda f: f.code not in COMFORT_FIRST):
        for setting, _ in finding.changes:
            holder.setdefault(setting, finding)
    return tuple(_checked(finding, holder) for finding in findings)


def _checked(finding: Finding, holder: dict[Setting, Finding]) -> Finding:
    for setting, direction in finding.changes:
        other = holder[setting]
        if direction != dict(other.changes)[setting]:
            name = _WORDS[setting]
            wait = (
                f"Leave the {name} as it is for now: another finding here ({other.code}) needs it the other way. "
                "Deal with that one first, then look at this one again."
            )
            home = (
                finding.home
                and "Your installer will look at this setting once the rooms and the hot water are right."
            )
            return replace(finding, next_step=wait, home=home, changes=(), visit="none")
    return finding
