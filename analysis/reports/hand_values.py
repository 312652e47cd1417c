"""Allowed ranges of values read by hand, from the limits tables, the site and the cautions.

They don't block: the engineer may have a reason. They are shown beside the field and stay open points.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from fieldfare.analysis import cautions
from fieldfare.analysis.findings.limit import Side
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.physics.hot_water import DISINFECTED_AT_C, SCALD_FROM_C
from fieldfare.analysis.plant.site import Site


@dataclass(frozen=True)
class HandRule:
    """A range of one found value.

    found : its id. side : where the trouble lies. limit : in the value's unit, None where it is held against
    another value of the item. than : id of that value. reached : the limit itself is trouble too
    says : what is wrong, as the rest of "Mixed 62 °C: ...". caution : what to take care of
    """

    found: str
    side: Side
    says: str
    caution: str
    limit: float | None = None
    than: str = ""
    reached: bool = False

    def is_broken(self, values: Mapping[str, float | None]) -> bool:
        """values : of the item's found values by id; None or missing where there is no number"""
        value = values.get(self.found)
        limit = values.get(self.than) if self.than else self.limit
        if value is None or limit is None:
            return False
        if value == limit:
            return self.reached
        return value > limit if self.side == "above" else value < limit


def rules_of(item: str, site: Site) -> tuple[HandRule, ...]:
    """The ranges of an item's found values for one home; none for most items."""
    made = _RULES.get(item)
    return made(site) if made else ()


def _pressure(site: Site) -> tuple[HandRule, ...]:
    low, high = limit_of(site, "pressure_low_watch"), limit_of(site, "pressure_high_watch")
    care, relief = cautions.BY_HAND["pressure"], cautions.BY_HAND["relief"]
    return (
        HandRule(
            "cold", "below", f"too little, {low:g} bar at least; air gets in, the unit stops", care, low
        ),
        HandRule("hot", "below", f"too little, {low:g} bar at least; air gets in, the unit stops", care, low),
        HandRule("cold", "above", f"above {high:g} bar the relief valve is near", relief, high),
        HandRule("hot", "above", f"above {high:g} bar the relief valve is near", relief, high),
        HandRule(
            "hot", "below", "lower than cold: pressure rises with heat; read both again", care, than="cold"
        ),
    )


def _vessel(site: Site) -> tuple[HandRule, ...]:
    low = limit_of(site, "precharge_low")
    says = f"too little, {low:g} bar at least and as the height of the house asks"
    return (HandRule("precharge", "below", says, cautions.BY_HAND["vessel"], low),)


def _antifreeze(site: Site) -> tuple[HandRule, ...]:
    care = f"{cautions.BY_HAND['freezing']} {cautions.BY_HAND['antifreeze']}"
    out = []
    if site.heat_pump.antifreeze_percent:
        designed = site.heat_pump.antifreeze_percent
        least = designed - limit_of(site, "antifreeze_short")
        out.append(HandRule("strength", "below", f"too weak, designed {designed:g} %", care, least))
    if site.design.outdoor_c is not None:
        cold = site.design.outdoor_c
        says = f"it can freeze: the design day has {cold:g} °C"
        out.append(HandRule("frost_to", "above", says, care, cold))
    return tuple(out)


def _stored(found: str, site: Site) -> tuple[HandRule, ...]:
    """Drinking water that is kept warm: no store in which Legionella grows, nor one between the two limits
    that no disinfection reaches."""
    plant = site.hot_water
    if plant is None or plant.stored == "heating_water":
        return ()
    least = cautions.least_stored_c(disinfected=plant.pasteurise_c is not None)
    remark = "" if plant.pasteurise_c is not None else ", no disinfection being scheduled"
    says = f"Legionella may grow below {least:g} °C{remark}"
    return (HandRule(found, "below", says, cautions.LEGIONELLA, least),)


def _cylinder(site: Site) -> tuple[HandRule, ...]:
    says = f"scalds at the tap, from {SCALD_FROM_C:g} °C on"
    return (
        HandRule("mixed", "above", says, cautions.SCALD, SCALD_FROM_C, reached=True),
        HandRule(
            "mixed",
            "above",
            "hotter than the store, which can't be; measure both again",
            cautions.SCALD,
            than="stored",
        ),
        *_stored("stored", site),
    )


def _hot_water_set(site: Site) -> tuple[HandRule, ...]:
    says = f"too cold to disinfect, {DISINFECTED_AT_C:g} °C at least"
    return (
        *_stored("setpoint", site),
        HandRule("disinfection", "below", says, cautions.LEGIONELLA, DISINFECTED_AT_C),
    )


_RULES: dict[str, Callable[[Site], tuple[HandRule, ...]]] = {
    "pressure": _pressure,
    "vessel": _vessel,
    "antifreeze": _antifreeze,
    "cylinder": _cylinder,
    "hot_water_set": _hot_water_set,
}
