"""Load factor by day: output over rating, flow temperature reached, and electricity of steady heating."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.part_load import part_load_gain
from fieldfare.analysis.facts.minutes import (
    Minutes,
    rated,
    source_temperature,
    without_power,
)
from fieldfare.analysis.facts.segments import Segments, held_for
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.operating_state import DEFROST, HEATING, HOT_WATER
from fieldfare.analysis.minutes.rolling import true_runs, window_mean
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# After a start or a defrost metal and refrigerant warm up, and the heat in the pipes
# evens out.
_SETTLED_MIN = 15
_SETTLED_HOT_MIN = 8  # reheats are short, and begin with the circuit already warm
_FULL_SHARE = 0.75
# Cold water that comes back from a valve shows as output for some minutes. Full output is what the unit keeps
# up; charges are short.
_FULL_FOR_MIN, _FULL_FOR_HOT_MIN = 30, 10
_LACKING_K = 2.0
# A powered unit's controls draw 5 W or more; a meter without supply shows zero or noise.


def load_factor_columns(minutes: Minutes, day: Segments, share: Floats, gain: Floats) -> dict[str, object]:
    """Columns of the days table, described in `columns/operation.py`.

    share : of `load_share`. gain : of `part_load`
    """
    grid, use = minutes.grid, minutes.use
    flow, back = grid.gauge("flow_temperature"), grid.gauge("return_temperature")
    steady = held_for(use.code == HEATING, _SETTLED_MIN)
    target_flow = target_flow_of(minutes)
    gap = target_flow - flow
    return {
        "load_share": day.mean(share, steady),
        "load_share_top": _best_hour(share, use.running & (use.code != DEFROST), day),
        "minutes_settled": day.count(steady),
        "minutes_lacking": day.count(steady & (fill_nan(gap, 0.0) > _LACKING_K)),
        **_against_rating(minutes, day, share, gain, steady),
        "loop_c": day.mean((flow + back) / 2.0),
        **_dead(minutes, day),
    }


def load_share(site: Site, minutes: Minutes) -> Floats:
    """Heat of each minute over the rated output at its temperatures [-]; nan when off or unknown."""
    grid = minutes.grid
    flow = np.fmax(grid.gauge("flow_temperature"), grid.gauge("return_temperature"))
    if not np.isfinite(flow).any():
        flow = minutes.curve
    source = source_temperature(site, grid)
    output = np.asarray(rated(site).capacity_kw(source, flow), dtype=np.float64) * 1000.0
    heat = minutes.heat * 60.0
    heater = minutes.balance.backup_heater
    if minutes.balance.sees_backup and heater is not None:
        heat = heat - fill_nan(heater, 0.0) * 60.0
    return np.where(minutes.use.running & (output > 0), heat / output, np.nan)


def part_load(site: Site, minutes: Minutes, share: Floats) -> Floats:
    """COP at each minute's output over that at full output [-]; 1 where unknown. share : of `load_share`"""
    grid = minutes.grid
    flow = np.fmax(grid.gauge("flow_temperature"), grid.gauge("return_temperature"))
    flow = np.where(np.isfinite(flow), flow, minutes.curve)
    known = np.where(share > 0.0, share, np.nan)
    return fill_nan(part_load_gain(known, source_temperature(site, grid), flow), 1.0)


def target_flow_of(minutes: Minutes) -> Floats:
    """Target flow temperature [°C]: from the controls, otherwise from the designed curve."""
    target = minutes.grid.gauge("target_flow_temperature")
    return np.where(np.isfinite(target), target, minutes.curve)


def _against_rating(
    minutes: Minutes, day: Segments, share: Floats, gain: Floats, steady: Flags
) -> dict[str, object]:
    unit, heat, cop = minutes.balance.heat_pump, minutes.heat, minutes.rated_cop
    if unit is None:
        return {}
    comparable = np.isfinite(heat) & np.isfinite(unit) & np.isfinite(cop)
    hot = held_for(minutes.use.code == HOT_WATER, _SETTLED_HOT_MIN)
    out: dict[str, object] = {}
    for name, mine in (
        ("steady", steady),
        ("full", _kept_up(share, steady, _FULL_FOR_MIN)),
        ("full_hot", _kept_up(share, hot, _FULL_FOR_HOT_MIN)),
    ):
        mine = mine & comparable
        out[f"expected_{name}_kwh"] = day.sum(np.where(mine, heat / cop, 0.0)) / 1000.0
        out[f"expected_part_load_{name}_kwh"] = day.sum(np.where(mine, heat / cop / gain, 0.0)) / 1000.0
        out[f"expected_used_{name}_kwh"] = day.sum(np.where(mine, unit, 0.0)) / 1000.0
        if name != "steady":
            out[f"minutes_{name}"] = day.count(mine)
    return out


def _kept_up(share: Floats, where: Flags, minutes: int) -> Flags:
    """Minutes of `where` with full output on average of the minutes around: bool (n,).

    Chosen by a mean: single minutes of high output are those in which stored heat comes out, with no
    electricity of their own, so that they would flatter the unit.
    """
    around = window_mean(np.where(where, share, np.nan), minutes // 2, minutes // 2, least=minutes - 2)
    return where & (fill_nan(around, 0.0) > _FULL_SHARE)


def _dead(minutes: Minutes, day: Segments) -> dict[str, object]:
    unit, grid = minutes.balance.heat_pump, minutes.grid
    if unit is None or grid.spacing.get("heat_pump_electricity", 99.0) > 15.0:
        nothing = np.full(len(day), np.nan)
        return {"minutes_dead": nothing, "minutes_dead_frost": nothing}
    dead = without_power(minutes)
    still = ~(fill_nan(grid.gauge("flow_rate"), 0.0) > 0.03)
    frost = fill_nan(grid.gauge("outdoor_temperature"), 9.0) < 0.0
    return {"minutes_dead": day.count(dead), "minutes_dead_frost": _longest(dead & still & frost, day)}


def _longest(flags: Flags, day: Segments) -> Floats:
    """Minutes of the longest stretch in each day, cut at midnight."""
    start, end = true_runs(np.insert(flags, day.start, False))
    cuts = day.start + np.arange(len(day))
    out = np.zeros(len(day))
    np.maximum.at(out, np.searchsorted(cuts, start) - 1, (end - start).astype(np.float64))
    return out


def _best_hour(share: Floats, where: Flags, day: Segments) -> Floats:
    """Greatest mean over any whole hour of such minutes that starts in the day."""
    return day.greatest(window_mean(np.where(where, share, np.nan), 0, 60, least=60))
