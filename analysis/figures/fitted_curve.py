"""The heating curve in operation, against the designed one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.facts.table import Table, known
from fieldfare.analysis.figures.estimate import Estimate, robust_fit
from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95
from fieldfare.analysis.statistics.quantiles import robust_sd

_FEWEST_DAYS = 10


@dataclass(frozen=True)
class FittedCurve:
    """The heating curve in operation.

    fitted : two (outdoor, flow) pairs [°C], or None. above_design_k : mean excess over the designed curve [K]
    slope : K of flow per K of outdoor; designed_slope : the same by design. compensating : whether the flow
        follows the weather
    reason, reason_code : why there is no curve, and its `errors.NotAssessed` code
    """

    fitted: list[tuple[float, float]] | None
    above_design_k: Estimate
    compensating: bool | None
    slope: Estimate
    designed_slope: float | None
    reason: str = ""
    reason_code: str = ""


def fitted_curve(site: Site, days: Table) -> FittedCurve:
    """Fit the daily flow temperature while heating to the outdoor temperature of the same minutes.

    days : Table, the days table. Returns FittedCurve; None with the reason if the data do not allow it.
    """
    if not days.knows("flow"):
        return _none("needs flow_temperature", "missing_quantity")
    if not days.knows("outdoor_steady"):
        return _none("needs outdoor_temperature", "missing_quantity")
    # A day's mean needs an hour of steady heating; fewer minutes are starts and stops.
    measured = np.isfinite(days["flow"]) & np.isfinite(days["outdoor_steady"])
    data = days.where((days["minutes_steady"] >= 60) & measured)
    if len(data) < _FEWEST_DAYS:
        reason = f"needs at least {_FEWEST_DAYS} days with an hour of heating, has {len(data)}"
        return _none(reason, "too_few_days")
    outdoor, flow = data["outdoor_steady"], data["flow"]
    x = np.column_stack([outdoor, np.ones(len(data))])
    fit = robust_fit(x, flow)
    slope = float(fit.coefficients[0])
    error = GAUSS_95 * float(np.sqrt(fit.covariance[0, 0]))
    cold = site.design.outdoor_c if site.design.outdoor_c is not None else float(np.floor(outdoor.min()))
    ends = [(cold, float(fit.coefficients @ [cold, 1.0])), (15.0, float(fit.coefficients @ [15.0, 1.0]))]
    above, designed = Estimate.none("needs heating_curve in the site file"), None
    if site.heating_curve is not None:
        above = _above(data)
        low, high = float(np.quantile(outdoor, 0.05)), float(np.quantile(outdoor, 0.95))
        if high - low > 0.5:
            ask = curve_at(site.heating_curve.points, np.array([low, high]))
            designed = float((ask[1] - ask[0]) / (high - low))
    return FittedCurve(
        ends, above, _compensating(slope, error, outdoor, designed), Estimate.around(slope, error), designed
    )


def _none(reason: str, code: str) -> FittedCurve:
    return FittedCurve(None, Estimate.none(reason), None, Estimate.none(reason), None, reason, code)


def _above(data: Table) -> Estimate:
    values = known(data["above_curve"])
    if not len(values):
        return Estimate.none("needs outdoor_temperature")
    middle = float(np.median(values))
    # Errors are correlated within a week: a week counts as one (common practice).
    return Estimate.around(middle, GAUSS_95 * 1.25 * robust_sd(values) / np.sqrt(max(len(values) / 7.0, 1.0)))


def _compensating(slope: float, error: float, outdoor: np.ndarray, designed: float | None) -> bool | None:
    """Whether the flow follows the weather; None if the weather changed too little."""
    if float(np.quantile(outdoor, 0.95) - np.quantile(outdoor, 0.05)) < 5.0:
        return None
    expected_slope = designed if designed is not None and designed < -0.1 else -0.5
    if slope - error > 0.35 * expected_slope:
        return False
    if slope + error < 0.35 * expected_slope:
        return True
    return bool(slope < 0.35 * expected_slope)
