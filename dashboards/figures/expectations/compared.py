"""Figure of measured against expected values, common to all models."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from fieldfare.dashboards.figures.chart import (
    Axis,
    Band,
    Chart,
    Line,
    Points,
    nothing,
)
from fieldfare.dashboards.figures.scale import EPOCH
from fieldfare.dashboards.text.words import day, number, share

Floats = NDArray[np.float64]

MOST_ROWS = 12
"""Rows of the table behind a figure: groups of neighbours where there are more values."""


@dataclass(frozen=True)
class ComparedSeries:
    """x, measured, expected, low, high : float64 (n,). low, high : 95 % band of the expectation. of : name of
    the values"""

    key: str
    title: str
    x_axis: Axis
    y_axis: Axis
    x: Floats
    measured: Floats
    expected: Floats
    low: Floats
    high: Floats
    of: str


def compared_chart(c: ComparedSeries, why_empty: str) -> Chart:
    """Chart of points, line and band; or the reason if nothing was measured."""
    known = np.isfinite(c.x) & np.isfinite(c.measured) & np.isfinite(c.expected) & np.isfinite(c.low + c.high)
    if not known.any():
        return nothing(c.key, c.title, why_empty)
    order = np.flatnonzero(known)[np.argsort(c.x[known], kind="stable")]
    x, measured, expected, low, high = (a[order] for a in (c.x, c.measured, c.expected, c.low, c.high))
    inside = float(np.mean((measured >= low) & (measured <= high)))
    above = float(np.mean(measured > high))
    says = (
        f"{number(len(x))} {c.of}: {share(inside)} within the expected 95 % band, {share(above)} above it"
        f" and {share(max(1.0 - inside - above, 0.0))} below."
    )
    layers = (
        Band("95 % band of the expectation", x.tolist(), low.tolist(), high.tolist(), "design"),
        Line("expected", x.tolist(), expected.tolist(), "design"),
        Points("measured", x.tolist(), measured.tolist(), "heat"),
    )
    columns = (c.x_axis.label, "Measured", "Expected", "Band from", "Band to", "Values")
    return Chart(
        c.key, c.title, says, c.x_axis, c.y_axis, layers, columns, _rows(c, x, measured, expected, low, high)
    )


def _rows(c: ComparedSeries, x: Floats, *values: Floats) -> tuple[tuple[str, ...], ...]:
    """Medians of groups of neighbours."""
    groups = np.array_split(np.arange(len(x)), min(MOST_ROWS, len(x)))
    out = []
    for group in groups:
        at = float(np.median(x[group]))
        x_text = day(EPOCH + timedelta(at)) if c.x_axis.dates else number(at, 2)
        out.append((x_text, *(number(float(np.median(v[group])), 2) for v in values), str(len(group))))
    return tuple(out)
