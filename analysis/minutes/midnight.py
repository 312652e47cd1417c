"""Local midnights of a site."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from fieldfare.analysis.plant.site import Site


def local_midnight(site: Site, day: date) -> int:
    """Start of a local day [ms]."""
    return _midnight(site.zone, day)


def last_day(site: Site, newest: Mapping[str, int]) -> date:
    """Last local day with readings.

    newest : point id -> time of its newest reading [ms], not empty

    A reading at midnight closes the day before: it ends an interval, or it is that day's register. Only an
    interval stamped at its start begins a day there.
    """
    end = max(newest.values())
    day = datetime.fromtimestamp(end / 1000, site.zone).date()
    begun = {p.id for p in site.point if p.form == "interval" and p.stamp == "start"}
    if end != local_midnight(site, day) or any(newest[p] == end for p in begun & newest.keys()):
        return day
    return day - timedelta(1)


@lru_cache(maxsize=8192)
def _midnight(zone: ZoneInfo, day: date) -> int:
    return int(datetime(day.year, day.month, day.day, tzinfo=zone).timestamp() * 1000)
