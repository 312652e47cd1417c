"""Hot water: reheats, usable volume, standing loss, disinfection."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.facts.table import known
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.physics.hot_water import HOLD_MIN, WH_PER_LITRE_KELVIN, mixed_litres
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.quantiles import median


@dataclass(frozen=True)
class HotWaterFigures:
    reheats: int | None
    median_reheat_minutes: float | None
    litres_at_40c_when_full: float | None
    minutes_below_40c_per_week: float | None
    standing_loss_kwh_per_day: float | None
    standing_loss_w_per_k: float | None
    last_pasteurised: str | None
    heat_kwh_per_day: float | None
    reasons: dict[str, str]


TO_SEE, TO_SPLIT = 2.0, 3.0
"""Readings in a charge: fewer than two can miss it (sampling theorem), and its heat would count as space
heat; of fewer than three most lie across its begin or end, and split neither heat nor electricity truly."""


def blurred_reheats(facts: Facts, least: float = TO_SEE) -> str | None:
    """Why sparse readings can't separate hot water from heating; None if they can.

    least : readings that a usual charge must hold
    """
    apart = float(np.max(facts.days["use_spacing_min"]))
    whole = facts.reheats.where(~facts.reheats["cut"]) if len(facts.reheats) else facts.reheats
    if not len(whole) or not apart > 2.0 or whole.median("minutes") >= least * apart:
        return None
    return (
        f"readings every {apart:.0f} minutes can't tell hot water from heating: the cylinder's charges are"
        f" about as short, {whole.median('minutes'):.0f} minutes"
    )


def hot_water_figures(site: Site, facts: Facts) -> HotWaterFigures:
    """Figures of the cylinder over the facts' days; None with a reason without a sensor."""
    plant = site.hot_water
    reasons: dict[str, str] = {}
    if plant is None:
        none = "the system makes no hot water"
        return HotWaterFigures(None, None, None, None, None, None, None, None, {"hot_water": none})
    days, reheats = facts.days, facts.reheats
    minutes_known = days.total("minutes_total") - days.total("minutes_unknown")
    blurred = blurred_reheats(facts)
    separable = days.total("minutes_hot_water") > 0 and blurred is None
    if not separable:
        reasons["reheats"] = reasons["median_reheat_minutes"] = (
            blurred or "needs operating_mode, diverter_to_hot_water, hot_water_heat or cylinder_temperature"
        )
    has_tank = "minutes_tank_known" in days and days.total("minutes_tank_known") > 0
    litres = cold = loss = coefficient = None
    if has_tank:
        top = known(reheats["to_c"] if len(reheats) else days["tank_max"])
        if plant.cylinder_litres and len(top):
            # Disinfection is hotter than a normally full cylinder, so use the median.
            litres = float(mixed_litres(plant.cylinder_litres, median(top)))
        cold = days.total("minutes_tank_cold") / days.total("minutes_tank_known") * 7 * 1440
        loss, coefficient = _standing(site, facts)
        if loss is None:
            reasons["standing_loss_kwh_per_day"] = (
                "no long enough time without draws or charges, or cylinder_litres not given"
            )
    else:
        for name in ("litres_at_40c_when_full", "minutes_below_40c_per_week", "standing_loss_kwh_per_day"):
            reasons[name] = "needs cylinder_temperature"
    last = None
    if "disinfection_min" in days:
        held = site.limits.get("disinfection_minutes", HOLD_MIN)
        hot = np.flatnonzero(days.floats("disinfection_min") >= held)
        last = days.day(hot[-1]).isoformat() if len(hot) else None
    if last is None:
        reasons["last_pasteurised"] = (
            "needs cylinder_temperature"
            if not has_tank
            else (
                "no thermal disinfection is scheduled"
                if plant.pasteurise_c is None
                else "not reached, or not held for long enough, in this period"
            )
        )
    heat = days.total("heat_hot_water_kwh") + days.total("electricity_immersion_kwh")
    known_days = minutes_known / 1440.0
    whole = reheats.where(~reheats["cut"]) if len(reheats) else reheats
    return HotWaterFigures(
        len(reheats) if separable else None,
        whole.median("minutes") if separable and len(whole) else None,
        litres,
        cold,
        loss,
        coefficient,
        last,
        heat / known_days if separable and days.total("minutes_heat_known") and known_days > 0 else None,
        reasons,
    )


def _standing(site: Site, facts: Facts) -> tuple[float | None, float | None]:
    """Standing loss [kWh/day] at the cylinder's mean temperature, and per kelvin above the room [W/K]."""
    days = facts.days
    litres = site.hot_water.cylinder_litres if site.hot_water else None
    if litres is None or "standing_k_per_h" not in days:
        return None, None
    usable = days.where(np.isfinite(days["standing_k_per_h"]) & (days["standing_over_k"] > 10.0))
    if len(usable) < 3:
        return None, None
    watts = usable["standing_k_per_h"] * litres * WH_PER_LITRE_KELVIN
    per_kelvin = float(np.median(watts / usable["standing_over_k"]))
    room = days.mean("room")
    over = days.mean("tank_mean") - (room if np.isfinite(room) else 20.0)
    return max(per_kelvin * over * 24.0 / 1000.0, 0.0), per_kelvin
