"""Cylinder by day: highest temperatures, disinfection, and its heat sources."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.operating_state import (
    DEFROST,
    HOT_WATER,
    UNKNOWN,
    USE_UNKNOWN,
)
from fieldfare.analysis.minutes.rolling import run_begins, window_sum
from fieldfare.analysis.physics.hot_water import GROWTH_C, SENSOR_LOW_K, STORED_HOT_C, disinfection_rate

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

HELD_MIN = 10
"""Minutes for which a temperature must stand to count as held: shorter is a front of water or a sensor's
slip."""
DISINFECTION_WINDOW_MIN = 240
"""A disinfection and the rest after it take at most four hours (common practice)."""
_STEP_MIN = 15
# Layers settle and pipes empty for half an hour after a charge.
_AFTER_CHARGE_MIN = 30
_OWN_RISE_K = 0.5
# 15 kW, beyond any dwelling's heaters together, warm 100 l, half of a small cylinder, by 2 K a minute; a
# layer that passes the sensor adds some kelvin at once.
_JUMP_K, _JUMP_K_PER_MIN = 10.0, 2.0
_HEATER_W = 100.0


def hygiene_columns(minutes: Minutes, day: Segments, tank: Floats) -> dict[str, object]:
    """Columns of the days table, described in `columns/water.py`.

    tank : float64 (n,) [°C], the cylinder by minute
    """
    known = np.isfinite(tank)
    at = fill_nan(tank, -99.0)
    jumped = _jumps(tank, minutes.grid.spacing.get("cylinder_temperature", 1.0))
    return {
        "tank_held": day.greatest(_held(tank)),
        "minutes_tank_hot": day.count(known & (at > STORED_HOT_C)),
        "minutes_tank_growth": day.count(known & (at >= GROWTH_C[0]) & (at < GROWTH_C[1])),
        "disinfection_min": _dose(day, tank),
        "disinfection_most_min": _dose(day, tank + SENSOR_LOW_K),
        "tank_jumps": day.count(jumped),
        "tank_rise_alone": _rise_alone(minutes, day, tank, jumped),
        "tank_peak_at": _peak_at(day, tank),
        "flow_greatest": day.greatest(minutes.grid.gauge("flow_temperature")),
    }


def _dose(day: Segments, tank: Floats) -> Floats:
    """Most equivalent minutes at 60 °C within four hours [min]; nan on a day without a reading."""
    dose = window_sum(np.asarray(disinfection_rate(tank)), DISINFECTION_WINDOW_MIN, 1)
    return np.where(day.count(np.isfinite(tank)) > 0, day.greatest(dose), np.nan)


def _held(tank: Floats) -> Floats:
    """Minimum of the ten minutes up to each; nan where one of them is unknown."""
    known = np.isfinite(tank)
    least = np.where(known, tank, -np.inf)
    reach = 1
    while reach < HELD_MIN:
        further = min(reach, HELD_MIN - reach)
        least[further:] = np.minimum(least[further:], least[:-further])
        reach += further
    return np.where(np.isfinite(least), least, np.nan)


def _jumps(tank: Floats, spacing: float) -> Flags:
    """First minute of each rise too fast for any heater."""
    span = max(1, round(spacing))
    most = _JUMP_K + _JUMP_K_PER_MIN * span
    out = np.zeros(len(tank), dtype=bool)
    if len(tank) > span:
        out[span:] = fill_nan(tank[span:] - tank[:-span], 0.0) > most
    return run_begins(out)


def _rise_alone(minutes: Minutes, day: Segments, tank: Floats, jumped: Flags) -> Floats:
    """Warming of each day with every known heater off, in quarter hours of more than half a kelvin [K]."""
    code, n = minutes.use.code, len(tank)
    heated = (code == HOT_WATER) | (code == USE_UNKNOWN) | (code == UNKNOWN)
    heated |= (code == DEFROST) & (minutes.use.serves == HOT_WATER)
    for heater in (minutes.balance.immersion, minutes.balance.backup_heater):
        if heater is not None:
            heated |= fill_nan(heater, 0.0) * 60.0 > _HEATER_W
    busy = window_sum(heated | jumped, _AFTER_CHARGE_MIN, _STEP_MIN + 1)
    at = np.arange(0, max(n - _STEP_MIN, 0), _STEP_MIN)
    gain = fill_nan(tank[at + _STEP_MIN] - tank[at], 0.0)
    rise = np.zeros(n)
    rise[at] = np.where((gain > _OWN_RISE_K) & (busy[at] == 0), gain, 0.0)
    return np.asarray(day.sum(rise))


def _peak_at(day: Segments, tank: Floats) -> Floats:
    out = np.full(len(day), np.nan)
    for i, (a, b) in enumerate(zip(day.start, day.end, strict=True)):
        if np.isfinite(tank[a:b]).any():
            out[i] = float(np.nanargmax(tank[a:b]))
    return out
