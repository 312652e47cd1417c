"""Hot-water draws of a household, litres at 40 degC per minute."""

from __future__ import annotations

from datetime import date

import numpy as np

from fieldfare.collector.simulated.design.spec import HotWaterSpec


def day_of_draws(hot_water: HotWaterSpec, seed: int, day: date) -> np.ndarray:
    """Draws of one local day.

    hot_water : HotWaterSpec; seed : int; day : date
    Returns float array (1440,) [l at 40 degC].
    Source: mix of small draws, showers and a bath in the morning, at noon and in the evening, as in the EN
        16147 profiles M and L; times and sizes are random each day.
    """
    rng = np.random.default_rng([seed, 21, day.toordinal()])
    out = np.zeros(1440)
    late = 60.0 if day.weekday() >= 5 else 0.0
    litres = hot_water.litres_40_per_day * float(np.clip(rng.normal(1.0, 0.22), 0.3, 1.9))
    small = 0.22 * litres
    count = max(4, int(rng.poisson(12)))
    times = np.concatenate(
        [
            rng.normal(445 + late, 40, max(1, count // 3)),
            rng.normal(765, 60, max(1, count // 4)),
            rng.normal(1150, 80, count - count // 3 - count // 4),
        ]
    )
    for t in times:
        _pour(out, t, small / count, 5.0)
    left = litres - small
    while left > 12.0:
        if left > 150.0 and rng.random() < 0.25:
            size, rate = min(left, rng.uniform(100.0, 140.0)), 11.0  # a bath
        else:
            size, rate = min(left, rng.uniform(32.0, 65.0)), 8.0  # a shower
        at = rng.normal(430 + late, 35) if rng.random() < 0.55 else rng.normal(1200, 70)
        _pour(out, at, size, rate)
        left -= size
    return out


def _pour(out: np.ndarray, at_minute: float, litres: float, rate: float) -> None:
    """Add a draw of `litres` at `rate` litres per minute; out (1440,) is updated in place."""
    start = int(np.clip(at_minute, 5, 1380))
    whole = int(litres // rate)
    out[start : start + whole] += rate
    out[start + whole] += litres - whole * rate


def party(out: np.ndarray) -> np.ndarray:
    """A house full of guests: three times the draws, and several showers in the evening."""
    more = out * 2.0
    for at in (1080, 1100, 1120, 1140, 1165, 1185):
        _pour(more, at, 55.0, 9.0)
    return more
