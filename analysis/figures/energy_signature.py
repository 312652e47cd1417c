"""Energy signature of a house: daily energy against outdoor temperature, a sloped line and a constant base.

    energy = base_load + slope x min(temperature - base_temperature, 0),   slope < 0

The three parameters are the exact least-squares solution, not a grid search. The intervals allow for
first-order autocorrelation, without which they would be much too narrow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldfare.analysis.statistics.distributions import inflation, t_quantile
from fieldfare.analysis.statistics.quantiles import median

Array = NDArray[np.float64]

FEWEST_DAYS = 10  # for three parameters, a spread and an autocorrelation; common practice, no source
FEWEST_COLD_DAYS = 4  # on the falling side, so that its slope does not depend on two points
FEWEST_WARM_DAYS = 4  # on the base, before it is accepted
# gain of the break over a straight line, in residual variances, before it is believed; common practice
BREAK_F_RATIO = 10.0
_TUKEY = 4.685  # 95 % efficiency at the normal distribution, Beaton and Tukey (1974)
_MAD_TO_SD = 1.4826


class NotIdentified(ValueError):
    """The days do not determine a heating line; the message says why."""


@dataclass(frozen=True)
class ChangePoint:
    """A fitted heating signature. Energies in the given unit (kWh/d), temperatures in C.

    Intervals have the given probability. `base_temperature_c` and `base_load`, and their intervals, are NaN
    if the days show no base and none was given: the line is then known, but not where it ends.
    """

    slope: float
    base_temperature_c: float
    base_load: float
    slope_interval: tuple[float, float]
    base_temperature_interval: tuple[float, float]
    base_load_interval: tuple[float, float]
    intercept_at_0c: float
    residual_sd: float
    autocorrelation: float
    r_squared: float
    days_used: int
    days_below_base: int
    weights: Array
    covariance: Array
    method: str

    @property
    def coefficient_w_per_k(self) -> float:
        """The slope as a loss coefficient [W/K]: -slope / 24 h. Includes what gains and habits do to it."""
        return -self.slope / 24.0 * 1000.0

    def predict(self, temperature_c: ArrayLike) -> Array:
        """Energy of a day at an outdoor temperature [kWh/d]."""
        t = np.asarray(temperature_c, dtype=float)
        line = self.intercept_at_0c + self.slope * t
        return (
            line[()]
            if np.isnan(self.base_load)
            else np.where(t < self.base_temperature_c, line, self.base_load)[()]
        )


def change_point(
    temperature_c: ArrayLike,
    energy_kwh_per_day: ArrayLike,
    *,
    base_load: float | None = None,
    straight: bool = False,
    robust: bool = False,
    probability: float = 0.95,
) -> ChangePoint:
    """Fit a heating change-point line to consecutive days.

    temperature_c : array (n,) [C]. Daily mean outdoor temperature, days in order, NaN for a day that is
        missing
    energy_kwh_per_day : array (n,) [kWh/d]. NaN for a day that is missing
    base_load : float [kWh/d], default None. Known energy of a day without heating (0 for space heat alone);
        None: fitted
    straight : bool, default False. The line alone, where the days are known to show no base
    robust : bool, default False. Tukey's biweight against odd days (days away, a meter's slip)
    probability : float [-], default 0.95. Of the intervals
    Returns ChangePoint. Raises ValueError if the lengths differ; NotIdentified if there are too few days or
        no falling line.
    Source: the 3-parameter heating model of ASHRAE Guideline 14 and RP-1050 (Kissock et al. 2003); exact
        break by Hudson (1966); intervals by the delta method with an AR(1) covariance of the residuals.
    """
    t_all = np.asarray(temperature_c, dtype=float)
    y_all = np.asarray(energy_kwh_per_day, dtype=float)
    if t_all.ndim != 1 or t_all.shape != y_all.shape:
        raise ValueError("temperature_c and energy_kwh_per_day need one length")
    day = np.flatnonzero(np.isfinite(t_all) & np.isfinite(y_all))
    t, y = t_all[day], y_all[day]
    if len(day) < FEWEST_DAYS:
        raise NotIdentified(f"{len(day)} days with both values, at least {FEWEST_DAYS} are needed")
    if np.ptp(t) < 1e-9:
        raise NotIdentified("every day has the same outdoor temperature")
    weights = np.ones_like(y)
    intercept, slope, base = _fit(t, y, weights, base_load, straight)
    if robust:
        for _ in range(50):
            residual = y - _model(t, intercept, slope, base)
            scale = _MAD_TO_SD * median(np.abs(residual))
            if scale <= 1e-9 * max(float(np.ptp(y)), 1e-12):
                break
            new = np.clip(1.0 - (residual / (_TUKEY * scale)) ** 2, 0.0, None) ** 2
            if np.sum(new > 0.0) < FEWEST_DAYS:
                break
            intercept, slope, base = _fit(t, y, new, base_load, straight)
            settled = float(np.max(np.abs(new - weights))) < 1e-4
            weights = new
            if settled:
                break
    return _result(day, t, y, weights, intercept, slope, base, base_load, len(t_all), robust, probability)


def _model(t: Array, intercept: float, slope: float, base: float) -> Array:
    line = intercept + slope * t
    return line if np.isnan(base) else np.maximum(line, base)


def _fit(
    t: Array, y: Array, weights: Array, base_load: float | None, only_straight: bool
) -> tuple[float, float, float]:
    """Exact weighted least squares over all break positions: (line at 0 C, slope, base or NaN)."""
    order = np.argsort(t, kind="stable")
    x, e, w = t[order], y[order], weights[order]
    shift = float(np.average(x, weights=w))
    x = x - shift
    ends = np.flatnonzero(np.append(np.diff(x) > 0.0, True))  # last of equal temperatures
    sums = [np.cumsum(v) for v in (w, w * x, w * x * x, w * e, w * x * e, w * e * e)]
    n, sx, sxx, sy, sxy, syy = (s[ends] for s in sums)
    best: tuple[float, float, float, float] | None = None
    straight: tuple[float, float, float, float] | None = None
    for k in range(len(ends)):
        last = k + 1 == len(ends)
        too_few_warm = base_load is None and not last and len(x) - ends[k] - 1 < FEWEST_WARM_DAYS
        if ends[k] + 1 < FEWEST_COLD_DAYS or n[k] <= 0.0 or too_few_warm:
            continue
        right = np.array([n[-1] - n[k], sx[-1] - sx[k], sy[-1] - sy[k], syy[-1] - syy[k]])
        left = (n[k], sx[k], sxx[k], sy[k], sxy[k], syy[k])
        here, after = x[ends[k]], (np.inf if last else x[ends[k + 1]])
        for at in (None,) if last else (None, here):
            candidate = _branch(left, right, here, after, at, base_load)
            if candidate is not None and last and base_load is None:
                straight = candidate
            elif candidate is not None and (best is None or candidate[0] < best[0]):
                best = candidate
    if base_load is None and straight is not None:
        around = float(syy[-1] - sy[-1] ** 2 / n[-1])
        gain = straight[0] - best[0] if best is not None else 0.0
        spread = max(best[0], 0.0) / max(float(n[-1]) - 3.0, 1.0) if best is not None else 0.0
        if best is None or only_straight or gain < BREAK_F_RATIO * spread + 1e-9 * around:
            best = straight
    if best is None:
        raise NotIdentified("energy does not fall with rising outdoor temperature")
    _, intercept, slope, base = best
    return intercept - slope * shift, slope, base


def _branch(
    left: tuple[float, ...],
    right: Array,
    here: float,
    after: float,
    at: float | None,
    base_load: float | None,
) -> tuple[float, float, float, float] | None:
    """Least squares with the days up to `here` on the line and the rest on the base.

    The break is free, or fixed at `at`. Returns (sum of squares, line's value at the shifted zero, slope,
    base), or None if the break is not between `here` and `after`.
    """
    n, sx, sxx, sy, sxy, syy = left
    rn, _, ry, ryy = right
    spread = sxx - sx * sx / n
    if at is None:  # line and base fitted apart; right if they meet between the two sides
        if spread <= 1e-12:
            return None
        slope = (sxy - sx * sy / n) / spread
        intercept = (sy - slope * sx) / n
        if not slope < 0.0:
            return None
        if base_load is not None:
            base = base_load
        elif rn > 1e-9:
            base = ry / rn
        else:
            base = np.nan
        if not np.isnan(base):
            meets = (base - intercept) / slope
            if not (here - 1e-9 <= meets <= after + 1e-9):
                return None
    elif base_load is not None:  # line through (at, base_load)
        d2 = sxx - 2.0 * at * sx + at * at * n
        if d2 <= 1e-12:
            return None
        base = base_load
        slope = ((sxy - at * sy) - base * (sx - at * n)) / d2
        intercept = base - slope * at
    else:  # base + slope (x - at) on the left, base on the right
        d1, d2 = sx - at * n, sxx - 2.0 * at * sx + at * at * n
        total, yy, yd = n + rn, sy + ry, sxy - at * sy
        determinant = total * d2 - d1 * d1
        if determinant <= 1e-12:
            return None
        base = (yy * d2 - d1 * yd) / determinant
        slope = (total * yd - d1 * yy) / determinant
        intercept = base - slope * at
    if not slope < 0.0:
        return None
    squares = (
        syy
        - 2.0 * (intercept * sy + slope * sxy)
        + intercept**2 * n
        + 2.0 * intercept * slope * sx
        + slope**2 * sxx
    )
    if not np.isnan(base):
        squares += ryy - 2.0 * base * ry + base**2 * rn
    return float(squares), float(intercept), float(slope), float(base)


def _result(
    day: NDArray[np.int64],
    t: Array,
    y: Array,
    weights: Array,
    intercept: float,
    slope: float,
    base: float,
    known_base: float | None,
    length: int,
    robust: bool,
    probability: float,
) -> ChangePoint:
    """Build the ChangePoint with intervals from a fit."""
    base_c = (base - intercept) / slope if not np.isnan(base) else np.nan
    residual = y - _model(t, intercept, slope, base)
    cold = t < base_c if not np.isnan(base) else np.ones_like(t, dtype=bool)
    # Columns: derivative by slope, by the break's temperature (or the intercept where there is no break), by
    # the base.
    if np.isnan(base):
        jacobian = np.stack([t, np.ones_like(t)], axis=1)
    else:
        jacobian = np.stack([np.where(cold, t - base_c, 0.0), np.where(cold, -slope, 0.0)], axis=1)
        if known_base is None:
            jacobian = np.column_stack([jacobian, np.ones_like(t)])
    parameters = jacobian.shape[1]
    effective = float(np.sum(weights))
    variance = float(np.sum(weights * residual**2)) / max(effective - parameters, 1.0)
    rho = _autocorrelation(day, residual, weights)
    bread = np.linalg.pinv(jacobian.T @ (weights[:, None] * jacobian))
    scores = weights[:, None] * jacobian
    covariance = variance * bread @ _ar1_quadratic(day, scores, rho) @ bread
    freedom = max(effective / inflation(rho) - parameters, 2.0)
    factor = t_quantile(0.5 + probability / 2.0, freedom)
    deviation = factor * np.sqrt(np.clip(np.diag(covariance), 0.0, None))
    nothing = (float("nan"), float("nan"))
    if np.isnan(base):
        base_c_interval = base_interval = nothing
    else:
        base_c_interval = (float(base_c - deviation[1]), float(base_c + deviation[1]))
        half = float(deviation[2]) if known_base is None else 0.0
        base_interval = (base - half, base + half)
    day_weights = np.full(length, np.nan)
    day_weights[day] = weights
    mean = float(np.average(y, weights=weights))
    around = float(np.sum(weights * (y - mean) ** 2))
    return ChangePoint(
        slope=slope,
        base_temperature_c=float(base_c),
        base_load=base,
        slope_interval=(float(slope - deviation[0]), float(slope + deviation[0])),
        base_temperature_interval=base_c_interval,
        base_load_interval=base_interval,
        intercept_at_0c=intercept,
        residual_sd=float(np.sqrt(variance)),
        autocorrelation=rho,
        r_squared=1.0 - float(np.sum(weights * residual**2)) / around if around > 0.0 else float("nan"),
        days_used=len(day),
        days_below_base=int(np.sum(cold)),
        weights=day_weights,
        covariance=covariance,
        method="change-point line, " + ("Tukey biweight" if robust else "least squares") + ", AR(1) interval",
    )


def _autocorrelation(day: NDArray[np.int64], residual: Array, weights: Array) -> float:
    """First-order autocorrelation of the residuals, bias-corrected (Kendall 1954), 0 to 0.95."""
    next_day = np.diff(day) == 1
    root = np.sqrt(weights) * residual
    scale = float(np.mean(root**2))
    pairs = int(np.sum(next_day))
    if pairs < 5 or scale <= 0.0:
        return 0.0
    raw = float(np.sum(root[:-1][next_day] * root[1:][next_day])) / pairs / scale
    return float(np.clip(raw + (1.0 + 3.0 * raw) / pairs, 0.0, 0.95))


def _ar1_quadratic(day: NDArray[np.int64], scores: Array, rho: float) -> Array:
    """Compute scores' R scores with R the AR(1) correlation rho^|days apart|, in one pass.

    Missing days only increase the distance.
    """
    total = scores.T @ scores
    if rho <= 0.0:
        return total
    carried = np.zeros(scores.shape[1])
    for i in range(1, len(day)):
        carried = (carried + scores[i - 1]) * rho ** float(day[i] - day[i - 1])
        cross = np.outer(carried, scores[i])
        total = total + cross + cross.T
    return total
