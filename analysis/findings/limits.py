"""Every threshold of the findings in one table: name, default, unit and where it comes from.

A site file's `[limits]` overrides a default by name.
"""

from __future__ import annotations

from analysis.findings.limit import Limit
from analysis.findings.limits_facts import LIMITS_FACTS
from analysis.findings.limits_heat import LIMITS_HEAT
from analysis.findings.limits_operation import LIMITS_OPERATION
from analysis.findings.limits_running import LIMITS_RUNNING
from analysis.findings.limits_trust import LIMITS_TRUST
from analysis.findings.limits_verdict import LIMITS_VERDICT
from analysis.findings.limits_water import LIMITS_WATER

LIMITS: dict[str, Limit] = {
    **LIMITS_FACTS,
    **LIMITS_TRUST,
    **LIMITS_RUNNING,
    **LIMITS_OPERATION,
    **LIMITS_HEAT,
    **LIMITS_WATER,
    **LIMITS_VERDICT,
}
