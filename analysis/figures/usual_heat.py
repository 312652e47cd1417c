"""Free heat of any occupied dwelling, as prior knowledge of the heat-loss fit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldfare.analysis.figures.design_use import USUAL_FLOOR_M2
from fieldfare.analysis.figures.estimate import Fit
from fieldfare.analysis.plant.site import Site

# Model error of daily sums (changing habits, mass): one standard deviation. In-use coefficients
# of 19 homes varied by 7.1 % from one 20-day window to the next (doi 10.1177/17442591251365953); a season
# holds several.
_METHOD_SPREAD = 0.03
# Free heat of an occupied dwelling, and its spread (one standard deviation): people, appliances
# and losses of cylinder and pipes 2.1 to 4 W/m2 (Passive House Institute 2015; Polish ordinance for
# one-family houses 2.5 to 3.5); windows a seventh of the floor, of which glass, g-value, shade and curtains
# leave a quarter (common practice). In a whole season the days themselves say it better; in ten weeks the
# season's own drift looks like either.
_USUAL_GAINS_W_PER_M2, _GAINS_SPREAD = 3.2, 1.5
_USUAL_APERTURE, _APERTURE_SPREAD = 0.035, 0.02
# What is usual is no law: a stove, a warm neighbour or a glazed front is far beyond it. Student's t with few
# degrees of freedom, upwards alone (somebody lives there), gives way to days that clearly say otherwise,
# where a Gaussian prior would bend the slope (West 1984, J. R. Statist. Soc. B 46, 431, from memory).
_PRIOR_DEGREES, _PRIOR_ROUNDS = 4.0, 20


def with_usual_heat(site: Site, fit: Fit, gains_at: int, with_sun: bool) -> Fit:
    """Update of the fit with usual gains and windows of a dwelling: priors with the tails of Student's t.

    The tails are a mixture of Gaussian priors: each is widened by how far the updated fit lies from it.
    """
    floor = site.floor_area_m2 or USUAL_FLOOR_M2
    first = fit.covariance.copy()
    first[0, 0] += (_METHOD_SPREAD * fit.coefficients[0]) ** 2
    usual = [(gains_at, _USUAL_GAINS_W_PER_M2 * floor, _GAINS_SPREAD * floor)]
    if with_sun:
        usual.append((gains_at + 1, _USUAL_APERTURE * floor, _APERTURE_SPREAD * floor))
    widths = np.array([spread for _, _, spread in usual])
    for _ in range(_PRIOR_ROUNDS):
        beta, covariance = fit.coefficients.copy(), first.copy()
        for (at, value, _), width in zip(usual, widths, strict=True):
            gain = covariance[:, at] / (covariance[at, at] + width**2)
            beta = beta + gain * (value - beta[at])
            covariance = covariance - np.outer(gain, covariance[at])
        far = np.array(
            [
                ((beta[at] - value) ** 2 + covariance[at, at]) / spread**2 if beta[at] > value else 1.0
                for at, value, spread in usual
            ]
        )
        widths = np.array([spread for _, _, spread in usual]) * np.sqrt(
            (_PRIOR_DEGREES + far) / (_PRIOR_DEGREES + 1.0)
        )
    return replace(fit, coefficients=beta, covariance=covariance)


def usual_free_w(site: Site, sun: float) -> float:
    """Free heat of a usual dwelling [W]: people, appliances and windows. sun : mean irradiance on walls
    [W/m2]"""
    floor = site.floor_area_m2 or USUAL_FLOOR_M2
    return (_USUAL_GAINS_W_PER_M2 + _USUAL_APERTURE * sun) * floor


def gains_beyond(site: Site, fit: Fit, gains_at: int) -> float:
    """Free heat by the days alone less the usual, over the standard deviation of both [-]."""
    floor = site.floor_area_m2 or USUAL_FLOOR_M2
    gains, error = fit.combination(np.eye(len(fit.coefficients))[gains_at])
    return (gains - _USUAL_GAINS_W_PER_M2 * floor) / float(np.hypot(error, _GAINS_SPREAD * floor))
