"""Powers and energies off by a factor of a thousand, against unit size and the energy balance."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.data.unit_slips import SlipDays, times
from fieldfare.analysis.minutes.balance import HEATING_METERS
from fieldfare.analysis.plant.site import HEAT_QUANTITIES, Point, Site

_ENERGY_UP = (times("a unit 1000 times smaller (W, Wh)", "kW, kWh", 1000.0),)
_THOUSAND = times("a unit 1000 times larger (kW, MWh)", "W, kWh", 1e-3)
_GIGAJOULE = times("GJ", "kWh", 3.6e-3)
# A unit that is switched off keeps to one small draw; a working one's days differ by half and more.
_WORKS_UNEVENLY = 1.3
# The two sides may differ by this factor: performance lies between 1 and 12, a power's peak some times above
# its mean. A unit that ran for less of the day has a mean that says nothing beside its peak.
_ALIKE = 6.0
# Share of full output that a working unit reaches as a day's mean; controls at rest draw up to a fiftieth of
# it (common practice), and what the other side shows then is no measure of a unit.
_AT_WORK = 0.03


def rated_kw(site: Site) -> float:
    return site.heat_pump.rated_output_kw or site.design.heat_loss_kw or 8.0


def energy_slips(context: Context, point: Point, raw: Floats) -> list[SlipDays]:
    """Powers and registers compared with the unit's size and with the other side of the balance."""
    level = raw / _full(context.site, point)
    known = np.isfinite(raw)
    at_home = known & (level >= _AT_WORK) & (level <= 6.0)
    out = []
    other = _other_side(context, point)
    for slip in _ENERGY_UP:
        meant = slip.back(level)
        # Not where the other side is at work and shows many times what would be meant.
        against = (other > _AT_WORK) & (meant * _ALIKE < other)
        fits_slip = known & (level > 10.0) & (meant > 5e-4) & (meant < 6.0) & ~against
        out.append(SlipDays(slip, fits_slip, fits_slip | at_home))
    mean_only = point.form == "register"
    low = (0.01, 3.0) if mean_only else (0.04, 4.0)
    ran = context.all_days.days.floats("minutes_running")
    briefly = (ran > 0.0) & (ran < 1440.0 / _ALIKE)
    best: list[Floats] = []
    slips = (_THOUSAND,) if point.form == "power" else (_THOUSAND, _GIGAJOULE)
    for slip in slips:
        meant = slip.back(level)
        best.append(np.abs(np.log(np.maximum(meant, 1e-12) / np.maximum(other, 1e-12))))
    for i, slip in enumerate(slips):
        meant = slip.back(level)
        small = (
            known
            & (level > 0.0)
            & (level < (2e-3 if mean_only else 8e-3))
            & (meant > low[0])
            & (meant < low[1])
        )
        nearest = np.array([best[i] <= b for b in best]).all(axis=0)
        worked = np.isfinite(other) & (other > _AT_WORK) & (best[i] < np.log(_ALIKE)) & nearest & ~briefly
        fits_slip = small & (worked | (_alone(context, point, level) if i == 0 else False))
        out.append(SlipDays(slip, fits_slip, fits_slip | at_home))
    return out


def _full(site: Site, point: Point) -> float:
    """Reading of this point at full output [W]: the unit's size, a third of it for electricity."""
    rated = rated_kw(site) * 1000.0
    full = {
        "heat_pump_electricity": rated / 3.0,
        "backup_heater_electricity": 6000.0,
        "immersion_electricity": 3000.0,
        "fan_electricity": 100.0,
        "circulation_pump_electricity": 60.0,
        "house_electricity": 4000.0,
    }
    extra = 6000.0 if {"backup_heater", "immersion"} & set(point.includes) else 0.0
    return full.get(point.quantity, rated) + extra / 3.0


def _other_side(context: Context, point: Point) -> Floats:
    """Load from all other quantities [share of full output]; nan where there are none."""
    days, site = context.all_days.days, context.site
    heat = point.quantity in HEAT_QUANTITIES
    if not heat and point.quantity != "heat_pump_electricity":
        return np.full(len(days), np.nan)
    out = np.full(len(days), np.nan)
    for q in (point.quantity, *(("heat_pump_electricity",) if heat else HEATING_METERS)):
        for p in site.points_of(q):
            if p.id == point.id or (point.heat_pump is not None and p.heat_pump != point.heat_pump):
                continue
            level = days.floats(f"raw.{p.id}") / _full(site, p)
            fits = (level >= 0.01) & (level <= 6.0)
            if p.form == "register" and point.form != "register":
                level = np.minimum(level * 2.0, 1.0)  # a mean of the day against the day's greatest
            out = np.where(np.isnan(out) & fits, level, out)
    if heat or np.isfinite(out).any() or not _uneven(days.floats(f"raw.{point.id}")):
        return out
    # Warm water in cold weather is made by something.
    water, air = np.full(len(days), np.nan), np.full(len(days), np.nan)
    for p in site.points_of("flow_temperature"):
        water = np.fmax(water, days.floats(f"raw.{p.id}"))
    for p in site.points_of("outdoor_temperature"):
        air = np.fmax(air, days.floats(f"raw.{p.id}"))
    return np.where((water > 28.0) & (water < 75.0) & (air < 12.0), 0.5, np.nan)


def _alone(context: Context, point: Point, level: Floats) -> Flags:
    """Unit slip without any other quantity: a winter of varying readings that stay far too small."""
    days = context.all_days.days
    if point.quantity not in ("heat_pump_electricity", "heat_output") or len(days) < 14:
        return np.zeros(len(days), dtype=bool)
    moving = level[np.isfinite(level) & (level > 0)]
    if len(moving) < 14 or float(np.quantile(moving, 0.99)) > 8e-3:
        return np.zeros(len(days), dtype=bool)
    if not _uneven(moving):
        return np.zeros(len(days), dtype=bool)
    watts = level * _full(context.site, point)
    # Standby lies at 3 to 60 W; a working unit's kilowatts read as watts lie below 10.
    return (
        np.isfinite(level) & (watts < 10.0) & (watts * 1000.0 > 0.05 * rated_kw(context.site) * 1000.0 / 3.0)
    )


def _uneven(readings: Floats) -> bool:
    known = readings[np.isfinite(readings) & (readings > 0)]
    return bool(len(known) and np.quantile(known, 0.9) >= _WORKS_UNEVENLY * np.quantile(known, 0.1))
