"""Clock offset between meters: delay of each day's heat and temperatures after the electricity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.rolling import running_total, window_mean

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

REACH_MIN = 720
_SMOOTH_MIN = 240
_LEAST_KNOWN = 0.8
_LEAST_SET_BACK_K = 0.5
# A smaller swing is a plant at rest or meter noise: nothing to compare.
_LEAST_W, _LEAST_K, _LEAST_STATE = 25.0, 0.2, 0.1
_IN_STEP_MIN, _MUCH_THE_SAME = 5, 0.8


@dataclass(frozen=True)
class _Alike:
    """Days of equal length and reach, correlated with another signal in one batch.

    rows : the days. first : start of each reach on the grid. length, reach : of a day, alone and with half a
        day before and after [min]. here : from the start of the reach to that of the day [min]
    spectra : complex128 (k, m), conjugate spectra of the days' electricity over `width` minutes. size : sums
        of its squares [W2]
    """

    rows: Ints
    first: Ints
    length: int
    here: int
    reach: int
    width: int
    spectra: NDArray[np.complex128]
    size: Floats


def clock_columns(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Columns of the days table, described in `columns/data.py`; none without a second signal."""
    grid, plant = minutes.grid, minutes.balance
    unit = plant.heat_pump
    out: dict[str, object] = {}
    if grid.has("target_room_temperature"):
        out["set_back_min"] = _set_back(day, grid.gauge("target_room_temperature"))
    if unit is None:
        return out
    signals: dict[str, tuple[Floats, float]] = {}
    if plant.heat_basis != "flow_product" and plant.heat is not None:
        signals["heat"] = (plant.heat * 60.0, _LEAST_W)
    if grid.has("flow_temperature") and grid.has("return_temperature"):
        lift = grid.gauge("flow_temperature") - grid.gauge("return_temperature")
        signals["lift"] = (np.abs(lift), _LEAST_K)
    mode = grid.gauge("operating_mode")
    if np.isfinite(mode).any():
        signals["state"] = (
            np.where(np.isfinite(mode), (fill_nan(mode, 0.0) > 0.5).astype(np.float64), np.nan),
            _LEAST_STATE,
        )
    drawn, known = _detrended(unit * 60.0)
    groups = _alike(day, drawn, known)
    for name, (values, least) in signals.items():
        other, other_known = _detrended(values)
        lag, like = _lags(len(day), groups, other, other_known, least)
        out[f"lag_{name}"], out[f"like_{name}"] = lag, like
    return out


def _set_back(day: Segments, target: Floats) -> Floats:
    """Minute of each day with the largest fall of the target."""
    out = np.full(len(day), np.nan)
    fall = np.concatenate(([0.0], -np.diff(target)))
    fall = fill_nan(fall, 0.0)
    # A reading's spacing spreads a step over some minutes.
    summed = np.convolve(fall, np.ones(15), mode="full")[: len(fall)]
    for i, (a, b) in enumerate(zip(day.start, day.end, strict=True)):
        best = int(np.argmax(summed[a:b]))
        if summed[a + best] >= _LEAST_SET_BACK_K:
            out[i] = float(best)
    return out


def _detrended(values: Floats) -> tuple[Floats, Ints]:
    """Values less their mean over some hours, 0 where unknown; and the running count of known minutes."""
    known = np.isfinite(values)
    mean = window_mean(values, _SMOOTH_MIN // 2, _SMOOTH_MIN // 2)
    return np.where(known, values - mean, 0.0), running_total(known)


def _alike(day: Segments, drawn: Floats, known: Ints) -> list[_Alike]:
    """Days with enough known and varying data, grouped by length and reach."""
    first = np.maximum(day.start - REACH_MIN, 0)
    last = np.minimum(day.end + REACH_MIN, len(drawn))
    size = day.sum(drawn**2)
    enough = known[day.end] - known[day.start] >= _LEAST_KNOWN * day.minutes
    enough &= size >= day.minutes * _LEAST_W**2
    out = []
    shapes = np.stack((day.minutes, day.start - first, last - first), axis=1)
    for length, here, reach in np.unique(shapes[enough], axis=0):
        rows = np.flatnonzero(enough & (shapes == (length, here, reach)).all(axis=1))
        width = _fast_length(int(reach))  # no shift asked for reaches beyond it
        spectra = np.conj(np.fft.rfft(sliding_window_view(drawn, length)[day.start[rows]], width))
        out.append(_Alike(rows, first[rows], int(length), int(here), int(reach), width, spectra, size[rows]))
    return out


def _fast_length(least: int) -> int:
    """Smallest length from `least` on that has no prime factor above 5: a transform of it is fast."""
    while True:
        rest = least
        for factor in (2, 3, 5):
            while rest % factor == 0:
                rest //= factor
        if rest == 1:
            return least
        least += 1


def _lags(
    count: int, groups: list[_Alike], other: Floats, other_known: Ints, least: float
) -> tuple[Floats, Floats]:
    """Lag [min] and correlation of each of `count` days; nan where there is nothing to compare."""
    lag, like = np.full(count, np.nan), np.full(count, np.nan)
    square = running_total(other**2)
    for days in groups:
        fit = other_known[days.first + days.reach] - other_known[days.first] >= _LEAST_KNOWN * days.reach
        if not fit.any():
            continue
        first, shifts = days.first[fit], days.reach - days.length + 1
        near = np.fft.rfft(sliding_window_view(other, days.reach)[first], days.width)
        product = np.fft.irfft(near * days.spectra[fit], days.width)[:, :shifts]
        sums = sliding_window_view(square, shifts)
        energy = sums[first + days.length] - sums[first]
        usable = energy > days.length * least**2
        size = days.size[fit, np.newaxis]
        r = np.where(usable, product / np.sqrt(np.maximum(energy, 1e-12) * size), -1.0)
        best = np.argmax(r, axis=1)
        # A periodic signal also matches one period later: of two similar correlations, zero offset is the
        # more likely.
        low = max(days.here - _IN_STEP_MIN, 0)
        in_step = low + np.argmax(r[:, low : days.here + _IN_STEP_MIN + 1], axis=1)
        row = np.arange(len(r))
        best = np.where(r[row, in_step] >= _MUCH_THE_SAME * r[row, best], in_step, best)
        known = usable.any(axis=1)
        mine = days.rows[fit][known]
        lag[mine], like[mine] = (best - days.here)[known], r[row, best][known]
    return lag, like
