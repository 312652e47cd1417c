"""Every threshold of the findings in one table: name, default, unit and where it comes from.

A site file's `[limits]` overrides a default by name.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldfare.analysis.advice.limits import LIMITS_ADVICE
from fieldfare.analysis.answers.limits import LIMITS_ANSWERS
from fieldfare.analysis.commissioned.limits import LIMITS_COMMISSIONED
from fieldfare.analysis.findings.cycling.limits import LIMITS_CYCLING
from fieldfare.analysis.findings.data.limits import LIMITS_DATA
from fieldfare.analysis.findings.defrost.limits import LIMITS_DEFROST
from fieldfare.analysis.findings.electric.limits import LIMITS_ELECTRIC
from fieldfare.analysis.findings.flow.limits import LIMITS_FLOW
from fieldfare.analysis.findings.heat.limits import LIMITS_HEAT
from fieldfare.analysis.findings.heat.limits_efficiency import LIMITS_EFFICIENCY
from fieldfare.analysis.findings.hot_water.limits import LIMITS_HOT_WATER
from fieldfare.analysis.findings.limit import Limit
from fieldfare.analysis.findings.limits_facts import LIMITS_FACTS
from fieldfare.analysis.findings.limits_verdict import LIMITS_VERDICT
from fieldfare.analysis.findings.stopped.limits import LIMITS_STOPPED
from fieldfare.analysis.reports.hand_limits import LIMITS_BY_HAND

if TYPE_CHECKING:
    from fieldfare.analysis.plant.site import Site

LIMITS: dict[str, Limit] = {
    **LIMITS_FACTS,
    **LIMITS_DATA,
    **LIMITS_STOPPED,
    **LIMITS_CYCLING,
    **LIMITS_DEFROST,
    **LIMITS_FLOW,
    **LIMITS_ELECTRIC,
    **LIMITS_HEAT,
    **LIMITS_EFFICIENCY,
    **LIMITS_HOT_WATER,
    **LIMITS_VERDICT,
    **LIMITS_ANSWERS,
    **LIMITS_ADVICE,
    **LIMITS_COMMISSIONED,
    **LIMITS_BY_HAND,
}

RETIRED = frozenset(
    {
        "defrost_chance",
        "defrost_chance_act",
        "defrost_frost_g_per_kw",
        "defrost_interval_minutes",
        "defrost_light_wh_per_kw",
        "defrost_melting_wh_per_kw",
        "defrost_thick_frost_g_per_kw",
        "dry_defrost_share",
        "dry_frost_index",
        "efficiency_overall_watch",
        "emptied_unseen_chance",
        "frost_free_above_c",
        "low_flow_chance",
        "room_untold_deficit",
    }
)
"""Limits of earlier versions: accepted in site files and ignored."""


def limit_of(site: Site, name: str) -> float:
    """A limit of the site: from its `[limits]`, else the default; widened by the effect of surplus
    electricity."""
    return float(site.limits.get(name, LIMITS[name].default)) + _raised(site, name)


def _raised(site: Site, name: str) -> float:
    """What `[pv]` lets flow and rooms rise above curve and target [K]; 0 for every other limit."""
    if site.pv is None:
        return 0.0
    if name in _OF_FLOW:
        return site.pv.raises_flow_k
    return site.pv.raises_room_k if name in _OF_ROOMS else 0.0


_OF_FLOW = frozenset({"flow_above_curve_note_k", "flow_above_curve_watch_k", "flow_above_curve_act_k"})
_OF_ROOMS = frozenset({"zone_hot_k"})
