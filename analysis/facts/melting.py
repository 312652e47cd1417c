"""Evidence by day whether the heat meter counts the heat that defrosts draw from the water."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.facts.minutes import WATER_ON_ITS_WAY_MIN, Minutes
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.minutes.operating_state import DEFROST, within
from fieldfare.analysis.plant.site import Site

USUAL_RATED_KW = 6.0


def melting_columns(site: Site, minutes: Minutes, day: Segments) -> dict[str, object]:
    """Columns of the days table, described in `columns/data.py`."""
    code, heat = minutes.use.code, minutes.heat
    known = np.isfinite(heat)
    melting = code == DEFROST
    flow_heat = minutes.balance.flow_heat
    taken = np.full(len(heat), np.nan)
    if flow_heat is not None:
        about = within(melting, 0, WATER_ON_ITS_WAY_MIN)
        taken = np.where(about & (flow_heat < 0.0), -flow_heat, np.where(np.isfinite(flow_heat), 0.0, np.nan))
    rated = site.heat_pump.rated_output_kw or USUAL_RATED_KW
    return {
        "minutes_melting": day.count(melting & known),
        "heat_back_kwh": day.sum(np.where(known & (heat < 0.0) & ~minutes.cooling, -heat, 0.0)) / 1000.0,
        "heat_taken_flow_kwh": day.total(taken) / 1000.0,
        "heat_taken_most_kwh": day.count(melting) * rated / 60.0,
    }
