"""By day, what shows whether a meter sees what the site file says: heat by use beside flow and temperatures,
heat while the back-up heater switches, electricity while the unit is known to rest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments, held_for
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.operating_state import HEATING, HOT_WATER, OFF
from fieldfare.analysis.minutes.rolling import window_mean
from fieldfare.analysis.statistics.quantiles import median

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_COARSEST_MIN = 5.0
# After a stop a pump runs on; before a start the controls wake up.
_AFTER_STOP_MIN, _BEFORE_START_MIN = 20, 5
_LIFT_K = 1.5
# Controls, pumps and crankcase heaters of a resting unit together stay below (common practice).
_BURST_W = 250.0
# A heater's switching: its power changes by this much, the compressor stays as it is.
_STEP_W, _SETTLE_MIN, _MEAN_MIN = 700.0, 4, 6
_HEATER_ON_W = 50.0


def misplaced_columns(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Columns of the days table.

    check_meter_space, check_flow_space, check_meter_hot, check_flow_hot : heat by the meter, and by flow rate
    and
        temperatures, by use [kWh]
    n_surely_on, e_surely_on, n_surely_off, e_surely_off : minutes in which another signal than the
        electricity says that the unit runs or rests, and its meter's electricity in them [min, kWh]
    n_heater_steps, heater_step_share : switchings of the back-up heater, and the change of the metered heat
        with them over the heater's own [-, median]
    """
    return _by_use(minutes, day) | _by_signal(minutes, day) | _heater_steps(minutes, day)


def _by_use(minutes: Minutes, day: Segments) -> dict[str, object]:
    plant, use = minutes.balance, minutes.use
    meter, flow = plant.metered_heat, plant.flow_heat
    if meter is None or flow is None or plant.heat_basis == "flow rate and temperatures":
        return {}
    both = np.isfinite(meter) & np.isfinite(flow)
    serving = np.where(use.code == OFF, use.serves, minutes.serving)
    out: dict[str, object] = {}
    for name, code in (("space", HEATING), ("hot", HOT_WATER)):
        mine = both & (serving == code)
        out[f"check_meter_{name}"] = day.sum(np.where(mine, meter, 0.0)) / 1000.0
        out[f"check_flow_{name}"] = day.sum(np.where(mine, flow, 0.0)) / 1000.0
    return out


def _by_signal(minutes: Minutes, day: Segments) -> dict[str, object]:
    unit, grid = minutes.balance.heat_pump, minutes.grid
    if unit is None or grid.spacing.get("heat_pump_electricity", 99.0) > 3 * _COARSEST_MIN:
        return {}
    on, known = _running_signal(minutes)
    if not known.any():
        return {}
    known = known & np.isfinite(unit)
    rest = held_for(~on & known, _AFTER_STOP_MIN) & held_for((~on & known)[::-1], _BEFORE_START_MIN)[::-1]
    sure = held_for(on & known, _BEFORE_START_MIN)
    heat, heater = minutes.balance.heat_at_meter, minutes.balance.backup_heater
    idle = rest if heater is None else rest & ~(fill_nan(heater, 0.0) * 60.0 > _HEATER_ON_W)
    return {
        "q_surely_off": (
            day.total(np.where(idle, heat, 0.0)) / 1000.0 if heat is not None else np.full(len(day), np.nan)
        ),
        "n_surely_on": day.count(sure),
        "e_surely_on": day.sum(np.where(sure, unit, 0.0)) / 1000.0,
        "n_surely_off": day.count(rest),
        "e_surely_off": day.sum(np.where(rest, unit, 0.0)) / 1000.0,
        "n_off_burst": day.count(rest & (fill_nan(unit, 0.0) * 60.0 > _BURST_W)),
    }


def _running_signal(minutes: Minutes) -> tuple[Flags, Flags]:
    """Whether the unit runs by anything but its electricity and the heat meter, and where that is known."""
    grid = minutes.grid
    speed, mode = grid.gauge("compressor_speed"), grid.gauge("operating_mode")
    if np.isfinite(speed).any() and grid.spacing["compressor_speed"] <= _COARSEST_MIN:
        return fill_nan(speed, 0.0) > 1.0, np.isfinite(speed)
    if np.isfinite(mode).any() and grid.spacing["operating_mode"] <= _COARSEST_MIN:
        return np.round(fill_nan(mode, 0.0)) != OFF, np.isfinite(mode)
    lift = grid.gauge("flow_temperature") - grid.gauge("return_temperature")
    if (
        np.isfinite(lift).any()
        and max(grid.spacing[q] for q in ("flow_temperature", "return_temperature")) <= 5.0
    ):
        return np.abs(fill_nan(lift, 0.0)) > _LIFT_K, np.isfinite(lift)
    nothing = np.zeros(len(grid), dtype=bool)
    return nothing, nothing


def _heater_steps(minutes: Minutes, day: Segments) -> dict[str, object]:
    plant, grid = minutes.balance, minutes.grid
    heater, heat = plant.backup_heater, plant.heat_at_meter
    fine = (
        max(grid.spacing.get(q, 99.0) for q in ("backup_heater_electricity", "heat_output")) <= _COARSEST_MIN
    )
    if heater is None or heat is None or not fine:
        return {}
    reach = _SETTLE_MIN + _MEAN_MIN
    power = {name: _about(wh * 60.0) for name, wh in (("heater", heater), ("heat", heat))}
    steady = np.ones(len(grid), dtype=bool)
    code = minutes.use.code
    for shift in (-reach, reach):
        steady &= code == np.roll(code, shift)
    change = power["heater"][1] - power["heater"][0]
    answer = power["heat"][1] - power["heat"][0]
    big = steady & np.isfinite(change + answer) & (np.abs(change) > _STEP_W)
    # One switching lasts some minutes of these means: take each at its greatest.
    best = big & (np.abs(change) >= _greatest_about(np.where(big, np.abs(change), 0.0), reach) - 1e-9)
    first = best & ~np.concatenate(([False], best[:-1]))
    at = np.flatnonzero(first)
    owner = np.searchsorted(day.start, at, side="right") - 1
    ratio = np.full(len(day), np.nan)
    for i in np.unique(owner[owner >= 0]):
        ratio[i] = median((answer[at] / change[at])[owner == i])
    return {"n_heater_steps": day.count(first), "heater_step_share": ratio}


def _about(watts: Floats) -> tuple[Floats, Floats]:
    """Means of some minutes before each minute, and of some after it."""
    before = np.roll(window_mean(watts, _MEAN_MIN, 0, least=_MEAN_MIN), 1)
    after = np.roll(window_mean(watts, 0, _MEAN_MIN, least=_MEAN_MIN), -_SETTLE_MIN)
    before[:2], after[-_SETTLE_MIN:] = np.nan, np.nan
    return before, after


def _greatest_about(values: Floats, reach: int) -> Floats:
    out = values.copy()
    for shift in range(1, reach + 1):
        out[shift:] = np.maximum(out[shift:], values[:-shift])
        out[:-shift] = np.maximum(out[:-shift], values[shift:])
    return out
