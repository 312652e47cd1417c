"""Evidence by day that a meter is not where the site file says.

Compares heat by use with flow and temperatures, heat with switchings of the back-up heater, and electricity
with known rests.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments, held_for
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.operating_state import HEATING, HOT_WATER, OFF
from fieldfare.analysis.minutes.rolling import run_begins, window_mean, window_sum
from fieldfare.analysis.statistics.quantiles import median

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_COARSEST_MIN = 5.0
# Pump overrun after a stop; wake-up of the controls before a start.
_AFTER_STOP_MIN, _BEFORE_START_MIN = 20, 5
# A unit at its lowest output and full flow lifts by little more than a kelvin: between the two nothing is
# sure. Two sensors of one pair agree within the lower (EN 60751 class A, from memory).
_LIFT_K, _ALIKE_K = 1.5, 0.5
# Controls, pumps and crankcase heaters of a resting unit together stay below (common practice).
_BURST_W = 250.0
# A heater switching: its power changes by this much, the compressor's does not.
_STEP_W, _SETTLE_MIN, _MEAN_MIN = 700.0, 4, 6
_HEATER_ON_W = 50.0
# More than a compressor changes its draw by within minutes, and less than any car, sauna or oven draws
# (common practice).
_LOAD_STEP_W = 1000.0
# A compressor gives at least 2 kW of heat per kW of electricity, a heater 1 kW: an unrelated load
# gives none.
_DRY_RATIO = 0.3
# Share of a step by which the power may drift in the minutes before and after it.
_DRIFT_SHARE = 0.25
# A register must count such a step within this time; a coarser one produces artefacts.
_STEP_SHOWN_MIN = 3.0


def misplaced_columns(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Columns of the days table, described in `columns/data.py`; none without the meters to compare."""
    return (
        _by_use(minutes, day)
        | _by_signal(minutes, day)
        | _heater_steps(minutes, day)
        | _load_steps(minutes, day)
    )


def _by_use(minutes: Minutes, day: Segments) -> dict[str, object]:
    plant, use = minutes.balance, minutes.use
    meter, flow = plant.metered_heat, plant.flow_heat
    if meter is None or flow is None or plant.heat_basis == "flow_product":
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
        "heat_surely_off_kwh": (
            day.total(np.where(idle, heat, 0.0)) / 1000.0 if heat is not None else np.full(len(day), np.nan)
        ),
        "minutes_surely_on": day.count(sure),
        "electricity_surely_on_kwh": day.sum(np.where(sure, unit, 0.0)) / 1000.0,
        "minutes_surely_off": day.count(rest),
        "electricity_surely_off_kwh": day.sum(np.where(rest, unit, 0.0)) / 1000.0,
        "minutes_off_burst": day.count(rest & (fill_nan(unit, 0.0) * 60.0 > _BURST_W)),
    }


def _running_signal(minutes: Minutes) -> tuple[Flags, Flags]:
    """Whether the unit runs by signals other than electricity and heat meter, and where that is known."""
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
        on = np.abs(fill_nan(lift, 0.0)) > _LIFT_K
        return on, np.isfinite(lift) & (on | (np.abs(fill_nan(lift, 0.0)) < _ALIKE_K))
    nothing = np.zeros(len(grid), dtype=bool)
    return nothing, nothing


def _heater_steps(minutes: Minutes, day: Segments) -> dict[str, object]:
    plant, grid = minutes.balance, minutes.grid
    heater, heat = plant.backup_heater, plant.heat_at_meter
    apart = max(grid.spacing.get(q, 99.0) for q in ("backup_heater_electricity", "heat_output"))
    if heater is None or heat is None or apart > _COARSEST_MIN:
        return {}
    # A defrost or a charge just before or after moves the heat, not the heater; a mean spills over by its
    # length.
    reach = _SETTLE_MIN + _MEAN_MIN + int(apart)
    code = minutes.use.code
    steady = window_sum(code != np.roll(code, 1), reach, reach) == 0
    first, change, answer = _steps(heater * 60.0, heat * 60.0, steady, _STEP_W)
    if plant.heat_pump is not None:
        answer = answer - _compressor_change(plant.heat_pump * 60.0, heat * 60.0, change)
    at = np.flatnonzero(first)
    owner = np.searchsorted(day.start, at, side="right") - 1
    ratio = np.full(len(day), np.nan)
    for i in np.unique(owner[owner >= 0]):
        ratio[i] = median((answer[at] / change[at])[owner == i])
    return {"heater_steps": day.count(first), "heater_step_share": ratio}


def _compressor_change(unit: Floats, heat: Floats, change: Floats) -> Floats:
    """Change of the compressor's own heat while the heater switches [W]; 0 where it is not known.

    A control that adds the heater when the flow is too cool raises the compressor with it. The compressor's
    heat follows its electricity, at the coefficient of performance of the side where the heater is off.

    change : of the heater's power about each minute [W], up or down
    """
    drawn, given = _about(unit), _about(heat)
    on = change > 0.0
    drawn_off, given_off = np.where(on, drawn[0], drawn[1]), np.where(on, given[0], given[1])
    with np.errstate(divide="ignore", invalid="ignore"):
        cop = np.where(drawn_off > _BURST_W, np.maximum(given_off, 0.0) / drawn_off, 0.0)
    return fill_nan(cop * (drawn[1] - drawn[0]), 0.0)


def _load_steps(minutes: Minutes, day: Segments) -> dict[str, object]:
    plant, grid = minutes.balance, minutes.grid
    unit, heat = plant.heat_pump, plant.heat_at_meter
    apart = max(grid.spacing.get(q, 99.0) for q in ("heat_pump_electricity", "heat_output"))
    fine = all(
        grid.resolves(q, _LOAD_STEP_W, _STEP_SHOWN_MIN) for q in ("heat_pump_electricity", "heat_output")
    )
    if unit is None or heat is None or apart > _COARSEST_MIN or not fine:
        return {}
    code, reach = minutes.use.code, _SETTLE_MIN + 2 * _MEAN_MIN + int(apart)
    # Heating throughout: starts, stops, defrosts and changes of use move the draw before the heat, and a
    # charge of the cylinder takes more and more electricity for the same heat.
    heats = (window_sum(code != HEATING, reach, reach) == 0) & minutes.use.running
    heats &= _stands_about(unit * 60.0)
    first, change, answer = _steps(unit * 60.0, heat * 60.0, heats, _LOAD_STEP_W)
    dry = first & (answer / np.where(first, change, 1.0) < _DRY_RATIO)
    return {"load_steps": day.count(first), "dry_steps": day.count(dry)}


def _stands_about(watts: Floats) -> Flags:
    """Minutes with constant power before and after: a change there is a step, not a slope."""
    before, after = _about(watts)
    change = np.abs(after - before)
    earlier, later = np.roll(before, _MEAN_MIN), np.roll(after, -_MEAN_MIN)
    drift = np.maximum(np.abs(before - earlier), np.abs(later - after))
    return np.asarray(fill_nan(drift, np.inf) <= _DRIFT_SHARE * fill_nan(change, 0.0), dtype=np.bool_)


def _steps(watts: Floats, heat: Floats, steady: Flags, least: float) -> tuple[Flags, Floats, Floats]:
    """First minute of each step of a power by at least `least` [W] in steady minutes.

    Also returns the change about each minute, and the change of the heat with it [W].
    """
    power, answer = _about(watts), _about(heat)
    change, followed = power[1] - power[0], answer[1] - answer[0]
    big = steady & np.isfinite(change + followed) & (np.abs(change) > least)
    # One switching lasts some minutes of these means: take each at its greatest.
    most = _greatest_about(np.where(big, np.abs(change), 0.0), _SETTLE_MIN + _MEAN_MIN)
    best = big & (np.abs(change) >= most - 1e-9)
    return run_begins(best), change, followed


def _about(watts: Floats) -> tuple[Floats, Floats]:
    """Means of some minutes before and after each minute."""
    mean = window_mean(watts, 0, _MEAN_MIN, least=_MEAN_MIN)
    before, after = np.full(len(watts), np.nan), np.full(len(watts), np.nan)
    before[_MEAN_MIN + 1 :], after[:-_SETTLE_MIN] = mean[: -_MEAN_MIN - 1], mean[_SETTLE_MIN:]
    return before, after


def _greatest_about(values: Floats, reach: int) -> Floats:
    """Maximum of the values within `reach`."""
    out = values.copy()
    for shift in range(1, reach + 1):
        out[shift:] = np.maximum(out[shift:], values[:-shift])
        out[:-shift] = np.maximum(out[:-shift], values[shift:])
    return out
