"""Cost of the day's electricity, by the day's price and the tariff band of the local clock."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments, total_kwh
from fieldfare.analysis.plant.cost import Cost
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]


def money_columns(site: Site, cost: Cost, minutes: Minutes, day: Segments) -> dict[str, object]:
    """Cost of the day's electricity by tariff band of the local clock, without standing charge."""
    price = minute_prices(site, cost, minutes.grid.time)
    return {
        "money": total_kwh(day, minutes.electricity * price),
    }


def minute_prices(site: Site, cost: Cost, times: NDArray[np.int64]) -> Floats:
    """Price [money/kWh] of each minute by the local clock; nan where the site file has none."""
    if not len(times):
        return np.empty(0)
    if not cost.band and not cost.price:
        return np.full(len(times), cost.electricity if cost.electricity is not None else np.nan)
    local = times // 60_000 + local_shift(site, times)  # minutes since 1970 by the local clock
    by_minute = np.full(1440, np.nan)
    for band in cost.band:
        a, b = (_minute_of(t) for t in (band.start, band.end))
        covered = np.arange(a, b) if a < b else np.concatenate((np.arange(a, 1440), np.arange(0, b)))
        by_minute[covered] = band.price
    banded = by_minute[local % 1440]
    return np.where(np.isfinite(banded), banded, _by_day(cost, local // 1440))


def _by_day(cost: Cost, days: NDArray[np.int64]) -> Floats:
    """Price outside the bands on local days, given as days since 1970."""
    known, which = np.unique(days, return_inverse=True)
    prices = [cost.on(date(1970, 1, 1) + timedelta(days=int(d))).electricity for d in known]
    return np.array([np.nan if p is None else p for p in prices], dtype=np.float64)[which]


def local_shift(site: Site, times: NDArray[np.int64]) -> NDArray[np.int64]:
    """Minutes by which local time is ahead of UTC, for each time [ms]."""
    hours = np.arange(times[0] - times[0] % 900_000, times[-1] + 900_000, 900_000)
    offset = np.array(
        [_offset_minutes(site, int(t)) for t in hours[::4]], dtype=np.int64
    )  # zones change their offset on the hour or half hour; an hour's step meets the change of use
    nearest = np.clip((times - hours[0]) // 3_600_000, 0, len(offset) - 1)
    return np.asarray(offset[nearest])


def _minute_of(clock: time) -> int:
    return clock.hour * 60 + clock.minute


def _offset_minutes(site: Site, at: int) -> int:
    moment = datetime.fromtimestamp(at / 1000, UTC).astimezone(site.zone)
    shift = moment.utcoffset()
    return int(shift.total_seconds() // 60) if shift else 0
