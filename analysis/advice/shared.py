"""Settings whose effect another source, a second heat pump or surplus electricity makes undeterminable."""

from __future__ import annotations

from collections.abc import Sequence

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.plant.site import HEAT_QUANTITIES, Site


def lacking(site: Site, *quantities: str) -> str:
    """Missing quantities of a setting: those not measured, else too few days."""
    unread = [q for q in quantities if not site.measures(q)]
    if not unread:
        return f"needs more days with readings of {_and(quantities)}"
    return f"needs {_and(unread)}"


def no_rooms(site: Site) -> str:
    """Reason why the rooms' response to a change is unknown."""
    metered = any(site.measures(q) for q in HEAT_QUANTITIES)
    if not metered and site.measures("room_temperature"):
        return "needs a heat meter"
    return lacking(site, "room_temperature") + ("" if metered else " and a heat meter")


def _and(names: Sequence[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def refuse_shared(code: str, site: Site) -> None:
    """Raise NotAssessed if parts declared in the site file make a setting's effect undeterminable.

    code : of the setting
    """
    if (reason := _why_shared(code, site)) is not None:
        raise NotAssessed(reason, "other_source")


def _why_shared(code: str, site: Site) -> str | None:
    """Reason why a setting's effect can't be determined, given the site file; None if it can."""
    if code in ("hot_water_setpoint", "hot_water_reheat"):
        if sources := site.other_heat_for("hot_water"):
            return (
                f"a {sources[0].name} makes part of the hot water: how much the heat pump would save is"
                " not known"
            )
        if site.pv is not None and site.pv.raises_hot_water_to_c is not None:
            return "surplus electricity raises the hot water by itself: set it at the surplus controller"
    if code == "heating_curve" and site.pv is not None and site.pv.raises_flow_k > 0.0:
        return "surplus electricity raises the flow by day: the curve alone can't be told from it"
    if code == "pump_speed" and site.heat_pump.units > 1:
        return "each of several heat pumps has its own flow: set each by its own difference"
    return None
