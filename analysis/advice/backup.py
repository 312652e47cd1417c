"""The bivalent point: lowest outdoor temperature at which the heat pump covers the house without its direct
heater."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.advice.curve import set_curve
from fieldfare.analysis.advice.heating_days import HeatingDays, heating_days, loss_kw_per_k
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.direct_heat import helped_below
from fieldfare.analysis.facts.minutes import rated
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]

_USED_KWH = 0.5  # of a day: below it a heater was hardly on (common practice)
_WARMEST = 0.9  # of the heater's energy lies below what counts as its release (common practice)
_LEAST_K = 2.0  # a release this close to the right one is not changed (common practice)
_COLDEST_C, _WARMEST_C = -25.0, 12.0  # outdoor temperatures that are tried


@dataclass(frozen=True)
class Bivalent:
    """seen_c : outdoor temperature up to which the heater is used. carries_c : lowest one at which the unit
    covers the house. designed_c : the design's bivalent point, or None. saves [kWh over the days]: the
    heater's energy above `sets_c`, supplied by the unit instead"""

    observed_c: float
    carries_c: float
    designed_c: float | None
    saves: Estimate

    @property
    def sets_c(self) -> float:
        """The bivalent point to set [°C]: the designed one, as in the heater's finding, unless the unit does
        not cover the house down to it."""
        return sets_at(self.carries_c, self.designed_c)


def sets_at(carries_c: float, designed_c: float | None) -> float:
    """See `Bivalent.sets_c`."""
    return carries_c if designed_c is None else max(carries_c, designed_c)


def bivalent(site: Site, facts: Facts, result: Mapping[str, Any]) -> Bivalent:
    """Compare the heater's use with the house's load and the unit's output. Raises NotAssessed.

    The unit carries the house where its rated output, as far as it was measured, at the flow of the heating
    curve is over the load by a margin. Above that the heater's heat is made by the unit at the days' own
    performance.
    """
    if site.heat_pump.units > 1:
        raise NotAssessed(
            "several heat pumps share the load: a heater's release is their control's", "not_applicable"
        )
    if "electricity_backup_kwh" not in facts.days.names:
        raise NotAssessed("needs backup_heater_electricity", "missing_quantity")
    days = heating_days(site, facts, result)
    used = np.nan_to_num(facts.days.floats("electricity_backup_kwh")[days.day])
    if not (used > _USED_KWH).any():
        raise NotAssessed("the back-up heater was not used", "not_applicable")
    carries, designed = _carries(site, days, result), helped_below(site)
    sets = sets_at(carries, designed)
    observed = _release(days.outdoor, used)
    if observed < sets + _LEAST_K:
        raise NotAssessed("the back-up heater works only where the heat pump needs it", "not_applicable")
    spared = float(used[days.outdoor > sets].sum())
    cop = float(np.sum(days.load_kw) * 24.0 / np.sum(days.electricity))
    saves = spared * (1.0 - 1.0 / max(cop, 1.0))
    # The unit takes over the heater's energy in full only if that needs no additional start.
    least = limit_of(site, "advice_bivalent_taken")
    return Bivalent(observed, carries, designed, Estimate(saves * (1.0 + least) / 2.0, saves * least, saves))


def _release(outdoor: Floats, used: Floats) -> float:
    """Outdoor temperature below which most of the heater's energy is used [°C]."""
    order = np.argsort(outdoor)
    share = np.cumsum(used[order]) / used.sum()
    return float(outdoor[order][np.searchsorted(share, _WARMEST)])


def _carries(site: Site, days: HeatingDays, result: Mapping[str, Any]) -> float:
    """Coldest outdoor temperature at which the unit's output exceeds the load by a margin [°C, whole]."""
    loss = loss_kw_per_k(site, result)
    if loss is None:
        raise NotAssessed("needs the house's heat loss, measured or in [design]", "missing_quantity")
    base = (result.get("heat_loss") or {}).get("base_temperature_c") or site.design.indoor_c
    outdoor = np.arange(_COLDEST_C, _WARMEST_C + 1.0)
    curve = set_curve(site, days, site.design.outdoor_c or float(days.outdoor.min()))
    output = np.asarray(rated(site).capacity_kw(outdoor, curve_at(list(curve), outdoor)), dtype=np.float64)
    measured = (result.get("capacity") or {}).get("measured_share_of_rating") or 1.0
    enough = output * measured >= limit_of(site, "advice_bivalent_margin") * loss[0] * np.maximum(
        base - outdoor, 0.0
    )
    if not np.isfinite(output).all():
        raise NotAssessed(
            "needs heat_pump.rated_output_kw or a rating point with output_kw", "missing_quantity"
        )
    short = np.flatnonzero(~enough)
    return float(outdoor[short[-1] + 1]) if len(short) and short[-1] + 1 < len(outdoor) else float(outdoor[0])
