"""Runs every finding over the facts and figures of a period."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from analysis.errors import NotAssessed
from analysis.facts.tables import Facts
from analysis.findings import heat, operation, recognised, trust, water
from analysis.findings.context import Context, Rule
from analysis.findings.model import SEVERITIES, Finding, NotAssessedCode, Recognised
from analysis.plant.site import Site

if TYPE_CHECKING:
    from analysis.result import Figures

Judgement = tuple[tuple[Finding, ...], tuple[NotAssessedCode, ...], tuple[Recognised, ...]]

DATA_RULES: tuple[Rule, ...] = trust.RULES
PLANT_RULES: tuple[Rule, ...] = (*operation.RULES, *heat.RULES, *water.RULES)
RULES: tuple[Rule, ...] = (*DATA_RULES, *PLANT_RULES)


def judge(site: Site, facts: Facts, figures: Figures) -> Judgement:
    """Findings, worst first; what could not be assessed and why; and what was unusual but no fault.

    Findings about the data come first: one about the plant is withheld, with the reason, where it reads a quantity
    that can't be trusted.
    """
    whole = Context(site, facts, facts, figures)
    unusual, judged = recognised.recognise(site, facts)
    found: list[Finding] = []
    missing: list[NotAssessedCode] = []
    spoiled: dict[str, Finding] = {}
    for rule in DATA_RULES:
        finding = _run(rule, whole, missing)
        if finding is None:
            continue
        found.append(finding)
        if rule.spoils is not None and SEVERITIES.index(finding.severity) >= 1:
            spoiled |= dict.fromkeys(rule.spoils(whole, finding), finding)
    plant = replace(whole, facts=judged, recognised=unusual)
    for rule in PLANT_RULES:
        touched = sorted(rule.reads & spoiled.keys())
        if touched:
            culprit = spoiled[touched[0]]
            reason = f"withheld: {touched[0]} can't be trusted ({culprit.code} since {culprit.since})"
            missing.append(NotAssessedCode(rule.code, reason))
            continue
        finding = _run(rule, plant, missing)
        if finding is not None:
            found.append(finding)
    found.sort(key=lambda f: (-SEVERITIES.index(f.severity), -f.confidence, f.code))
    return tuple(found), tuple(missing), unusual


def _run(rule: Rule, context: Context, missing: list[NotAssessedCode]) -> Finding | None:
    try:
        return rule.run(context)
    except NotAssessed as reason:
        missing.append(NotAssessedCode(rule.code, str(reason)))
        return None
