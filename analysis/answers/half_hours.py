"""Hourly or half-hourly prices from a CSV, and two spans' electricity at each other's prices."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.answers.bill import Tariffs
from fieldfare.analysis.errors import InputError, readable_csv
from fieldfare.analysis.facts.minutes import build_minutes
from fieldfare.analysis.facts.money import minute_prices
from fieldfare.analysis.facts.tables import MARGIN_DAYS, SPAN_DAYS
from fieldfare.analysis.minutes.grid import build_grid
from fieldfare.analysis.minutes.midnight import local_midnight
from fieldfare.analysis.plant.cost import Cost
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import MS_PER_DAY, Readings, Samples

Floats = NDArray[np.float64]
Times = NDArray[np.int64]

LARGEST_CSV = 20_000_000
"""Bytes of a file of prices: some ten years of quarter hours."""
_LONGEST_MS = 3_600_000  # a price holds until the next, and an hour at most
_DEAREST = 1000.0  # money per kWh: what a site file takes too
_YEAR_MS = 364 * MS_PER_DAY  # 52 weeks: the same hour of the same weekday


@dataclass(frozen=True)
class PriceSteps:
    """Prices by the hour or finer. time : int64 (n,) [ms], the start of each, ascending. price : float64
    (n,) [money/kWh]"""

    time: Times
    price: Floats

    def at(self, times: Times) -> Floats:
        """Price at each time: float64, nan where none is given."""
        row = np.searchsorted(self.time, times, side="right") - 1
        inside = (row >= 0) & (times - self.time[np.maximum(row, 0)] < _LONGEST_MS)
        return np.where(inside, self.price[np.maximum(row, 0)], np.nan)


def parse_prices(text: str, name: str) -> PriceSteps:
    """Read prices from a CSV with the columns `time` and `price`.

    text : the CSV. `time` is ISO 8601 with its offset from UTC, the start of each price; `price` is money
    per kWh in the
    site's currency, taxes included, with a point as decimal mark. Each holds until the next, and an hour
    at most.
    name : of the file, for errors. Raises InputError with file, line and what would be right.
    """
    if len(text) > LARGEST_CSV:
        raise InputError(f"{name}: prices of up to {LARGEST_CSV // 1_000_000} MB are read")
    with readable_csv(name):
        return _parsed(csv.DictReader(io.StringIO(text.lstrip("\ufeff"))), name)


def _parsed(rows: csv.DictReader[str], name: str) -> PriceSteps:
    head = [h.strip().lower() for h in rows.fieldnames or ()]
    if not {"time", "price"} <= set(head):
        raise InputError(f"{name}: line 1: needs the columns time and price, has {', '.join(head) or 'none'}")
    rows.fieldnames = head
    found: dict[int, float] = {}
    for number, row in enumerate(rows, start=2):
        at, price = _row(row, f"{name}: line {number}")
        if found.setdefault(at, price) != price:
            raise InputError(f"{name}: line {number}: time {row['time']} has two prices")
    if not found:
        raise InputError(f"{name}: holds no price")
    times = np.array(sorted(found), dtype=np.int64)
    return PriceSteps(times, np.array([found[t] for t in times.tolist()]))


def _row(row: dict[str, str | None], where: str) -> tuple[int, float]:
    text = (row.get("time") or "").strip()
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{where}: time {text[:40]!r} is not ISO 8601, such as 2026-01-31T00:30:00+00:00"
        ) from None
    if moment.tzinfo is None:
        raise InputError(
            f"{where}: time {text[:40]!r} needs its offset from UTC, such as 2026-01-31T00:30:00+00:00"
        )
    try:
        price = float(row.get("price") or "")
    except ValueError:
        raise InputError(
            f"{where}: price {(row.get('price') or '')[:20]!r} is not a number; write 0.2712"
        ) from None
    if not abs(price) <= _DEAREST:
        raise InputError(
            f"{where}: price must lie between -{_DEAREST:g} and {_DEAREST:g} per kWh, got {price:g}"
        )
    return round(moment.timestamp() * 1000), price


@dataclass(frozen=True)
class Used:
    """Electricity of a span by the minute. time : int64 (n,) [ms]. kwh : float64 (n,), 0 where it is not
    known"""

    time: Times
    kwh: Floats


def minutes_used(site: Site, readings: Readings, first: date, last: date) -> Used:
    """All electricity of the heating from first to last, by the minute.

    readings : Readings that reach a day beyond both ends where there are any
    """
    parts = [_used(site, readings, *span) for span in _spans(first, last)]
    return Used(np.concatenate([p.time for p in parts]), np.concatenate([p.kwh for p in parts]))


def _spans(first: date, last: date) -> Iterator[tuple[date, date]]:
    for start in range(0, (last - first).days + 1, SPAN_DAYS):
        begin = first + timedelta(start)
        yield begin, min(begin + timedelta(SPAN_DAYS - 1), last)


def _used(site: Site, readings: Readings, first: date, last: date) -> Used:
    outer = first - timedelta(MARGIN_DAYS), last + timedelta(MARGIN_DAYS)
    start, end = local_midnight(site, outer[0]), local_midnight(site, outer[1] + timedelta(1))
    near: Readings = {}
    for point, samples in readings.items():
        a, b = np.searchsorted(samples.time, (start, end))
        near[point] = Samples(samples.time[a:b], samples.value[a:b])
    grid = build_grid(site, near, *outer)
    used = build_minutes(site, grid).electricity
    inside = (grid.time >= local_midnight(site, first)) & (
        grid.time < local_midnight(site, last + timedelta(1))
    )
    return Used(grid.time[inside], np.nan_to_num(used[inside]) / 1000.0)


def tariffs(site: Site, cost: Cost, before: Used, now: Used, steps: PriceSteps | None) -> Tariffs | None:
    """Mean prices of both spans' electricity, each at its own prices and at the other's of the same
    weekday and hour.

    steps : prices of a CSV, which go before those of the site file. Returns None where a span has no price
    or no use.
    """

    def mean(used: Used, shift: int) -> float:
        at = used.time + shift
        price = minute_prices(site, cost, at)
        if steps is not None:
            by_step = steps.at(at)
            price = np.where(np.isfinite(by_step), by_step, price)
        known = np.isfinite(price) & (used.kwh > 0.0)
        total = float(used.kwh[known].sum())
        return float((used.kwh[known] * price[known]).sum()) / total if total > 0.0 else float("nan")

    found = Tariffs(mean(before, 0), mean(before, _YEAR_MS), mean(now, -_YEAR_MS), mean(now, 0))
    if not np.isfinite(found.before_then + found.now_now):
        return None
    # Where the other year has no price for these hours, its own mean stands for it.
    then = found.now_then if np.isfinite(found.now_then) else found.before_then
    later = found.before_now if np.isfinite(found.before_now) else found.now_now
    return Tariffs(found.before_then, later, then, found.now_now)
