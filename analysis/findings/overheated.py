"""Overheated rooms: windows are open, so the heat balance can't be used."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.findings.context import Context

_HEATED_MIN = 60.0


def overheated_c(context: Context) -> float | None:
    """Mean room temperature of heated days [°C] where it is far above the designed one; None where it is
    not."""
    days = context.days
    room = float(days.where(days.floats("minutes_heating") >= _HEATED_MIN).mean("room"))
    beyond = np.isfinite(room) and room - context.site.design.indoor_c > context.limit("overheated_k")
    return room if beyond else None
