"""Bin method of EN 14825: seasonal performance of a heat pump with its back-up heater."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldfare.analysis.physics.heat_pump import part_load_cop

Array = NDArray[np.float64]

NO_LOAD_ABOVE_C = 16.0  # EN 14825: the reference building needs no heat from here on
PRIMARY_ENERGY_FACTOR = 2.5  # Reg. (EU) 813/2013: conversion coefficient for electricity


@dataclass(frozen=True)
class ReferenceSeason:
    """A reference heating season: temperature bins with hours, design temperature, off-mode hours."""

    name: str
    design_c: float
    first_c: int
    hours: tuple[int, ...]
    thermostat_off_h: float
    standby_h: float
    crankcase_h: float
    off_h: float

    @property
    def temperatures_c(self) -> Array:
        """Bin temperatures [C], coldest first."""
        return np.arange(self.first_c, self.first_c + len(self.hours), dtype=float)

    @property
    def total_hours(self) -> int:
        """Hours in the season [h]."""
        return sum(self.hours)

    @property
    def equivalent_hours(self) -> float:
        """Full-load hours of the season [h]: published as 2066 (A), 1336 (W), 2465 (C)."""
        return float(
            np.sum(np.array(self.hours) * part_load_ratio(self.temperatures_c, design_c=self.design_c))
        )


# Hours: A from Reg. (EU) 813/2013 Annex III Table 5; W and C from EN 14825:2018 Annex B as public code
# transcribes it, proved by their equivalent hours. Off-mode hours for heating-only units from the same
# source.
AVERAGE = ReferenceSeason(
    "average",
    -10.0,
    -10,
    (
        1,
        25,
        23,
        24,
        27,
        68,
        91,
        89,
        165,
        173,
        240,
        280,
        320,
        357,
        356,
        303,
        330,
        326,
        348,
        335,
        315,
        215,
        169,
        151,
        105,
        74,
    ),
    179,
    0,
    3851,
    3672,
)
WARMER = ReferenceSeason(
    "warmer",
    2.0,
    2,
    (3, 22, 63, 63, 175, 162, 259, 360, 428, 430, 503, 444, 384, 294),
    755,
    0,
    4476,
    4345,
)
COLDER = ReferenceSeason(
    "colder",
    -22.0,
    -22,
    (
        1,
        6,
        13,
        17,
        19,
        26,
        39,
        41,
        35,
        52,
        37,
        41,
        43,
        54,
        90,
        125,
        169,
        195,
        278,
        306,
        454,
        385,
        490,
        533,
        380,
        228,
        261,
        279,
        229,
        269,
        233,
        230,
        243,
        191,
        146,
        150,
        97,
        61,
    ),
    131,
    0,
    2944,
    2189,
)


@dataclass(frozen=True)
class SeasonalPerformance:
    """Load and consumption of one season. Energies in kWh."""

    heat_kwh: float
    heat_pump_kwh: float
    backup_kwh: float
    off_mode_kwh: float

    @property
    def scop_on(self) -> float:
        """Active-mode seasonal performance with the back-up heater (EN 14825 SCOPon) [-]."""
        return self.heat_kwh / (self.heat_pump_kwh + self.backup_kwh)

    @property
    def scop_net(self) -> float:
        """Active-mode seasonal performance without the back-up heater (EN 14825 SCOPnet) [-]."""
        return (self.heat_kwh - self.backup_kwh) / self.heat_pump_kwh

    @property
    def scop(self) -> float:
        """Seasonal performance with back-up heater and off-mode consumption (EN 14825 SCOP) [-]."""
        return self.heat_kwh / (self.heat_pump_kwh + self.backup_kwh + self.off_mode_kwh)


def part_load_ratio(outdoor_c: ArrayLike, *, design_c: float = -10.0) -> Array:
    """Load at an outdoor temperature as a share of the design load.

    outdoor_c : float or array [C]
    design_c : float [C], default -10.0. Tdesignh of the season; average -10, warmer 2, colder -22
    Returns the same shape [-], 0 from 16 C on. Source: EN 14825, pl(Tj) = (Tj - 16) / (Tdesignh - 16).
    """
    t = np.asarray(outdoor_c, dtype=float)
    return np.maximum((t - NO_LOAD_ABOVE_C) / (design_c - NO_LOAD_ABOVE_C), 0.0)[()]


def declared_curve(temperatures_c: Sequence[float], values: Sequence[float]) -> Callable[[Array], Array]:
    """Linear interpolation of declared values; extrapolates the outer lines, as EN 14825 allows.

    temperatures_c : sequence [C], any order, at least 1 and no repeats
    values : sequence. Declared capacity [kW] or COP [-] at each
    Returns a function of an array of temperatures. Raises ValueError if the lengths differ, a temperature
    repeats or none is given.
    """
    if (
        len(temperatures_c) != len(values)
        or not len(values)
        or len(set(temperatures_c)) != len(temperatures_c)
    ):
        raise ValueError("declared values need one temperature each, none twice")
    order = np.argsort(temperatures_c)
    x, y = np.asarray(temperatures_c, dtype=float)[order], np.asarray(values, dtype=float)[order]

    def curve(t: Array) -> Array:
        t = np.asarray(t, dtype=float)
        if len(x) == 1:
            return np.full_like(t, y[0])
        low = y[0] + (t - x[0]) * (y[1] - y[0]) / (x[1] - x[0])
        high = y[-1] + (t - x[-1]) * (y[-1] - y[-2]) / (x[-1] - x[-2])
        return np.where(t < x[0], low, np.where(t > x[-1], high, np.interp(t, x, y)))

    return curve


def seasonal_performance(
    capacity_kw: Callable[[Array], ArrayLike],
    cop: Callable[[Array], ArrayLike],
    *,
    design_load_kw: float,
    season: ReferenceSeason = AVERAGE,
    operation_limit_c: float = -np.inf,
    cd: float = 0.9,
    thermostat_off_w: float = 0.0,
    standby_w: float = 0.0,
    crankcase_w: float = 0.0,
    off_w: float = 0.0,
) -> SeasonalPerformance:
    """Seasonal performance of one unit by the bin method.

    capacity_kw, cop : functions of an array of outdoor temperatures [C] to declared capacity [kW] and
        declared COP [-]
    design_load_kw : float [kW]. Pdesignh, the load at the season's design temperature
    season : ReferenceSeason, default AVERAGE. AVERAGE, WARMER or COLDER
    operation_limit_c : float [C], default -inf. TOL: below it the heat pump stands still and the back-up
        heater carries all
    cd : float [-], default 0.9. Degradation coefficient for cycling, air or water to water
    thermostat_off_w, standby_w, crankcase_w, off_w : float [W], default 0.0. Consumption in those modes
    Returns SeasonalPerformance. Raises ValueError if design_load_kw is not positive.
    Source: EN 14825:2018; its worked example in Annex H gives SCOPon 3.61.
    """
    if not design_load_kw > 0.0:
        raise ValueError(f"design_load_kw must be above 0, got {design_load_kw}")
    t, hours = season.temperatures_c, np.array(season.hours, dtype=float)
    load = design_load_kw * part_load_ratio(t, design_c=season.design_c)
    capacity = np.where(t < operation_limit_c, 0.0, np.maximum(np.asarray(capacity_kw(t), dtype=float), 0.0))
    supplied = np.minimum(load, capacity)
    ratio = np.where(capacity > 0.0, load / np.where(capacity > 0.0, capacity, 1.0), 1.0)
    bin_cop = part_load_cop(cop(t), ratio, cd=cd)
    electricity = np.where(supplied > 0.0, supplied / np.where(supplied > 0.0, bin_cop, 1.0), 0.0)
    off = (
        season.thermostat_off_h * thermostat_off_w
        + season.standby_h * standby_w
        + season.crankcase_h * crankcase_w
        + season.off_h * off_w
    ) / 1000.0
    return SeasonalPerformance(
        heat_kwh=float(np.sum(hours * load)),
        heat_pump_kwh=float(np.sum(hours * electricity)),
        backup_kwh=float(np.sum(hours * (load - supplied))),
        off_mode_kwh=off,
    )


def seasonal_space_heating_efficiency(scop: float, *, ground_or_water_source: bool = False) -> float:
    """Seasonal space heating energy efficiency of the label.

    scop : float [-]
    ground_or_water_source : bool, default False. Brine and water sources lose a further 5 points for their
        pump
    Returns float [-]; 1.25 is 125 %. Source: Reg. (EU) 813/2013: SCOP / 2.5 less 3 (8) points.
    """
    return scop / PRIMARY_ENERGY_FACTOR - (0.08 if ground_or_water_source else 0.03)
