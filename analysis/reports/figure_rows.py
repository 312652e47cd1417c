"""The figures of a result document as rows: one number each, with its interval,
unit or the reason for none."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_KWH = ("total", "heat_pump", "backup_heater", "immersion", "circulation_pump", "space_heating", "hot_water")
FIGURES: tuple[tuple[str, str, str], ...] = (
    ("coverage.share", "Share of the time read", "-"),
    *((f"energy.electricity_kwh.{n}", f"Electricity, {n.replace('_', ' ')}", "kWh") for n in _KWH),
    ("energy.electricity_kwh.defrost", "Electricity, defrost", "kWh"),
    ("energy.electricity_kwh.idle", "Electricity at rest, of no use", "kWh"),
    ("energy.heat_kwh.total", "Heat, unit", "kWh"),
    ("energy.heat_kwh.direct_electric", "Heat, electric heaters that no heat meter sees", "kWh"),
    *((f"energy.heat_kwh.{n}", f"Heat, {n.replace('_', ' ')}", "kWh") for n in _KWH[5:]),
    ("energy.heat_kwh.defrost_taken", "Heat taken back by defrosts", "kWh"),
    *(
        (f"performance.{n}", f"Seasonal performance {n} (SEPEMO-Build)", "-")
        for n in ("H1", "H2", "H3", "H4")
    ),
    ("performance.space_heating", "Performance, heating rooms", "-"),
    ("performance.hot_water", "Performance, hot water", "-"),
    ("performance.expected", "Performance expected from the rating", "-"),
    ("heat_loss.coefficient_w_per_k", "Heat loss coefficient", "W/K"),
    ("heat_loss.heat_loss_kw", "Heat loss at design temperatures", "kW"),
    ("heat_loss.ratio", "Heat loss, measured over designed", "-"),
    ("heat_loss.load_kw", "Load on the design day", "kW"),
    ("capacity.output_at_design_kw", "Output on the design day", "kW"),
    ("capacity.margin", "Output over load", "-"),
    ("capacity.measured_share_of_rating", "Output at full load over its rating", "-"),
    ("heating_curve.above_design_k", "Flow temperature above the design's curve", "K"),
    ("heating_curve.slope", "Slope of the flow temperature on the outdoor temperature", "K/K"),
    ("cycling.starts", "Starts", "-"),
    ("cycling.starts_per_running_hour", "Starts for each hour of running", "1/h"),
    ("cycling.median_run_minutes", "Typical run (median)", "min"),
    ("cycling.short_run_share", "Share of runs under 10 minutes", "-"),
    ("defrost.count", "Defrosts", "-"),
    ("defrost.per_frost_hour", "Defrosts for each hour of heating in frosting air", "1/h"),
    ("defrost.median_minutes", "Typical defrost (median)", "min"),
    ("defrost.share_of_heat", "Heat taken by defrosts over heat to rooms", "-"),
    ("hot_water.reheats", "Cylinder charges", "-"),
    ("hot_water.median_reheat_minutes", "Typical cylinder charge (median)", "min"),
    ("hot_water.litres_at_40c_when_full", "Water at 40 °C from a full cylinder", "l"),
    ("hot_water.minutes_below_40c_per_week", "Cylinder below 40 °C in a week", "min"),
    ("hot_water.standing_loss_kwh_per_day", "Standing loss of the cylinder, quiet hours", "kWh/d"),
)
"""Path in the result document, label, unit."""


def figure_rows(result: Mapping[str, Any]) -> list[dict[str, Any]]:
    """name, label, unit, value, low, high (95 %) and reason of every figure, and of every zone's mean."""
    rows = [_row(result, *figure) for figure in FIGURES]
    for zone in result["comfort"]["zones"]:
        rows.append(_row(result, f"comfort.zones.{zone}.mean_c", f"Mean temperature, {zone}", "°C"))
    return rows


def _row(result: Mapping[str, Any], name: str, label: str, unit: str) -> dict[str, Any]:
    head, *path = name.split(".")
    section = result[head]
    found: Any = section
    for key in path:
        found = (found or {}).get(key)
    estimate = found if isinstance(found, dict) else {"value": found}
    value = estimate.get("value")
    return {
        "name": name,
        "label": label,
        "unit": unit,
        "value": value,
        "low": estimate.get("low"),
        "high": estimate.get("high"),
        "reason": "" if value is not None else _reason(section, path[-1]),
    }


def _reason(section: Mapping[str, Any], key: str) -> str:
    """Reason for a missing figure: its own, or its section's."""
    reasons = section.get("reasons") or {}
    return str(reasons.get(key) or section.get("reason") or "not known from these readings")
