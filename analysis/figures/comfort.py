"""Room temperatures against their targets."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fieldfare.analysis.facts.table import Table


@dataclass(frozen=True)
class Zone:
    mean_c: float
    target_c: float | None
    share_below_target: float | None
    share_far_below: float | None


def comfort(days: Table) -> dict[str, Zone]:
    """Rooms by zone; shares None without a measured target. Below: 0.5 K or more under the target."""
    zones: dict[str, Zone] = {}
    for column in days.names:
        if not column.startswith("room."):
            continue
        zone = column.removeprefix("room.")
        mean = days.mean(column)
        if math.isnan(mean):
            continue
        minutes_with_target = days.total(f"minutes_asked.{zone}") if f"minutes_asked.{zone}" in days else 0.0
        target = days.mean(f"target.{zone}") if minutes_with_target else None
        zones[zone] = Zone(
            mean,
            target,
            days.total(f"minutes_below.{zone}") / minutes_with_target if minutes_with_target else None,
            days.total(f"minutes_far_below.{zone}") / minutes_with_target if minutes_with_target else None,
        )
    return zones
