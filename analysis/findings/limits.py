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

RETIRED = frozenset(
    {
        "defrost_frost_g_per_kw", "defrost_interval_minutes", "defrost_light_wh_per_kw", "defrost_melting_wh_per_kw",
        "defrost_thick_frost_g_per_kw", "dry_defrost_share", "dry_frost_index", "efficiency_overall_watch",
        "frost_free_above_c", "room_untold_deficit",
    }
)  # fmt: skip
"""Limits of earlier versions. Site files may still name them; nothing reads them any more."""
