"""The days of the facts as plain rows, for figures and stored papers."""

from __future__ import annotations

import math
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.facts.unfinished import minutes_to_come

Floats = NDArray[np.float64]
Row = dict[str, Any]

_AS_THEY_ARE = (
    "outdoor",
    "outdoor_min",
    "outdoor_steady",
    "room",
    "target",
    "flow",
    "flow_by_heat",
    "curve",
    "above_curve",
    "minutes_steady",
    "flow_rate",
    "lift",
    "starts",
    "pressure",
    "tank_min",
    "tank_max",
    "water_min",
    "idle_power",
    "electricity_total_kwh",
    "electricity_backup_kwh",
    "electricity_immersion_kwh",
    "heat_total_kwh",
    "minutes_total",
    "minutes_running",
    "minutes_heating",
    "minutes_hot_water",
    "minutes_defrost",
    "minutes_off",
    "heat_power_max",
    "minutes_pump_idle",
    "minutes_pump_known",
    "standing_k_per_h",
    "buffer_drop",
)


def day_rows(facts: Facts, zone: ZoneInfo | None = None) -> list[Row]:
    """One row per local day: `day` as ISO text and the columns that figures use; None if unknown.

    heat_kw, electricity_kw : means over the hours that are known. space [kWh] heat to rooms less what
        defrosts took; spf_space, rated_space [-]; known [share of the day's minutes];
    defrosts, reheats : how many began that day. so_far : whether the day is not over
    zone : the site's; with it, hours of the newest day that are still to come count as neither read nor
        missing
    """
    days = facts.days
    if not len(days):
        return []
    columns = {name: days.floats(name) for name in _AS_THEY_ARE if name in days}
    columns["space"] = days.floats("heat_space_kwh") - np.nan_to_num(days.floats("heat_defrost_taken_kwh"))
    columns["spf_space"] = _ratio(days["paired_heat_space_kwh"], days["paired_electricity_space_kwh"], 1.0)
    columns["rated_space"] = _ratio(days["expected_heat_space_kwh"], days["expected_space_kwh"], 1.0)
    # By the known hours, as today is not over.
    columns["heat_kw"] = 60.0 * _ratio(days["heat_total_kwh"], days["minutes_heat_known"], 0.0)
    columns["electricity_kw"] = 60.0 * _ratio(
        days["electricity_total_kwh"], days["minutes_electricity_known"], 0.0
    )
    to_come = minutes_to_come(facts, zone) if zone is not None else 0
    over = days["minutes_total"].astype(np.float64)
    over[-1] -= min(to_come, over[-1] - 1.0)
    columns["known"] = np.maximum(days["minutes_electricity_known"], days["minutes_heat_known"]) / over
    for name in ("defrosts", "reheats"):
        begun = getattr(facts, name)["day"]
        first, end = np.searchsorted(begun, days["day"], "left"), np.searchsorted(begun, days["day"], "right")
        columns[name] = (end - first).astype(np.float64)
    names, dates = list(columns), np.datetime_as_string(days["day"], unit="D").tolist()
    rows = zip(*(values.tolist() for values in columns.values()), strict=True)
    return [
        {
            "day": day,
            "so_far": to_come > 0 and day == dates[-1],
            **{k: _plain(v) for k, v in zip(names, row, strict=True)},
        }
        for day, row in zip(dates, rows, strict=True)
    ]


def rows_of_result(result: dict[str, Any]) -> list[Row]:
    """The few daily columns of a result document, if facts are not available."""
    return [
        {
            "day": d["day"],
            "outdoor": d["outdoor_c"],
            "heat_total_kwh": d["heat_kwh"],
            "electricity_total_kwh": d["electricity_kwh"],
            "known": d["coverage"],
            "minutes_total": 1440,
            "spf_space": d.get("space_heating"),
            **_means(d),
        }
        for d in result["performance"]["by_day"]
    ]


def _means(row: dict[str, Any]) -> Row:
    """Mean powers of a day [kW], over its known share."""
    hours = 24.0 * row["coverage"] if row["coverage"] else None
    return {
        name: None if hours is None or row[energy] is None else row[energy] / hours
        for name, energy in (("heat_kw", "heat_kwh"), ("electricity_kw", "electricity_kwh"))
    }


def known(rows: list[Row], *names: str) -> list[Row]:
    """Rows with all of the named values."""
    return [r for r in rows if all(r.get(n) is not None for n in names)]


def _ratio(above: Floats, below: NDArray[Any], least: float) -> Floats:
    """Ratio of two columns where the denominator exceeds the least; nan elsewhere.

    Daily performance needs 1 kWh of electricity behind it.
    """
    return np.divide(above, below, out=np.full(len(above), np.nan), where=below > least)


def _plain(value: float) -> float | None:
    if not math.isfinite(value):
        return None
    return int(value) if value == int(value) and abs(value) < 1e9 else round(value, 3)
