"""Every threshold of the findings in one table: name, default, unit and where it comes from.

A site file's `[limits]` overrides a default by name.
"""

from __future__ import annotations

from fieldfare.analysis.advice.limits import LIMITS_ADVICE
from fieldfare.analysis.answers.limits import LIMITS_ANSWERS
from fieldfare.analysis.findings.cycling.limits import LIMITS_OPERATION
from fieldfare.analysis.findings.data.limits import LIMITS_TRUST
from fieldfare.analysis.findings.heat.limits import LIMITS_HEAT
from fieldfare.analysis.findings.hot_water.limits import LIMITS_WATER
from fieldfare.analysis.findings.limit import Limit
from fieldfare.analysis.findings.limits_facts import LIMITS_FACTS
from fieldfare.analysis.findings.limits_verdict import LIMITS_VERDICT
from fieldfare.analysis.findings.stopped.limits import LIMITS_RUNNING

LIMITS: dict[str, Limit] = {
    **LIMITS_FACTS,
    **LIMITS_TRUST,
    **LIMITS_RUNNING,
    **LIMITS_OPERATION,
    **LIMITS_HEAT,
    **LIMITS_WATER,
    **LIMITS_VERDICT,
    **LIMITS_ANSWERS,
    **LIMITS_ADVICE,
}

RETIRED = frozenset(
    {
        "defrost_frost_g_per_kw",
        "defrost_interval_minutes",
        "defrost_light_wh_per_kw",
        "defrost_melting_wh_per_kw",
        "defrost_thick_frost_g_per_kw",
        "dry_defrost_share",
        "dry_frost_index",
        "efficiency_overall_watch",
        "frost_free_above_c",
        "room_untold_deficit",
    }
)
"""Limits of earlier versions. Site files may still name them; nothing reads them any more."""
