"""The facts' days as small plain rows: what the figures draw, and what a kept paper keeps of them."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from analysis.facts.tables import Facts

Row = dict[str, Any]

_AS_THEY_ARE = (
    "outdoor", "outdoor_min", "outdoor_steady", "room", "target", "flow", "flow_by_heat", "curve", "above_curve",
    "n_steady", "flow_rate", "lift", "starts", "pressure", "tank_min", "tank_max", "water_min", "idle_power", "e_total",
    "e_backup", "e_immersion", "q_total", "n_minutes", "n_running", "n_heating", "n_hot_water", "n_defrost", "n_off",
    "heat_power_max", "n_pump_idle", "n_pump_known", "standing_k_per_h", "buffer_drop",
)  # fmt: skip


def day_rows(facts: Facts) -> list[Row]:
    """One row a local day: `day` as ISO text, the days table's columns that figures use, None for what is not known.

    heat_kw, electricity_kw : means over the hours that are known. space [kWh] heat to rooms less what defrosts took; spf_space, rated_space [-]; known [share of the day's minutes];
    defrosts, reheats : how many began that day
    """
    days = facts.days
    if days.empty:
        return []
    frame = pd.DataFrame({"day": days["day"].dt.strftime("%Y-%m-%d")})
    for name in _AS_THEY_ARE:
        if name in days:
            frame[name] = days[name]
    frame["space"] = days["q_space"] - days["q_defrost_taken"].fillna(0.0)
    frame["spf_space"] = _ratio(days["p_heat_space"], days["p_electricity_space"])
    frame["rated_space"] = _ratio(days["xq_space"], days["x_space"])
    # By the hours that are known: today's are not over.
    for name, energy, minutes in (
        ("heat_kw", "q_total", "n_heat"),
        ("electricity_kw", "e_total", "n_electricity"),
    ):
        frame[name] = days[energy] / days[minutes].where(days[minutes] > 0) * 60.0
    frame["known"] = days[["n_electricity", "n_heat"]].max(axis=1) / days["n_minutes"]
    for name in ("defrosts", "reheats"):
        table = getattr(facts, name)
        begun = table.groupby("day").size() if len(table) else pd.Series(dtype=float)
        frame[name] = days["day"].map(begun).fillna(0).to_numpy()
    return [{str(k): _plain(v) for k, v in row.items()} for row in frame.to_dict("records")]


def rows_of_result(result: dict[str, Any]) -> list[Row]:
    """The few columns that a result document itself carries by day, where no facts are at hand."""
    return [
        {"day": d["day"], "outdoor": d["outdoor_c"], "q_total": d["heat_kwh"], "e_total": d["electricity_kwh"],
         "known": d["coverage"], "n_minutes": 1440, "spf_space": d.get("space_heating"), **_means(d)}
        for d in result["performance"]["by_day"]
    ]  # fmt: skip


def _means(row: dict[str, Any]) -> Row:
    """A day's mean powers [kW], over the share of it that is known."""
    hours = 24.0 * row["coverage"] if row["coverage"] else None
    return {
        name: None if hours is None or row[energy] is None else row[energy] / hours
        for name, energy in (("heat_kw", "heat_kwh"), ("electricity_kw", "electricity_kwh"))
    }


def known(rows: list[Row], *names: str) -> list[Row]:
    """The rows that have all of the named values."""
    return [r for r in rows if all(r.get(n) is not None for n in names)]


def _ratio(above: pd.Series, below: pd.Series) -> pd.Series:
    """Daily performance where at least 1 kWh of electricity stands behind it."""
    return (above / below).where(below > 1.0)


def _plain(value: Any) -> Any:
    if isinstance(value, str):
        return value
    number = float(value)
    if not math.isfinite(number):
        return None
    return int(number) if number.is_integer() and abs(number) < 1e9 else round(number, 3)
