"""Runs every finding over the facts and figures of a period."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.facts.tables import Facts
from analysis.findings.model import Finding, NotAssessedCode, Recognised
from analysis.plant.site import Site

if TYPE_CHECKING:
    from analysis.result import Figures

Judgement = tuple[tuple[Finding, ...], tuple[NotAssessedCode, ...], tuple[Recognised, ...]]


def judge(site: Site, facts: Facts, figures: Figures) -> Judgement:
    """Findings, worst first; what could not be assessed and why; and what was unusual but no fault."""
    return (), (), ()
