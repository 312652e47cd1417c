"""The robust regression against statsmodels: coefficients of its RLM, covariance of its HAC estimator."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.figures.estimate import robust_fit

TUNING, LAGS = 1.6, 5


@pytest.fixture(scope="module")
def sm() -> Any:
    """Loaded here, since each process of the tests imports every module of tests."""
    import statsmodels.api

    return statsmodels.api


@pytest.mark.parametrize("seed", range(4))
def test_coefficients_and_covariance_are_those_of_statsmodels(sm: Any, seed: int) -> None:
    """Huber's weights (statsmodels RLM with HuberT), errors after Newey and West (WLS with HAC covariance).

    statsmodels takes the median deviation from zero, ours is from the median residual: coefficients differ
    by a small part of their standard error.
    """
    rng = np.random.default_rng(seed)
    n = 160
    x = np.column_stack([rng.uniform(5.0, 22.0, n), np.ones(n), rng.uniform(0.0, 80.0, n)])
    noise = np.zeros(n)
    for day in range(n):
        noise[day] = 0.5 * noise[day - 1] + rng.normal(0.0, 150.0)
    y = x @ [190.0, -400.0, -6.0] + noise
    y[rng.choice(n, 8, replace=False)] += 3000.0  # odd days
    fit = robust_fit(x, y, lags=LAGS, tuning=TUNING)
    theirs = sm.RLM(y, x, M=sm.robust.norms.HuberT(t=TUNING)).fit()
    error = np.sqrt(np.diag(fit.covariance))
    assert (np.abs(fit.coefficients - theirs.params) < 0.05 * error).all()
    off = y - x @ fit.coefficients
    scale = 1.4826 * np.median(np.abs(off - np.median(off)))
    weight = np.minimum(1.0, TUNING * scale / np.abs(off))
    hac = sm.WLS(y, x, weights=weight).fit(cov_type="HAC", cov_kwds={"maxlags": LAGS, "use_correction": True})
    assert fit.coefficients == pytest.approx(hac.params, rel=1e-4, abs=1e-4 * error.max())
    assert fit.covariance == pytest.approx(hac.cov_params(), rel=1e-3)
    assert not fit.kept[off > 2000.0].any()


def test_least_squares_would_be_moved_by_odd_days(sm: Any) -> None:
    """The check above is not met by ordinary least squares."""
    rng = np.random.default_rng(1)
    x = np.column_stack([rng.uniform(5.0, 22.0, 100), np.ones(100)])
    y = x @ [190.0, -400.0] + rng.normal(0.0, 50.0, 100)
    y[x[:, 0] > 20.0] += 3000.0
    fit, plain = robust_fit(x, y), sm.OLS(y, x).fit()
    assert abs(fit.coefficients[0] - 190.0) < 0.2 * abs(plain.params[0] - 190.0)
