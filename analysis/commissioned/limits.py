"""Allowed difference between commissioning value and today: 95 % half-widths."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

LIMITS_COMMISSIONED: dict[str, Limit] = {
    "commissioned_flow_share": Limit(
        0.05,
        "-",
        "EN 1434-1: highest permissible error of a flow sensor, 5 %",
        "flow differs from commissioning",
    ),
    "commissioned_valves_share": Limit(
        0.05,
        "-",
        "common practice, no source: thermostatic valves that are not all open",
        "flow differs from commissioning",
    ),
    "commissioned_pressure_bar": Limit(
        0.1,
        "bar",
        "EN 837-1: a gauge of class 2.5 over 4 bar, 2.5 % of its range",
        "pressure differs from commissioning",
    ),
    "commissioned_temperature_k": Limit(
        1.0,
        "K",
        "common practice: IEC 60751 class B (0.55 K at 50 °C) and a pocket or a pipe",
        "temperature differs from commissioning",
    ),
    "commissioned_set_back_k": Limit(
        0.5, "K", "common practice: controls take half kelvins", "set-back differs from commissioning"
    ),
    "commissioned_power_share": Limit(
        0.05,
        "-",
        "2014/32/EU Annex V: class A below the transitional current, 5 %",
        "pump power differs from commissioning",
    ),
    "commissioned_reading_share": Limit(
        0.002, "-", "common practice: the counter moved on while it was read", "a meter reading differs"
    ),
    "commissioned_days": Limit(
        28.0, "days", "common practice: four weeks", "readings of so many days stand for today"
    ),
    "commissioned_fewest_days": Limit(
        5.0, "days", "common practice: working days of a week", "too few days to stand for today", "below"
    ),
}
