"""Findings excused by each recognised kind of days, by families.

A cold snap excuses cold rooms and missing capacity; it excuses no scald, no lost pressure, no unit that
stopped and no cylinder that cools or charges badly.
"""

from __future__ import annotations

from fieldfare.analysis.plant.site import Site

FAMILIES: dict[str, tuple[str, ...]] = {
    "running": ("unit_stopped", "fault_reported"),
    "safety": (
        "water_too_hot",
        "frost_risk",
        "pressure_falling",
        "pressure_low",
        "pressure_high",
        "pressure_swings",
    ),
    "disinfection": ("pasteurisation_missed", "disinfection_lacking"),
    "rooms": ("room_below_target",),
    "capacity": ("capacity_short", "backup_heater_use"),
    "supply": ("hot_water_shortfall", "immersion_use"),
    "charging": ("slow_reheat", "reheat_incomplete"),
    "cylinder": ("high_standing_loss", "diverter_passing"),
    "curve": (
        "flow_temperature_above_curve",
        "flow_temperature_below_curve",
        "no_weather_compensation",
    ),
    "operation": (
        "short_cycling",
        "excessive_defrost",
        "defrost_without_frost",
        "low_flow",
        "falling_flow",
        "buffer_mixing",
        "high_standby",
        "pump_always_on",
        "heating_out_of_season",
    ),
    "efficiency": (
        "efficiency_below_expected",
        "efficiency_fell",
        "performance_below_promise",
        "electricity_above_expected",
    ),
    "house": ("heat_loss_above_design", "heat_loss_below_design"),
}
FAMILY_OF = {code: family for family, codes in FAMILIES.items() for code in codes}

_ALL = frozenset(FAMILIES)
EXCUSED: dict[str, frozenset[str]] = {
    "cold_snap": frozenset({"rooms", "capacity", "supply", "curve", "efficiency", "house"}),
    "away": _ALL - {"safety", "running"},
    "party": frozenset({"supply", "charging", "cylinder", "efficiency", "house", "rooms", "capacity"}),
    "serviced": _ALL - {"safety"},
    "settling_in": _ALL - {"safety", "running", "disinfection"},
    "summer": frozenset(),
    "other_heat_source": frozenset(),
    "changed_habit": frozenset(),
    "source_beside": frozenset({"rooms", "capacity", "curve", "operation"}),
}


def excuses(kind: str, code: str) -> bool:
    """True where days of this kind are no evidence for the finding of this code."""
    return FAMILY_OF.get(code, "safety") in EXCUSED[kind]


# Findings that a plant without hot water, or with another source than air, can't have.
_HOT_WATER = frozenset(
    {
        *FAMILIES["supply"],
        *FAMILIES["charging"],
        *FAMILIES["cylinder"],
        "pasteurisation_missed",
        "water_too_hot",
        "disinfection_lacking",
    }
)
_SIGNS_OF_HOT_WATER = (
    "cylinder_temperature",
    "hot_water_heat",
    "immersion_electricity",
    "diverter_to_hot_water",
)
_AIR_ONLY = frozenset({"excessive_defrost", "defrost_without_frost"})


def not_fitted(code: str, site: Site) -> str | None:
    """Why a finding does not apply to this plant at all; None where it does."""
    if (
        code in _HOT_WATER
        and site.hot_water is None
        and not any(site.measures(q) for q in _SIGNS_OF_HOT_WATER)
    ):
        return "the system makes no hot water"
    if code in FAMILIES["disinfection"] and site.hot_water and site.hot_water.stored == "heating_water":
        return "the cylinder holds heating water: no drinking water is stored"
    if code in _AIR_ONLY and site.heat_pump.source != "air":
        return "the source is not air: the unit does not defrost"
    return None
