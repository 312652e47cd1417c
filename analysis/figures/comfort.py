"""How warm the rooms were against what was asked."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Zone:
    mean_c: float
    target_c: float | None
    share_below_target: float | None
    share_far_below: float | None


def comfort(days: pd.DataFrame) -> dict[str, Zone]:
    """Rooms by zone; shares None where no target is measured. Below: half a kelvin or more under the target."""
    zones: dict[str, Zone] = {}
    for column in days.columns:
        if not column.startswith("room."):
            continue
        zone = column.removeprefix("room.")
        mean = days[column].mean()
        if pd.isna(mean):
            continue
        asked = float(days[f"n_asked.{zone}"].sum()) if f"n_asked.{zone}" in days else 0.0
        target = float(days[f"target.{zone}"].mean()) if asked else None
        zones[zone] = Zone(
            float(mean),
            target,
            float(days[f"n_below.{zone}"].sum()) / asked if asked else None,
            float(days[f"n_far_below.{zone}"].sum()) / asked if asked else None,
        )
    return zones
