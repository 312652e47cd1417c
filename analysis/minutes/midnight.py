"""Local midnights of a site."""

from __future__ import annotations

from datetime import date, datetime
from functools import lru_cache
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from fieldfare.analysis.plant.site import Site


def local_midnight(site: Site, day: date) -> int:
    """Start of a local day [ms]."""
    return _midnight(site.zone, day)


@lru_cache(maxsize=8192)
def _midnight(zone: ZoneInfo, day: date) -> int:
    return int(datetime(day.year, day.month, day.day, tzinfo=zone).timestamp() * 1000)
