"""Money for the day's electricity, by tariff band of the local clock."""

from __future__ import annotations

from datetime import UTC, datetime, time

import numpy as np
from numpy.typing import NDArray

from analysis.facts.minutes import Minutes
from analysis.facts.segments import Segments, total_kwh
from analysis.facts.table import first_known
from analysis.plant.site import Cost, Site

Floats = NDArray[np.float64]


def money_columns(site: Site, cost: Cost, minutes: Minutes, day: Segments) -> dict[str, object]:
    """Money for the day's electricity, by tariff band of the local clock; the standing charge is not in it."""
    price = minute_prices(site, cost, minutes.grid.time)
    return {
        "money": total_kwh(day, minutes.electricity * price),
        "money_heat_pump": day.sum(first_known(minutes.electricity, 0.0) * first_known(price, 0.0)) / 1000.0,
    }


def minute_prices(site: Site, cost: Cost, times: NDArray[np.int64]) -> Floats:
    """Price [money/kWh] of each minute by the local clock; nan where the site file gives none."""
    flat = cost.electricity if cost.electricity is not None else np.nan
    if not cost.band or not len(times):
        return np.full(len(times), flat)
    by_minute = np.full(1440, flat)
    for band in cost.band:
        a, b = (_minute_of(t) for t in (band.start, band.end))
        covered = np.arange(a, b) if a < b else np.concatenate((np.arange(a, 1440), np.arange(0, b)))
        by_minute[covered] = band.price
    hours = np.arange(times[0] - times[0] % 900_000, times[-1] + 900_000, 900_000)
    offset = np.array(
        [_offset_minutes(site, int(t)) for t in hours[::4]], dtype=np.int64
    )  # zones change their offset on the hour or half hour; an hour's step meets the change of use
    nearest = np.clip((times - hours[0]) // 3_600_000, 0, len(offset) - 1)
    return np.asarray(by_minute[(times // 60_000 + offset[nearest]) % 1440])


def _minute_of(clock: time) -> int:
    return clock.hour * 60 + clock.minute


def _offset_minutes(site: Site, at: int) -> int:
    moment = datetime.fromtimestamp(at / 1000, UTC).astimezone(site.zone)
    shift = moment.utcoffset()
    return int(shift.total_seconds() // 60) if shift else 0
