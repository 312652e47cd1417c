"""Temperature lost by mixing in a parallel buffer, and what a matched flow saves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldfare.analysis.advice.heating_days import heating_days
from fieldfare.analysis.advice.saving import EFFICIENCY_KEEPS, cop_over
from fieldfare.analysis.advice.shared import lacking
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site


@dataclass(frozen=True)
class Mixing:
    """drop_k : flow minus flow behind the buffer. left_k : remaining difference. saves [kWh over the days]:
    by a curve lowered by the difference, with the same water at the emitters"""

    drop_k: float
    left_k: float
    saves: Estimate


def mixing(site: Site, facts: Facts, result: Mapping[str, Any]) -> Mixing:
    """Saving of a buffer without mixing. Raises NotAssessed."""
    if site.buffer is None or site.buffer.arrangement != "parallel":
        raise NotAssessed("the system has no parallel buffer", "not_applicable")
    if "buffer_drop" not in facts.days.names:
        raise NotAssessed(
            lacking(site, "flow_temperature", "distribution_flow_temperature"), "missing_quantity"
        )
    days = heating_days(site, facts, result)
    drop = facts.days.floats("buffer_drop")[days.day]
    known = np.isfinite(drop)
    if known.sum() < limit_of(site, "advice_fewest_days"):
        raise NotAssessed("needs more heating days with the flow beyond the buffer", "too_few_days")
    left = limit_of(site, "advice_buffer_left_k")
    middle = float(np.median(drop[known]))
    if middle < limit_of(site, "advice_buffer_drop_k"):
        raise NotAssessed(f"the buffer mixes little: {middle:.1f} K are lost in it", "not_applicable")
    lower = np.maximum(drop[known] - left, 0.0)
    outdoor, flow = days.outdoor[known], days.flow[known]
    costs = cop_over(site, outdoor, flow, outdoor, flow - lower)
    gain = float(np.sum((days.electricity - days.pump)[known] * (1.0 - costs)))
    low, high = (gain * keeps for keeps in EFFICIENCY_KEEPS)
    return Mixing(middle, left, Estimate((low + high) / 2.0, low, high))
