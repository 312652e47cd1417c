"""Implausible readings: outside the physical range, error values, and jumps of the air temperature."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.minutes.rolling import true_runs
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.readings import Samples
from fieldfare.analysis.statistics.quantiles import running_median

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# EN 12831-1 design temperatures are about the coldest days in 20 years. Record lows are 10 to 22 K lower
# (United Kingdom -27 and -5 C, Germany -38 and -16 C; national weather services, from memory).
BELOW_DESIGN_K = 25.0
# Values of failed digital and resistance sensors: power-up value, short and open circuit (sensor
# data sheets, from memory). 0.0 is what many gateways send for "no value".
ERROR_VALUES = frozenset({85.0, -127.0, -50.0, -40.0, 150.0, 125.0, 0.0})
# What a gateway hands on for "no value": the extremes of a 16-bit register, scaled as its numbers are, and
# figures that no plant reaches (common practice, no source). They stand in the point's own unit.
ERROR_WORDS = np.array(
    [word * step for word in (65535.0, 32767.0, 32768.0, -32768.0) for step in (1.0, 0.1, 0.01)]
    + [-999.0, -999.9, -9999.0, 9999.0, 99999.0]
)
_WORD_SLACK = 1e-9
# A reading that equals such a word by chance lies near its neighbours.
_WORD_JUMP = 0.5
# A failed sensor jumps to such a value, or holds it to the last digit. 0.0 is a normal
# outdoor value.
_JUMP_K, _HELD_MIN = 10.0, 60.0
_NEVER_HELD = 0.0
# Outdoor air changes by 12 K within hours in a foehn, not for some minutes and back (common practice).
_OUTLIER_K, _ABOUT_MIN = 12.0, 90.0
_AIR = ("outdoor_temperature", "room_temperature")


def implausible(site: Site, point: Point, samples: Samples) -> Flags:
    """Mask of implausible readings: bool (n,). samples : in the point's canonical unit"""
    value = np.asarray(samples.value, dtype=np.float64)
    low, high = _range(site, point)
    out = np.isfinite(value) & ~((value >= low) & (value <= high))
    if point.kind.is_temperature and not point.quantity.startswith("target_"):
        out |= _error_values(samples.time, value)
    out |= error_words(point, samples)
    if point.quantity in _AIR:
        out |= _outliers(samples.time, np.where(out, np.nan, value))
    return out


def error_words(point: Point, samples: Samples) -> Flags:
    """Mask of readings that are a gateway's word for "no value": bool (n,). They jump there by half their
    size, or stay for an hour. samples : in the point's canonical unit"""
    value = np.asarray(samples.value, dtype=np.float64)
    scale, offset = point.to_canonical
    out = np.zeros(len(value), dtype=bool)
    low, high = float(np.fmin.reduce(value, initial=np.inf)), float(np.fmax.reduce(value, initial=-np.inf))
    for word in (ERROR_WORDS * scale + offset).tolist():
        slack = _WORD_SLACK * abs(word)
        if low - slack <= word <= high + slack:
            out |= np.abs(value - word) <= slack
    if not out.any():
        return out
    begin, end = true_runs(out)
    for a, b in zip(begin, end, strict=True):
        edges = [abs(value[i] - value[j]) for i, j in ((a - 1, a), (b, b - 1)) if 0 <= i < len(value)]
        jumped = any(step > _WORD_JUMP * abs(value[a]) for step in edges if np.isfinite(step))
        out[a:b] = jumped or (samples.time[b - 1] - samples.time[a]) / 60_000.0 >= _HELD_MIN
    return out


def _range(site: Site, point: Point) -> tuple[float, float]:
    low, high = point.kind.likely
    if point.quantity == "outdoor_temperature" and site.design.outdoor_c is not None:
        low = max(low, site.design.outdoor_c - BELOW_DESIGN_K)
    return low, high


def _error_values(time: NDArray[np.int64], value: Floats) -> Flags:
    """Error values that appear with a jump, or persist for an hour."""
    out = np.isin(value, list(ERROR_VALUES))
    if not out.any():
        return out
    begin, end = true_runs(out)
    for a, b in zip(begin, end, strict=True):
        same = bool((value[a:b] == value[a]).all())
        edges = [abs(value[i] - value[j]) for i, j in ((a - 1, a), (b, b - 1)) if 0 <= i < len(value)]
        jumped = any(step > _JUMP_K for step in edges if np.isfinite(step))
        held = same and value[a] != _NEVER_HELD and (time[b - 1] - time[a]) / 60_000.0 >= _HELD_MIN
        out[a:b] = jumped or held
    return out


def _outliers(time: NDArray[np.int64], value: Floats) -> Flags:
    """Readings far from the median of their neighbours."""
    known = np.flatnonzero(np.isfinite(value))
    out = np.zeros(len(value), dtype=bool)
    if len(known) < 5 or float(np.abs(np.diff(value[known])).max()) <= _OUTLIER_K / 2.0:
        return out
    usual = float(np.median(np.diff(time[known]))) / 60_000.0
    about = int(np.clip(_ABOUT_MIN / max(usual, 1e-9), 2, 200))
    middle = running_median(value[known], about, about)
    out[known] = np.abs(value[known] - middle) > _OUTLIER_K
    return out
