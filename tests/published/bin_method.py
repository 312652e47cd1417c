"""Bin method of EN 14825: the standard's sum over a season, to check performance surface and part load
against its worked example."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from fieldfare.analysis.physics.bins import AVERAGE, ReferenceSeason

NO_LOAD_ABOVE_C = 16.0  # EN 14825: the reference building needs no heat from here on


class Season(NamedTuple):
    """Energies of one season [kWh]."""

    heat: float
    heat_pump: float
    backup: float

    @property
    def scop_on(self) -> float:
        """EN 14825 SCOPon: active mode, with the back-up heater [-]."""
        return self.heat / (self.heat_pump + self.backup)

    @property
    def scop_net(self) -> float:
        """EN 14825 SCOPnet: active mode, without the back-up heater [-]."""
        return (self.heat - self.backup) / self.heat_pump


def part_load_ratio(outdoor_c, *, design_c=-10.0):
    """EN 14825, pl(Tj) = (Tj - 16) / (Tdesignh - 16); 0 from 16 C on."""
    t = np.asarray(outdoor_c, dtype=float)
    return np.maximum((t - NO_LOAD_ABOVE_C) / (design_c - NO_LOAD_ABOVE_C), 0.0)


def part_load_cop(cop_full, capacity_ratio, *, cd=0.9):
    """EN 14825, air/water: COPd CR / (Cd CR + 1 - Cd), Cd 0.9 by default."""
    ratio = np.clip(capacity_ratio, 0.0, 1.0)
    return np.asarray(cop_full) * ratio / (cd * ratio + 1.0 - cd)


def declared_curve(temperatures_c, values):
    """Linear interpolation of declared values; extrapolates the outer lines, as EN 14825 allows."""
    x, y = np.asarray(temperatures_c, dtype=float), np.asarray(values, dtype=float)

    def curve(t):
        t = np.asarray(t, dtype=float)
        low = y[0] + (t - x[0]) * (y[1] - y[0]) / (x[1] - x[0])
        high = y[-1] + (t - x[-1]) * (y[-1] - y[-2]) / (x[-1] - x[-2])
        return np.where(t < x[0], low, np.where(t > x[-1], high, np.interp(t, x, y)))

    return curve


def seasonal_performance(
    capacity_kw: Callable,
    cop: Callable,
    *,
    design_load_kw: float,
    operation_limit_c: float,
    season: ReferenceSeason = AVERAGE,
    cd: float = 0.9,
) -> Season:
    """Season of one unit. capacity_kw, cop : declared [kW, -], functions of outdoor temperatures [C]"""
    t, hours = season.temperatures_c, np.array(season.hours, dtype=float)
    load = design_load_kw * part_load_ratio(t, design_c=season.design_c)
    capacity = np.where(t < operation_limit_c, 0.0, np.asarray(capacity_kw(t), dtype=float))
    supplied = np.minimum(load, capacity)
    ratio = np.divide(load, capacity, out=np.ones(len(t)), where=capacity > 0.0)
    used = np.divide(supplied, part_load_cop(cop(t), ratio, cd=cd))
    return Season(float(hours @ load), float(hours @ used), float(hours @ (load - supplied)))
