"""Capacity on the design day: output at design temperatures against the measured load."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.facts.minutes import rated
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.figures.heat_loss import HeatLoss
from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95

# Tolerance of the declared output by EN 14511, one standard deviation (from memory, +-10
# %).
_RATING_SPREAD = 0.05
_MEASURED_SPREAD = 0.04
_FULL_HOURS, _FEWEST_FULL_DAYS = 3.0, 3


@dataclass(frozen=True)
class Capacity:
    """Output at design temperatures against the load.

    output_at_design_kw [kW]; margin [-], output over load and hot water; measured_share: measured output at
    full load over the rating at the same temperatures, None if it never ran at full load; unseen_k [K], how
    far the design temperature lies below the coldest one measured at full load or rated
    """

    output_at_design_kw: Estimate
    load_kw: Estimate
    margin: Estimate
    measured_share: float | None
    full_days: int
    unseen_k: float = 0.0

    @property
    def basis(self) -> str | None:
        """ "measured": the rating corrected by full-load operation; "rating": the rating alone; else None."""
        if not self.output_at_design_kw:
            return None
        return "rating" if self.measured_share is None else "measured"


@dataclass(frozen=True)
class FullWork:
    """Output at full load over the rating [-], None where nothing showed it; days; coldest of them [°C]"""

    share: float | None
    days: int
    coldest_c: float = np.inf


def capacity(
    site: Site,
    days: Table,
    loss: HeatLoss,
    hot_water_kwh_per_day: float | None,
    shown: FullWork | None = None,
) -> Capacity:
    """Output at the design outdoor temperature and designed flow, corrected by full-load operation.

    shown : full work set otherwise, in place of the days at full speed. The interval grows with the distance
        below the coldest temperature at which the output is measured or rated.
    """
    design = site.design.outdoor_c
    full = shown or _full_work(site, days)
    share, full_days = full.share, full.days
    if design is None:
        nothing = Estimate.none("needs design.outdoor_c")
        return Capacity(nothing, loss.load_kw, nothing, share, full_days)
    flow = 45.0
    if site.heating_curve is not None:
        flow = float(curve_at(site.heating_curve.points, np.array([design]))[0])
    source = {"air": design, "brine": 0.0, "water": 10.0}[site.heat_pump.source]
    at_design = float(np.asarray(rated(site).capacity_kw(source, flow)))
    if not np.isfinite(at_design):
        nothing = Estimate.none("needs heat_pump.rated_output_kw or a rating point with output_kw")
        return Capacity(nothing, loss.load_kw, nothing, share, full_days)
    spread = _RATING_SPREAD
    if share is not None:
        at_design, spread = at_design * share, _MEASURED_SPREAD
    known_down_to = min(rated(site).coldest_output_c, full.coldest_c if share is not None else np.inf)
    unseen = max(float(known_down_to - source), 0.0)
    spread = float(np.hypot(spread, rated(site).unrated_spread(unseen)))
    output = Estimate.around(at_design, GAUSS_95 * spread * at_design, 0.0)
    if not loss.load_kw:
        return Capacity(
            output, loss.load_kw, Estimate.none(loss.load_kw.reason or loss.reason), share, full_days, unseen
        )
    assert loss.load_kw.value is not None
    water = (hot_water_kwh_per_day or 0.0) / 24.0
    load = max(loss.load_kw.value + water, 0.05)
    margin = at_design / load
    relative = float(np.hypot(spread, loss.load_kw.half / GAUSS_95 / load))
    within = Estimate.around(margin, GAUSS_95 * relative * margin, 0.0)
    return Capacity(output, loss.load_kw, within, share, full_days, unseen)


def _full_work(site: Site, days: Table) -> FullWork:
    """Best hour's heat over the rating, on days with presumable full-load operation."""
    if not days.knows("heat_power_max"):
        return FullWork(None, 0)
    full = days["minutes_full_speed"] >= _FULL_HOURS * 60.0
    full = full & np.isfinite(days["outdoor"]) & np.isfinite(days["flow"])
    if full.sum() < _FEWEST_FULL_DAYS:
        return FullWork(None, int(full.sum()))
    chosen = days.where(full)
    ask = np.asarray(rated(site).capacity_kw(chosen["outdoor"], chosen["flow"]), dtype=np.float64)
    ratio = chosen["heat_power_max"] / 1000.0 / ask
    known = np.isfinite(ratio)
    if not known.any():
        return FullWork(None, 0)
    share = float(np.clip(np.median(ratio[known]), 0.3, 1.5))
    return FullWork(share, int(known.sum()), float(np.min(chosen.floats("outdoor")[known])))
