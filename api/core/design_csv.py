"""Write the firm's measured-over-designed ratios as CSV, for design calculations."""

from __future__ import annotations

import csv
import io
from typing import Any

from fieldfare.collector.csv.cells import harmless

COLUMNS = (
    "quantity",
    "grouping",
    "building_kind",
    "building_age",
    "homes",
    "ratio",
    "ratio_low_95",
    "ratio_high_95",
    "next_home_low_80",
    "next_home_high_80",
    "multiplies",
)
"""In docs/design_feedback.md. Ratios have no unit."""
MULTIPLIES = {
    "heat_loss": "heat loss at the design temperatures [kW]",
    "peak_load": "heat loss at the design temperatures, to the load on the design day [kW]",
    "emitter_share": "share of the emitters' output used on the design day [-]",
    "flow_excess": "flow less room temperature on the design day [K]",
    "hot_water": "heat for hot water [kWh a year]",
}


def design_csv(ratios: dict[str, Any]) -> bytes:
    """CSV in UTF-8 with a header, only rows with a ratio; texts are escaped for spreadsheets.

    ratios : of `design_ratios`
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for g in ratios["groups"]:
        if g["ratio"] is None:
            continue
        texts = [g["quantity"], g["grouping"], g["kind"] or "any", g["age"] or "any"]
        numbers = [g[key] for key in ("n", "ratio", "low", "high", "next_low", "next_high")]
        writer.writerow([*map(harmless, texts), *numbers, harmless(MULTIPLIES[g["quantity"]])])
    return out.getvalue().encode()
