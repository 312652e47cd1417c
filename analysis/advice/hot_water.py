"""Saving of a lower hot-water setpoint."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from fieldfare.analysis.advice.saving import EFFICIENCY_KEEPS, cop_over
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.physics.hot_water import WH_PER_LITRE_KELVIN
from fieldfare.analysis.plant.site import Site

HABIT_DOUBT = 0.25
"""Relative doubt of what a store saves: draws fall on other hours, and charges start elsewhere (common
practice, no source)."""
_NEAR_K = 2.0  # of a temperature that a controller holds (common practice)
_ABOVE_STORE_K = 5.0  # flow above store temperature needed by a coil at the end of a charge (common practice)
_BY_CHANCE = 0.3  # allowed share of immersion days besides disinfection (common practice)


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
    air, water = outdoor[known], flow[known]
    lift = 1.0 - cop_over(site, air, water, air, water - top_k)
    by_lift = float(np.sum(energy[known] * lift))
    by_loss = _standing(site, facts, result, mean_k, float(energy[known].sum()))
    heat = charges.total("heat")
    dearer = 1.0 - float(energy[known].sum()) / heat if heat > 0.0 else 0.0  # of heat by a direct heater
    taken, taken_doubt = _disinfection_kwh(site, facts, top_k)
    ends = sorted(by_lift * keeps + by_loss + dearer * (by_heater - taken) for keeps in EFFICIENCY_KEEPS)
    value = sum(ends) / 2.0
    doubt = math.hypot(ends[1] - value, HABIT_DOUBT * (by_lift + by_loss), dearer * taken_doubt)
    return Estimate.around(value, doubt)


def _completed(site: Site, facts: Facts, top_k: float) -> tuple[float, float]:
    """Immersion heat saved by a cooler set-point [kWh], and the heater's temperature rise [K]: only if it
    finishes charges on more days than disinfection needs."""
    days, water = facts.days, site.hot_water
    if water is None or not {"immersion_from_c", "immersion_to_c", "electricity_immersion_kwh"} <= set(
        days.names
    ):
        return 0.0, 0.0
    lifted = days.floats("immersion_to_c") - days.floats("immersion_from_c")
    heated = np.isfinite(lifted) & (lifted > 0.0)
    planned = len(days) / water.pasteurise_every_days if water.pasteurise_c else 0.0
    if not heated.any():
        return 0.0, 0.0
    finishing = 1.0 - planned / max(float(heated.sum()), 1.0)
    if finishing <= _BY_CHANCE:
        return 0.0, 0.0
    typical = float(np.median(lifted[heated]))
    return days.total("electricity_immersion_kwh") * finishing * min(top_k / typical, 1.0), typical


def _disinfection_kwh(site: Site, facts: Facts, top_k: float) -> tuple[float, float]:
    """Additional heat of a direct heater for disinfections from a cooler store [kWh], and half its interval:
    for an unmetered heater the middle between none and all."""
    days, water = facts.days, site.hot_water
    if water is None or not water.pasteurise_c or water.cylinder_litres is None:
        return 0.0, 0.0
    planned = len(days) / water.pasteurise_every_days
    each = water.cylinder_litres * WH_PER_LITRE_KELVIN / 1000.0 * top_k
    if not {"immersion_from_c", "immersion_to_c"} <= set(days.names):
        reaches = site.heat_pump.max_flow_c
        alone = reaches is not None and reaches >= water.pasteurise_c + _ABOVE_STORE_K
        return (0.0, 0.0) if alone else (planned * each / 2.0, planned * each / 2.0)
    begun, ended = days.floats("immersion_from_c"), days.floats("immersion_to_c")
    disinfects = np.isfinite(begun) & (ended >= water.pasteurise_c - _NEAR_K)
    # A heater that takes over well above the set-point starts there at any store temperature.
    from_store = begun[disinfects] <= water.setpoint_c + _NEAR_K
    return min(float(from_store.sum()), planned) * each, 0.0


def _standing(site: Site, facts: Facts, result: Mapping[str, Any], cooler_k: float, energy: float) -> float:
    """Electricity for the part of the standing loss that depends on the store's temperature [kWh]."""
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
