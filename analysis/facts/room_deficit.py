"""Daily room-temperature deficit per zone, excluding recovery after set-back."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments, held_for

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# A room needs some hours to recover from a set-back (common practice: 2 to 4 h with radiators).
_GIVEN_MIN = 240
_SAME_K = 0.3
_LEAST_MIN = 120
_DAYTIME = (8 * 60, 22 * 60)


def room_deficit_columns(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Columns of the days table, described in `columns/operation.py`, for each zone with a sensor."""
    grid = minutes.grid
    rooms, targets = grid.zones.get("room_temperature", {}), grid.zones.get("target_room_temperature", {})
    daytime = Segments(
        np.minimum(day.start + _DAYTIME[0], day.end), np.minimum(day.start + _DAYTIME[1], day.end)
    )
    out: dict[str, object] = {}
    for zone, room in rooms.items():
        out[f"room_day.{zone}"] = daytime.mean(room)
        target = targets.get(zone)
        if target is None or not np.isfinite(target).any():
            continue
        highest = day.greatest(target)
        top = np.repeat(highest, day.minutes)
        at_highest_target = np.isfinite(target) & (target >= top - _SAME_K)
        given = held_for(at_highest_target, _GIVEN_MIN) & np.isfinite(room)
        enough = day.count(given) >= _LEAST_MIN
        out[f"deficit.{zone}"] = np.where(enough, day.mean(target - room, given), np.nan)
        out[f"wanted.{zone}"] = highest
    return out
