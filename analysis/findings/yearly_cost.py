"""Scaling of a period's extra electricity to a year, and the heat that electricity makes."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.findings.context import Context

# Heating days a year: EN 14825 gives 200 (average climate), 149 (warmer) and 268 (colder).
HEATING_DAYS = 210.0
_YEAR_HOURS = 8766.0
DAYS_A_YEAR = 365.0
_FLOW_COST_PER_K = 0.0225  # extra electricity per kelvin of flow temperature: 2 to 2.5 % (reference 8)

USUAL_CHARGING_COP = 2.5
"""Heat of a cylinder's charges over their electricity, where no heat is measured (common practice)."""
_LEAST_CHARGING_COP = 1.3


def per_year(amount: float, days: int) -> float:
    """Scale an amount of a number of days to a year. days : at least 1 is used"""
    return amount * DAYS_A_YEAR / max(days, 1)


def share_spared(cooler_k: float) -> float:
    """Share of the electricity saved by a cooler flow [0 to 1]."""
    return 1.0 - 1.0 / (1.0 + _FLOW_COST_PER_K * cooler_k)


def charging_cop(context: Context) -> float:
    """Heat of a cylinder's charges over their electricity [-]: measured, else expected, else usual."""
    want = context.figures.expected
    return max(want.measured_hot_water or want.hot_water or USUAL_CHARGING_COP, _LEAST_CHARGING_COP)


def heating_year(context: Context) -> float:
    """Factor that scales the period's heating electricity to a whole year [-].

    Design space heat of a year over the measured one where both are known, otherwise by heating days.
    """
    days = context.all_days.days
    heated = float((context.all_days.days["minutes_heating"] >= 60).sum())
    measured = float(np.nansum(days["heat_space_kwh"])) if "heat_space_kwh" in days else 0.0
    most = per_year(1.0, len(days))
    designed = context.site.design.space_heat_kwh_per_year
    if designed is not None and measured > 0.05 * designed:
        return float(np.clip(designed / measured, min(1.0, most), max(most, 1.0)))
    return float(np.clip(HEATING_DAYS / heated, min(1.0, most), max(most, 1.0))) if heated else 0.0


def rest_hours_of_year(context: Context, share: float) -> float:
    """Hours of a year in which the unit rests [h]: all in which it neither heats nor makes hot water.

    A winter's days show few of them, and most of a year's are in summer. share : of the period's time at rest
        [-], of which the year has no less
    """
    days = context.all_days.days
    water = per_year(days.total("minutes_hot_water"), len(days))
    running = days.total("minutes_running") - days.total("minutes_hot_water")
    hours = (max(running, 0.0) * heating_year(context) + water) / 60.0
    return float(max(_YEAR_HOURS - hours, share * _YEAR_HOURS))
