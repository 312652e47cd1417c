"""Columns and types of the tables of runs, defrosts and reheats; every table has `day` beside them."""

from __future__ import annotations

from typing import Any

import numpy as np

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.table import Table

_KINDS = {
    "day": "datetime64[us]",
    "start": "int64",
    "minutes": "int64",
    "use": "int8",
    "during": "int8",
    "ended_by": "object",
    "cut": "bool",
    "frosting": "bool",
    "frost_known": "bool",
    "minutes_heating": "int64",
    "minutes_hot_water": "int64",
    "minutes_defrost": "int64",
    "defrosts": "int64",
}
RUN_COLUMNS = (
    "start",
    "minutes",
    "use",
    "minutes_heating",
    "minutes_hot_water",
    "minutes_defrost",
    "defrosts",
    "heat",
    "electricity",
    "expected",
    "outdoor",
    "flow",
    "flow_start",
    "flow_end",
    "flow_max",
    "return",
    "return_start",
    "return_end",
    "lift",
    "flow_rate",
    "flow_after",
    "rise",
    "target_flow",
    "speed",
    "pause",
    "pause_called",
    "pause_flow_short",
    "pause_mode_on",
    "room_excess",
    "room_start",
    "room_end",
    "ended_by",
    "cut",
)
DEFROST_COLUMNS = (
    "start",
    "minutes",
    "heat_taken",
    "electricity",
    "outdoor",
    "humidity",
    "frosting",
    "frost_known",
    "since_last",
    "frost_kg",
    "frost_usual_kg",
    "during",
)
REHEAT_COLUMNS = (
    "start",
    "minutes",
    "from_c",
    "to_c",
    "heat",
    "electricity",
    "immersion",
    "outdoor",
    "flow",
    "flow_max",
    "flow_end",
    "lift",
    "flow_rate",
    "over_cylinder",
    "pause",
    "rise_end",
    "heat_end",
    "fall_after",
    "heat_after",
    "flow_after",
    "reached",
    "cut",
)


def dated(columns: dict[str, Any], minutes: Minutes) -> Table:
    """The columns as a table, with the local day in which each event begins."""
    grid = minutes.grid
    index = (columns["start"] - grid.time[0]) // 60_000
    day = np.searchsorted(grid.day_start, index, side="right") - 1
    return Table({"day": grid.local_dates[day]} | columns)


def empty(columns: tuple[str, ...]) -> Table:
    """An empty event table with the usual columns and types."""
    return Table({c: np.empty(0, dtype=_KINDS.get(c, "float64")) for c in ("day", *columns)})
