"""Daily electricity expected from design and weather, compared with the measured, without a heat meter."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.promise import DesignElectricity, design_electricity
from fieldfare.analysis.facts.slots import is_little_metered
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.figures.electricity_days import filled_with_zeros
from fieldfare.analysis.physics.hot_water import profile_kwh
from fieldfare.analysis.plant.site import Design, Site

Floats = NDArray[np.float64]

USUAL_FLOOR_M2 = 120.0
"""Default floor area: a typical single-family house (common practice)."""
USUAL_FLOOR_SD_M2 = 40.0
"""How far homes lie around it, one standard deviation (common practice)."""


def designed_hot_water_kwh(design: Design) -> float:
    """Daily heat to hot water [kWh]: the design's, else that of EN 16147 profile M."""
    per_year = design.hot_water_kwh_per_year
    return per_year / 365.0 if per_year else profile_kwh("M")


def design_use(site: Site, days: Table, whole_share: float) -> tuple[DesignElectricity, Floats]:
    """Electricity expected from design and weather, and used, on whole days [kWh].

    whole_share : float [-]. Minimum share of a day with readings
    Raises NotAssessed if heat is measured, or the design is incomplete.
    """
    design = site.design
    coefficient = design.coefficient_w_per_k
    if not is_little_metered(site):
        raise NotAssessed("heat is measured: the efficiency findings judge it", "not_applicable")
    if coefficient is None or design.outdoor_c is None or design.spf_space is None:
        raise NotAssessed(
            "needs design.heat_loss_kw, design.outdoor_c and design.spf_space in the site file",
            "missing_in_site_file",
        )
    water = 0.0 if site.hot_water is None else designed_hot_water_kwh(design)
    whole = days.floats("minutes_electricity_known") >= whole_share * days.floats("minutes_total")
    used: Floats = np.where(whole & ~filled_with_zeros(days), days.floats("electricity_total_kwh"), np.nan)
    expected = design_electricity(
        days.floats("outdoor"),
        coefficient_w_per_k=coefficient,
        indoor_c=design.indoor_c,
        design_outdoor_c=design.outdoor_c,
        floor_area_m2=site.floor_area_m2 or USUAL_FLOOR_M2,
        spf_space=design.spf_space,
        hot_water_kwh_per_day=water,
        spf_hot_water=design.spf_hot_water or design.spf_space,
    )
    return expected, used
