"""Describe the current operating state in one sentence, from the last readings."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from fieldfare.analysis.minutes.operating_state import (
    COOLING,
    DEFROST,
    HEATING,
    HOT_WATER,
    OFF,
    UNKNOWN,
)
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.live_state import Present, at_present
from fieldfare.dashboards.text import words

OLD_MIN = 10
"""Readings older than this have their age beside them."""


def live_summary(site: Site, latest: Mapping[str, Mapping[str, Any]]) -> dict[str, Any] | None:
    """text and time [ms] of the sentence; None if the state is unknown."""
    now = at_present(site, latest)
    return None if now is None or now.use == UNKNOWN else {"text": _sentence(now), "time": now.time}


def age_text(summary: Mapping[str, Any] | None, now: datetime) -> str:
    """Age of the sentence's readings; empty if they are recent."""
    if summary is None:
        return ""
    then = datetime.fromtimestamp(summary["time"] / 1000, UTC)
    return words.age(then, now) if (now - then).total_seconds() > 60 * OLD_MIN else ""


def _sentence(now: Present) -> str:
    flow = f" with water at {_warm(now.flow)}" if now.flow is not None else ""
    target = f" ({_warm(now.flow_asked)} asked)" if flow and now.flow_asked is not None else ""
    cylinder = f", cylinder at {_warm(now.cylinder)}" if now.cylinder is not None else ""
    does = {
        OFF: "At rest",
        HEATING: f"Heating the rooms{flow}{target}",
        HOT_WATER: f"Making hot water{cylinder}",
        DEFROST: "Defrosting the outdoor unit",
        COOLING: f"Cooling the rooms{flow}{target}",
    }.get(now.use, f"Running{flow}")
    around = [f"outdoors {_warm(now.outdoor)}"] if now.outdoor is not None else []
    if now.rooms is not None:
        low, high = (_warm(t) for t in now.rooms)
        around.append(f"rooms {low}" if low == high else f"rooms {low} to {high}")
    if now.use == OFF and now.cylinder is not None:
        around.append(f"cylinder {_warm(now.cylinder)}")
    power = _power(now)
    return f"{does}{f': {power}' if power else ''}{'; ' if around else ''}{', '.join(around)}."


def _power(now: Present) -> str:
    """Heat over electricity; a defrost takes heat from the house, and at rest there is none."""
    if now.use == OFF:
        return ""
    parts = (
        [f"{_kw(now.heat_w)} of heat"]
        if now.heat_w is not None and now.heat_w > 0.0 and now.use != DEFROST
        else []
    )
    return " for ".join(
        [*parts, *([f"{_kw(now.electricity_w)} of electricity"] if now.electricity_w is not None else [])]
    )


def _warm(value: float | None) -> str:
    return words.degrees(None if value is None else round(value, 1) + 0.0)


def _kw(watts: float) -> str:
    return words.measure(watts / 1000.0, "kW", 1)
