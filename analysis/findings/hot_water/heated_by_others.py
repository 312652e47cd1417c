"""Days on which another heater keeps the cylinder above the unit's setpoint."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.context import Context


def heated_by_others(context: Context, days: Table) -> Flags:
    """Days whose stored water passed the setpoint by `held_over_setpoint_k` and never asked for a reheat.

    A heater that makes the water in a stopped unit's stead lets it fall to where the unit would have begun,
    and stops at the setpoint.
    days : the days table. Returns bool (n,); False where the cylinder is not measured or can't be trusted.
    """
    water = context.site.hot_water
    if water is None or "cylinder_temperature" in context.unreliable:
        return np.zeros(len(days), dtype=np.bool_)
    hottest = water.setpoint_c + context.limit("held_over_setpoint_k")
    held, least = days.floats("tank_held"), days.floats("tank_min")
    return np.asarray((held >= hottest) & (least > water.reheats_below_c), dtype=np.bool_)
