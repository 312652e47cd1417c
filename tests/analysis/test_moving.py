"""Moving means, sums and medians equal those of pandas."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from fieldfare.analysis.statistics.moving import (
    moving_mean,
    moving_median,
    moving_quantile,
    moving_sum,
)

NAN = float("nan")


@pytest.mark.parametrize("width", [1, 2, 7, 10, 31])
@pytest.mark.parametrize("length", [0, 1, 6, 200])
def test_moving_windows_are_those_of_pandas(width: int, length: int) -> None:
    rng = np.random.default_rng(width * 1000 + length)
    values = np.where(rng.random(length) < 0.3, NAN, rng.normal(size=length))
    least = max(1, width // 2)
    centred = pd.Series(values).rolling(width, center=True, min_periods=least)
    np.testing.assert_array_equal(moving_median(values, width, least), centred.median().to_numpy())
    np.testing.assert_allclose(
        moving_quantile(values, width, least, 0.75), centred.quantile(0.75).to_numpy(), rtol=1e-12
    )
    np.testing.assert_allclose(
        moving_mean(values, width, least, centred=True), centred.mean().to_numpy(), rtol=1e-9, atol=1e-12
    )
    added = pd.Series(values).rolling(width, center=True, min_periods=1).sum().fillna(0.0).to_numpy()
    np.testing.assert_allclose(moving_sum(values, width), added, rtol=1e-9, atol=1e-12)
    ending = pd.Series(values).rolling(width, min_periods=least).mean().to_numpy()
    np.testing.assert_allclose(
        moving_mean(values, width, least, centred=False), ending, rtol=1e-9, atol=1e-12
    )


def test_by_hand() -> None:
    values = np.array([1.0, 5.0, NAN, 3.0, 9.0])
    np.testing.assert_array_equal(moving_median(values, 3, 2), [3.0, 3.0, 4.0, 6.0, 6.0])
    np.testing.assert_array_equal(moving_sum(values, 3), [6.0, 6.0, 8.0, 12.0, 12.0])
    np.testing.assert_array_equal(moving_mean(values, 2, 2, centred=False), [NAN, 3.0, NAN, NAN, 6.0])
