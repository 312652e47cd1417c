"""Common parts of the findings about circuit pressure."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.flow.pressure_trend import Drift, Stretch, drift, stretches

EMPTY_BAR = 0.05
GAUGE_BAR = 0.1  # standard uncertainty of a dwelling's pressure sensor or gauge (common practice)


def pressure_of_days(context: Context, fewest: int) -> Floats:
    """The days' pressures. Raises NotAssessed where there are too few, or the sensor shows nothing at all."""
    pressure = context.days.floats("pressure")
    known = np.isfinite(pressure)
    if known.sum() < fewest:
        raise NotAssessed(f"needs system_pressure on at least {fewest} days", "too_few_days")
    if float(np.max(pressure[known])) < EMPTY_BAR and float(np.ptp(pressure[known])) < 0.02:
        raise NotAssessed(
            "system_pressure reads zero on every day: a sensor fault, not the circuit", "distrusted"
        )
    return pressure


def drift_of_pressure(context: Context, sign: int, least: float, least_change: float) -> Drift | None:
    return drift(context.once(_stretches), sign=sign, least=least, least_change=least_change)


def _stretches(context: Context) -> list[Stretch]:
    days = context.days
    return stretches(
        days["day"],
        np.where(_cools(context) | _stands(context), np.nan, days.floats("pressure")),
        days.floats("loop_c"),
        days.floats("pressure_topped"),
        refill_bar=context.limit("pressure_refill_bar"),
        empty_bar=EMPTY_BAR,
    )


def _stands(context: Context) -> Flags:
    """Days on which the unit of a plant that else works did not run: the circuit goes cold, and no sensor
    shows how far."""
    running = context.days.floats("minutes_running")
    return np.asarray((running == 0.0) & bool(np.nanmedian(np.append(running, 0.0)) > 0.0), dtype=np.bool_)


def _cools(context: Context) -> Flags:
    """Days with cooling: the water swings by 20 K and more between cooling and hot water, and its mean tells
    little."""
    return np.asarray(context.days.floats("minutes_cooling") > 0.0, dtype=np.bool_)


def bounded(probability: float) -> float:
    return float(np.clip(probability, 0.5, 0.99))
