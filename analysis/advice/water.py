"""Hot water: what a cooler store saves."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from fieldfare.analysis.advice.saving import cop_between
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.plant.site import Site

WATER_KEEPS = (1.0, 1.6)
"""A unit's gain over the second law's at the lifts of hot water, where its own efficiency falls too: Staffell
2012 gives 2.5 %/K at 50 K where the second law alone gives 1.6 (from memory:
6.81 - 0.121 dT + 0.00063 dT2)."""
HABIT_DOUBT = 0.25
"""Relative doubt of what a store saves: draws fall on other hours, and charges start elsewhere (common
practice, no source)."""
_BY_CHANCE = 0.3  # share of immersion days beyond the disinfection's that may be chance (common practice)


def cooler_store(
    site: Site, facts: Facts, result: Mapping[str, Any], top_k: float, mean_k: float
) -> Estimate:
    """Electricity saved over the days by a cooler store [kWh]. Raises NotAssessed.

    top_k : by how much charges end cooler [K], which is less lift; mean_k : by how much the store is cooler
    on average [K], which is less standing loss. What is drawn stays the same.
    """
    if site.hot_water is None:
        raise NotAssessed("the system makes no hot water", "not_applicable")
    charges = facts.reheats
    if not charges.knows("electricity"):
        raise NotAssessed("needs charges of the cylinder with heat_pump_electricity", "missing_quantity")
    flow, outdoor = charges.floats("flow"), charges.floats("outdoor")
    energy = charges.floats("electricity")
    known = np.isfinite(flow) & np.isfinite(outdoor) & np.isfinite(energy)
    if not known.any():
        raise NotAssessed(
            "needs flow_temperature and outdoor_temperature during the charges", "missing_quantity"
        )
    by_heater, completed_k = _completed(site, facts, top_k)
    top_k = max(top_k - completed_k, 0.0)
    lift = 1.0 - cop_between(outdoor[known], flow[known]) / cop_between(outdoor[known], flow[known] - top_k)
    by_lift = float(np.sum(energy[known] * lift))
    by_loss = _standing(site, facts, result, mean_k, float(energy[known].sum()))
    heat = charges.total("heat")
    replaced = by_heater * (1.0 - float(energy[known].sum()) / heat) if heat > 0.0 else 0.0
    ends = sorted(by_lift * keeps + by_loss + replaced for keeps in WATER_KEEPS)
    value = sum(ends) / 2.0
    return Estimate.around(value, math.hypot(ends[1] - value, HABIT_DOUBT * value))


def _completed(site: Site, facts: Facts, top_k: float) -> tuple[float, float]:
    """Immersion heat that a cooler setpoint spares [kWh], and how far the heater lifts the store [K]: only
    where it finishes charges on more days than the disinfection needs."""
    days, water = facts.days, site.hot_water
    if water is None or not {"immersion_from_c", "immersion_to_c", "electricity_immersion_kwh"} <= set(
        days.names
    ):
        return 0.0, 0.0
    lifted = days.floats("immersion_to_c") - days.floats("immersion_from_c")
    heated = np.isfinite(lifted) & (lifted > 0.0)
    planned = len(days) / water.pasteurise_every_days if water.pasteurise_c else 0.0
    finishing = 1.0 - planned / max(float(heated.sum()), 1.0)
    if finishing <= _BY_CHANCE:
        return 0.0, 0.0
    typical = float(np.median(lifted[heated]))
    return days.total("electricity_immersion_kwh") * finishing * min(top_k / typical, 1.0), typical


def _standing(site: Site, facts: Facts, result: Mapping[str, Any], cooler_k: float, energy: float) -> float:
    """Electricity for the part of the standing loss that goes with the store's temperature [kWh]."""
    water = result.get("hot_water") or {}
    loss = water.get("standing_loss_kwh_per_day") or (
        site.hot_water and site.hot_water.standing_loss_kwh_per_day
    )
    heat = facts.reheats.total("heat")
    if not loss or heat <= 0 or site.hot_water is None:
        return 0.0
    room = facts.days.mean("room") if facts.days.knows("room") else site.design.indoor_c
    excess = max(site.hot_water.setpoint_c - room, 5.0)
    return float(loss) * (cooler_k / excess) * len(facts.days) * energy / heat
