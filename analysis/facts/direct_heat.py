"""Direct electric heat by day: the back-up heater in mild weather, and the immersion heater."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.load_factor import target_flow_of
from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.operating_state import DEFROST, HEATING, HOT_WATER
from fieldfare.analysis.minutes.rolling import running_total, window_mean
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]

_ON_W = 100.0  # far above a register's last digit spread over minutes, far below any heater
_SENSOR_K = 1.0  # outdoor sensors differ by about so much from the unit's own (common practice)
_AFTER_MIN = 45  # an immersion heater that finishes a charge starts within so many minutes of its end


def direct_heat_columns(site: Site, minutes: Minutes, day: Segments, share: Floats) -> dict[str, object]:
    """Columns of the days table, described in `columns/energy.py`; none without the meter.

    share : of `load_share`
    """
    return _backup(site, minutes, day, share) | _immersion(minutes, day)


def helped_below(site: Site) -> float | None:
    """Outdoor temperature below which the design uses the back-up heater; default its coldest day."""
    design = site.design
    return design.bivalent_c if design.bivalent_c is not None else design.outdoor_c


def _backup(site: Site, minutes: Minutes, day: Segments, share: Floats) -> dict[str, object]:
    heater, grid = minutes.balance.backup_heater, minutes.grid
    outdoor, below = grid.gauge("outdoor_temperature"), helped_below(site)
    if heater is None or below is None or not np.isfinite(outdoor).any():
        return {}
    # A heater follows the weather of some hours, and a register's step is slightly late.
    mild = window_mean(outdoor, 179, 1) > below + _SENSOR_K
    # In the flow it may also finish a hot-water charge, which is no space heat, or warm the water of a
    # defrost.
    mild &= ~np.isin(minutes.use.code, (HOT_WATER, DEFROST))
    on = mild & (fill_nan(heater, 0.0) * 60.0 > _ON_W)
    share = np.where(minutes.use.running, share, 0.0)
    heating = on & np.isin(minutes.use.code, (HEATING,))
    gap = target_flow_of(minutes) - grid.gauge("flow_temperature")
    return {
        "electricity_backup_mild_kwh": day.sum(np.where(mild, fill_nan(heater, 0.0), 0.0)) / 1000.0,
        "backup_unit_share": day.mean(share, on),
        "backup_flow_gap": day.mean(gap, heating),
    }


def _immersion(minutes: Minutes, day: Segments) -> dict[str, object]:
    heater, grid = minutes.balance.immersion, minutes.grid
    if heater is None or grid.spacing.get("immersion_electricity", 99.0) > 15.0:
        return {}
    bursts = Segments.of(fill_nan(heater, 0.0) * 60.0 > _ON_W).joined(20)
    energy = bursts.sum(heater) / 1000.0
    charged = running_total(minutes.use.code == HOT_WATER)
    begin = bursts.start
    before = np.maximum(begin - _AFTER_MIN, 0)
    follows = charged[np.minimum(begin + 1, len(grid))] - charged[before] > 0
    owner = np.searchsorted(day.start, begin, side="right") - 1
    tank = grid.gauge("cylinder_temperature")
    at, low, high = (np.full(len(day), np.nan) for _ in range(3))
    longest = np.zeros(len(day))
    ends = np.minimum(bursts.end, len(grid) - 1)
    for i, d in enumerate(owner):
        if energy[i] > longest[d]:
            longest[d] = energy[i]
            at[d] = float(begin[i] - day.start[d])
            low[d], high[d] = tank[begin[i]], tank[ends[i]]
    after = (
        np.bincount(owner, weights=np.where(follows, energy, 0.0), minlength=len(day)) if len(owner) else 0.0
    )
    return {
        "electricity_immersion_after_kwh": np.zeros(len(day)) + after,
        "immersion_at_min": at,
        "immersion_from_c": low,
        "immersion_to_c": high,
    }
