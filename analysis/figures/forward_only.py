"""Heat meters that do not count negative heat: defrost heat is unknown, and totals too high by it."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np

from fieldfare.analysis.expectation.defrost import defrosts_take
from fieldfare.analysis.expectation.frost import frost_mass
from fieldfare.analysis.facts.melting import USUAL_RATED_KW
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.minutes.balance import HEATING_METERS
from fieldfare.analysis.plant.site import Site

_LEAST_MELTING_MIN = 20.0
_LEAST_FROST_H = 50.0
# A net meter shows at least this share of the maximum that defrosts can draw (common practice: a tenth
# to a half).
_SHOWN_SHARE = 0.01
_COARSEST_MIN = 2.5
# A season's defrosts take 5 to 10 % of the heat (common practice: field trials); a single month twice as
# much.
_MOST_SHARE = 0.2


@dataclass(frozen=True)
class Unseen:
    """Defrost heat that the meter did not count [kWh]: likely and maximum; `reason` in words."""

    likely_kwh: float | None
    most_kwh: float
    reason: str


def unseen_defrost_heat(site: Site, days: Table) -> Unseen | None:
    """Defrost heat that a forward-only heat meter did not count.

    None if the meter is net, or without defrosts. Where readings are too far apart to show which it is, what
    the frost on the coil takes bounds it. Source: MID 2014/32/EU Annex VI defines the temperature difference
    as 0 or more, so a meter may drop negative heat.
    """
    if site.heat_pump.source != "air" or "minutes_melting" not in days:
        return None
    spacing = next((f"spacing.{q}" for q in HEATING_METERS if f"spacing.{q}" in days), None)
    if spacing is None:
        return None
    if float(np.nanmin(days.floats(spacing))) > _COARSEST_MIN:
        return _perhaps_unseen(site, days)
    back, most = days.total("heat_back_kwh"), days.total("heat_taken_most_kwh")
    if days.total("minutes_melting") < _LEAST_MELTING_MIN:
        return None
    if back > _SHOWN_SHARE * most:
        return None
    flow = days.total("heat_taken_flow_kwh") if days.knows("heat_taken_flow_kwh") else None
    size = f"about {flow:.0f} kWh" if flow else f"at most {most:.0f} kWh"
    return Unseen(
        flow,
        most,
        "the heat meter counts no heat that flows back, so what defrosts took is not known; heat totals are"
        f" too high by it ({size})",
    )


def _perhaps_unseen(site: Site, days: Table) -> Unseen | None:
    """What defrosts may have taken where no reading shows whether the meter counts it."""
    if "frost_usual" not in days or days.total("heat_back_kwh") > 0.0:
        return None
    rated = site.heat_pump.rated_output_kw or USUAL_RATED_KW
    least, usual, most = (1000.0 * days.total(f"frost_{name}") / rated for name in ("least", "usual", "most"))
    if not usual > 0.0:
        return None
    taken = defrosts_take(frost_mass(least, usual, most))
    kwh = min(taken.middle * exp(taken.spread) * rated / 1000.0, _MOST_SHARE * days.total("heat_total_kwh"))
    return Unseen(
        None,
        kwh,
        "readings are too far apart to show whether the heat meter counts what defrosts take; heat totals may"
        f" be too high by up to {kwh:.0f} kWh",
    )


def blind_to_defrosts(days: Table) -> bool:
    """Whether no heat flows back in a whole frosty season, so that the meter ignores defrosts."""
    if "heat_back_kwh" not in days:
        return False
    return days.total("heat_back_kwh") <= 0.0 and days.total("minutes_frosting") >= 60.0 * _LEAST_FROST_H
