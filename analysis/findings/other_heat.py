"""Heat of an unmetered source: a stove, a boiler, solar."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site

_EVENING_H = 3.0
_COLD_K, _FEWEST_COLD_DAYS = 10.0, 10


def other_heat_evenings(site: Site, days: Table) -> Flags:
    """Evenings on which the rooms rose in the dark while the plant gave little: bool (n,)."""
    rise, given, before, over = (days.floats(f"evening_{n}") for n in ("rise", "heat", "before", "over"))
    usual = usual_heat_per_k(days)
    if not np.isfinite(usual):
        return np.zeros(len(days), dtype=bool)
    need = usual * over
    has_other_heat = (rise >= limit_of(site, "other_heat_rise_k")) & (
        over >= limit_of(site, "other_heat_over_k")
    )
    has_other_heat &= (given < limit_of(site, "other_heat_given_share") * need) & (before < 1.5 * need)
    return (
        has_other_heat
        if has_other_heat.sum() >= limit_of(site, "other_heat_evenings")
        else np.zeros(len(days), dtype=bool)
    )


def usual_heat_per_k(days: Table) -> float:
    """Usual space heat per kelvin between rooms and outdoors [W/K]; nan where unknown."""
    over = days.floats("room") - days.floats("outdoor")
    watts = days.floats("heat_space_kwh") * 1000.0 / np.maximum(days.floats("minutes_total") / 60.0, 1.0)
    cold = np.isfinite(over + watts) & (over > _COLD_K) & (days.floats("minutes_heating") > 0)
    return float(np.median(watts[cold] / over[cold])) if cold.sum() >= _FEWEST_COLD_DAYS else float("nan")


def other_heat_days(site: Site, days: Table) -> Flags:
    """Days on which rooms, cylinder or pipes got heat from another source: bool (n,)."""
    cylinder = days.floats("foreign_tank_k") >= limit_of(site, "other_heat_cylinder_k")
    if cylinder.sum() < limit_of(site, "other_heat_evenings"):
        cylinder = np.zeros(len(days), dtype=bool)
    return np.asarray(other_heat_evenings(site, days) | cylinder | _heat_at_rest(site, days))


def _heat_at_rest(site: Site, days: Table) -> Flags:
    """Days on which the heat meter counts a good deal while the unit rests."""
    at_rest, total = days.floats("heat_surely_off_kwh"), days.floats("heat_total_kwh")
    has_other_heat = (at_rest >= limit_of(site, "other_heat_at_rest_kwh")) & (
        at_rest >= limit_of(site, "other_heat_at_rest_share") * total
    )
    return (
        has_other_heat
        if has_other_heat.sum() >= limit_of(site, "other_heat_evenings")
        else np.zeros(len(days), dtype=bool)
    )


def other_heat_words(site: Site, days: Table, first: int, last: int) -> str:
    """A period of such days. first, last : rows of `days`"""
    here = slice(first, last + 1)
    rooms = bool(other_heat_evenings(site, days)[here].any())
    cylinder = days.floats("foreign_tank_k")[here]
    warmed = cylinder[cylinder >= limit_of(site, "other_heat_cylinder_k")]
    parts = []
    if rooms:
        rise = float(np.nanmax(days.floats("evening_rise")[here]))
        parts.append(
            f"the rooms rose by {rise:.1f} K in the evening while the heat pump gave little: a stove or"
            " another heater"
        )
    if len(warmed):
        more = "" if site.measures("immersion_electricity") else ", or an immersion heater without a meter"
        parts.append(
            f"the cylinder warmed by {warmed.max():.0f} K without the heat pump: a boiler, solar{more}"
        )
    if _heat_at_rest(site, days)[here].any():
        kwh = float(np.nansum(days.floats("heat_surely_off_kwh")[here]))
        parts.append(
            f"the heat meter counted {kwh:.0f} kWh while the heat pump was off: another source feeds"
            " its pipe, or its sensors differ"
        )
    return f"Heat from another source: {'; '.join(parts)}."


def other_heat_share(site: Site, days: Table) -> float:
    """Heat that came from elsewhere on the recognised evenings, at most, over the plant's own space heat [-].

    A stove that is lit in the evening gives for twice as long as the three hours in which it shows (common
    practice).
    """
    evenings = other_heat_evenings(site, days)
    if not evenings.any():
        return 0.0
    missing = usual_heat_per_k(days) * days.floats("evening_over") - days.floats("evening_heat")
    kwh = float(np.nansum(np.maximum(missing[evenings], 0.0))) * 2.0 * _EVENING_H / 1000.0
    return kwh / max(float(np.nansum(days.floats("heat_space_kwh"))), 1.0)


def too_much_other_heat(context: Context) -> str | None:
    """Why the heat loss can't be compared with the design; None where other heat is negligible."""
    days = context.all_days.days
    if not any(r.kind == "other_heat_source" for r in context.recognised):
        return None
    evenings = int(other_heat_evenings(context.site, days).sum())
    heated = int((days.floats("minutes_heating") > 0).sum())
    if evenings < context.limit("other_heat_share_of_days") * max(heated, 1):
        return None
    return (
        f"another heat source warmed the rooms on {evenings} evenings: the heat loss is higher than"
        " the meters show"
    )
