"""Findings about the operation: how it starts, defrosts, what temperature and how much water it runs with,
how it rests."""

from __future__ import annotations

from fieldfare.analysis.findings.context import Rule
from fieldfare.analysis.findings.cycling import starts
from fieldfare.analysis.findings.defrost import excess
from fieldfare.analysis.findings.electric import idle
from fieldfare.analysis.findings.flow import water_flow
from fieldfare.analysis.findings.heat import curve

RULES: tuple[Rule, ...] = (
    *starts.RULES,
    *excess.RULES,
    *curve.RULES,
    *water_flow.RULES,
    *idle.RULES,
)
