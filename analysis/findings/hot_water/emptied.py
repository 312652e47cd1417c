"""How likely each day's draws took all usable water, by sensor, charges and hours."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

from fieldfare.analysis.expectation.emptied import ColdSpells, chance_of_emptied
from fieldfare.analysis.facts.table import Table, fill_nan, group_by_day
from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.yearly_cost import DAYS_A_YEAR, USUAL_CHARGING_COP
from fieldfare.analysis.physics.hot_water import COLD_C, MIXED_C, WH_PER_LITRE_KELVIN
from fieldfare.analysis.statistics.distributions import normal_probabilities
from fieldfare.analysis.statistics.quantiles import nan_median

# A sensor in its pocket reads a kelvin low, and a controller stops as early (common practice).
_AS_FULL_K = 2.0
# A family's tapping day (profile M, Regulation (EU) 813/2013); homes draw a third more or less (common
# practice).
_USUAL_DRAWN_KWH, _HOMES_DIFFER = 5.845, 0.35
_WHOLE_DAY = 0.95


def full_content(context: Context) -> float:
    """Heat of a full cylinder over cold water [kWh]; infinite where its size is not given."""
    plant = context.site.hot_water
    if plant is None or plant.cylinder_litres is None:
        return float("inf")
    return plant.cylinder_litres * WH_PER_LITRE_KELVIN / 1000.0 * (plant.setpoint_c - COLD_C)


def emptied_by_day(context: Context, chosen: Flags) -> Floats:
    """Probability that the draws of each chosen day, with a cold sensor, took all usable water: float64 (n,).

    chosen : bool (n,); of other days the probability is 0
    """
    limit, out = context.limit, np.zeros(len(context.days))
    if chosen.any():
        spells = _spells(context)
        mine = ColdSpells(*(getattr(spells, f.name)[chosen] for f in fields(spells)))
        out[chosen] = chance_of_emptied(mine, limit("emptied_share"), limit("emptied_error"))
        out[chosen] = np.maximum(out, _unfed(context))[chosen]
    return out


def _unfed(context: Context) -> Floats:
    """Probability that there was no usable water on days on which the whole day was cold at the sensor and
    nearly no heat went in, nor the day before: float64 (n,); 0 elsewhere."""
    days, design = context.days, context.site.design.hot_water_kwh_per_year
    out = np.zeros(len(days))
    if {"heat_output", "hot_water_heat", "heat_pump_electricity"} & context.unreliable.keys():
        return out
    fed = days.floats("heat_hot_water_kwh") + fill_nan(days.floats("electricity_immersion_kwh"), 0.0)
    two_days = fed + np.append(np.nan, fed[:-1])
    usual = 2.0 * (design / DAYS_A_YEAR if design else _USUAL_DRAWN_KWH)
    cold = days.floats("minutes_tank_cold") >= _WHOLE_DAY * days.floats("minutes_total")
    lacking = normal_probabilities((usual - two_days) / (_HOMES_DIFFER * usual))
    mine = cold & np.isfinite(two_days)
    out[mine] = lacking[mine]
    return out


def _spells(context: Context) -> ColdSpells:
    days, reheats = context.days, context.facts.reheats
    n = len(days)
    cold = fill_nan(days.floats("minutes_tank_cold"), 0.0)
    charging = np.minimum(fill_nan(days.floats("minutes_cold_charging"), 0.0), cold)
    # A spell belongs to the day in which it ends.
    longest = fill_nan(_that_or_next(days.floats("cold_longest_min")), cold)
    # A day's cold minutes may lie in many spells: the longest is one in any case.
    idle_hours = np.minimum(cold - charging, longest) / 60.0
    unknown = ColdSpells(
        np.full(n, np.nan), idle_hours, np.full(n, np.nan), np.zeros(n, np.bool_), np.full(n, np.nan)
    )
    heat, content = _charged(context, reheats), _content(context, reheats)
    if not np.isfinite(content):
        return unknown
    daily = _daily(context) / content
    if heat is None or not len(reheats):
        return ColdSpells(daily, idle_hours, unknown.put_back, unknown.filled, unknown.warming)
    day = days["day"]
    put_back = heat + fill_nan(reheats.floats("immersion"), 0.0) - _beyond_setpoint(context, reheats)
    # A charge that was cut short, or that draws kept from its setpoint, put back less than was drawn.
    top = _top_c(context, reheats)
    whole = ~(reheats.floats("to_c") < top - _AS_FULL_K) & ~reheats["cut"].astype(np.bool_)
    most = _that_or_next(group_by_day(day, reheats["day"], put_back, "greatest"))
    filling = _that_or_next(group_by_day(day, reheats["day"], np.where(whole, put_back, np.nan), "greatest"))
    power = group_by_day(day, reheats["day"], heat / np.maximum(reheats.floats("minutes"), 1.0), "median")
    # Minutes of charging in the longest spell at least: all others of it were idle.
    in_one = np.clip(longest - (cold - charging), 0.0, charging)
    warms = content * (MIXED_C - COLD_C) / (top - COLD_C)
    return ColdSpells(daily, idle_hours, most / content, filling >= most, power * in_one / warms)


def _that_or_next(by_day: Floats) -> Floats:
    return np.asarray(np.fmax(by_day, np.append(by_day[1:], np.nan)), dtype=np.float64)


def _charged(context: Context, reheats: Table) -> Floats | None:
    """Heat of every charge [kWh]; None without a reliable measurement."""
    if not {"heat_output", "hot_water_heat"} & context.unreliable.keys():
        return reheats.floats("heat")
    if "heat_pump_electricity" in context.unreliable:
        return None
    return np.asarray(USUAL_CHARGING_COP * reheats.floats("electricity"), dtype=np.float64)


def _daily(context: Context) -> Floats:
    """Hot water drawn in a day [kWh]: as measured, else as the design had it; nan where neither is known."""
    days, design = context.days, context.site.design.hot_water_kwh_per_year
    usual = design / DAYS_A_YEAR if design else np.nan
    if {"heat_output", "hot_water_heat"} & context.unreliable.keys():
        return np.full(len(days), usual)
    return fill_nan(days.floats("heat_hot_water_kwh"), usual)


def _top_c(context: Context, reheats: Table) -> float:
    """Temperature of a full cylinder as its charges leave it [°C], up to the setpoint."""
    plant = context.site.hot_water
    assert plant is not None
    reached = nan_median(reheats.floats("to_c")) if len(reheats) else np.nan
    if not np.isfinite(reached):
        return plant.setpoint_c
    return float(min(max(reached, MIXED_C + 1.0), plant.setpoint_c))


def _content(context: Context, reheats: Table) -> float:
    plant = context.site.hot_water
    assert plant is not None
    return full_content(context) * (_top_c(context, reheats) - COLD_C) / (plant.setpoint_c - COLD_C)


def _beyond_setpoint(context: Context, reheats: Table) -> Floats:
    """Heat of a charge above the setpoint, such as a disinfection [kWh]: it was not drawn before."""
    plant = context.site.hot_water
    assert plant is not None
    over = np.maximum(fill_nan(reheats.floats("to_c"), 0.0) - plant.setpoint_c, 0.0)
    return np.asarray(over * (plant.cylinder_litres or 0.0) * WH_PER_LITRE_KELVIN / 1000.0)
