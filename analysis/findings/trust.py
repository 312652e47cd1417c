"""Findings about the data: can the figures be trusted?

In this order: what an earlier one spoils, a later one that reads it does not judge.
"""

from __future__ import annotations

from analysis.findings.context import Rule
from analysis.findings.trust_clock import CLOCK_RULES
from analysis.findings.trust_meters import METER_RULES
from analysis.findings.trust_misplaced import MISPLACED_RULES
from analysis.findings.trust_outdoor import OUTDOOR_RULES
from analysis.findings.trust_registers import REGISTER_RULES
from analysis.findings.trust_silence import SILENCE_RULES
from analysis.findings.trust_units import UNIT_RULES

RULES: tuple[Rule, ...] = (
    *SILENCE_RULES,
    *REGISTER_RULES,
    *UNIT_RULES,
    *CLOCK_RULES,
    *OUTDOOR_RULES,
    *METER_RULES,
    *MISPLACED_RULES,
)
