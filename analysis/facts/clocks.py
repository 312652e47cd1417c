"""One meter's clock against another's: how long after the electricity each day's heat and temperatures move."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len

from analysis.facts.minutes import Minutes
from analysis.facts.segments import Segments
from analysis.facts.table import first_known

Floats = NDArray[np.float64]
Spectrum = NDArray[np.complex128]

REACH_MIN = 720
_SMOOTH_MIN = 240
_LEAST_KNOWN = 0.8
_LEAST_SET_BACK_K = 0.5
# Less swing than this is a plant at rest, or the noise of its meters: nothing to compare.
_LEAST_W, _LEAST_K, _LEAST_STATE = 25.0, 0.2, 0.1
_IN_STEP_MIN, _MUCH_THE_SAME = 5, 0.8


def clock_columns(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Clock columns of the days table; none without electricity or anything to hold against it.

    set_back_min : when the room's target falls most, minutes after local midnight; nan where it falls less than 0.5 K
    lag_heat, lag_lift, lag_state : minutes by which the heat meter, the difference of flow and return, and the unit's
    own word follow the electricity, at the best likeness within half a day either way
    like_heat, like_lift, like_state : that likeness, a correlation [-]
    """
    grid, plant = minutes.grid, minutes.balance
    unit = plant.heat_pump
    out: dict[str, object] = {}
    if grid.has("target_room_temperature"):
        out["set_back_min"] = _set_back(day, grid.gauge("target_room_temperature"))
    if unit is None:
        return out
    signals: dict[str, tuple[Floats, float]] = {}
    if plant.heat_basis != "flow rate and temperatures" and plant.heat is not None:
        signals["heat"] = (plant.heat * 60.0, _LEAST_W)
    if grid.has("flow_temperature") and grid.has("return_temperature"):
        lift = grid.gauge("flow_temperature") - grid.gauge("return_temperature")
        signals["lift"] = (np.abs(lift), _LEAST_K)
    mode = grid.gauge("operating_mode")
    if np.isfinite(mode).any():
        signals["state"] = (
            np.where(np.isfinite(mode), (first_known(mode, 0.0) > 0.5).astype(np.float64), np.nan),
            _LEAST_STATE,
        )
    drawn, known = _detrended(unit * 60.0)
    spectra: dict[int, Spectrum] = {}
    for name, (values, least) in signals.items():
        other, other_known = _detrended(values)
        lag, like = _lags(day, drawn, known, other, other_known, least, spectra)
        out[f"lag_{name}"], out[f"like_{name}"] = lag, like
    return out


def _set_back(day: Segments, target: Floats) -> Floats:
    """Minute of each day at which the target falls most."""
    out = np.full(len(day), np.nan)
    fall = np.concatenate(([0.0], -np.diff(target)))
    fall = first_known(fall, 0.0)
    # A reading's spacing spreads a step over some minutes.
    summed = np.convolve(fall, np.ones(15), mode="full")[: len(fall)]
    for i, (a, b) in enumerate(zip(day.start, day.end, strict=True)):
        best = int(np.argmax(summed[a:b]))
        if summed[a + best] >= _LEAST_SET_BACK_K:
            out[i] = float(best)
    return out


def _detrended(values: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """Values less their mean over some hours, 0 where unknown; and the running count of known minutes."""
    known = np.isfinite(values)
    total = np.concatenate(([0.0], np.cumsum(np.where(known, values, 0.0))))
    count = np.concatenate(([0], np.cumsum(known)))
    n = len(values)
    index = np.arange(n)
    a, b = np.maximum(index - _SMOOTH_MIN // 2, 0), np.minimum(index + _SMOOTH_MIN // 2, n)
    mean = (total[b] - total[a]) / np.maximum(count[b] - count[a], 1)
    return np.where(known, first_known(values, 0.0) - mean, 0.0), count


def _lags(
    day: Segments,
    drawn: Floats,
    known: NDArray[np.int64],
    other: Floats,
    other_known: NDArray[np.int64],
    least: float,
    spectra: dict[int, Spectrum],
) -> tuple[Floats, Floats]:
    """spectra : of what is drawn, by day; filled here, the same whatever it is held against"""
    lag, like = np.full(len(day), np.nan), np.full(len(day), np.nan)
    n = len(drawn)
    square = np.concatenate(([0.0], np.cumsum(other**2)))
    for i, (a, b) in enumerate(zip(day.start, day.end, strict=True)):
        first, last = max(int(a) - REACH_MIN, 0), min(int(b) + REACH_MIN, n)
        if known[b] - known[a] < _LEAST_KNOWN * (b - a):
            continue
        if other_known[last] - other_known[first] < _LEAST_KNOWN * (last - first):
            continue
        mine, near = drawn[a:b], other[first:last]
        length = len(mine)
        size = float(np.sum(mine**2))
        if size < length * _LEAST_W**2:
            continue
        shifts = len(near) - length + 1
        width = next_fast_len(len(near), real=True)  # no shift asked for reaches beyond it
        if i not in spectra:
            spectra[i] = np.conj(np.fft.rfft(mine, width))
        product = np.fft.irfft(np.fft.rfft(near, width) * spectra[i], width)[:shifts]
        energy = square[first + length : first + length + shifts] - square[first : first + shifts]
        usable = energy > length * least**2
        if not usable.any():
            continue
        r = np.where(usable, product / np.sqrt(np.maximum(energy, 1e-12) * size), -1.0)
        best = int(np.argmax(r))
        # A rhythm is like itself a beat later too: of two likenesses much the same, no offset is the likelier.
        here = int(a) - first
        low = max(here - _IN_STEP_MIN, 0)
        in_step = low + int(np.argmax(r[low : here + _IN_STEP_MIN + 1]))
        if r[in_step] >= _MUCH_THE_SAME * r[best]:
            best = in_step
        lag[i], like[i] = float(best - here), float(r[best])
    return lag, like
