"""Convert between local days of a site and spans of UTC time."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

EPOCH = date(1970, 1, 1)


def now_ms() -> int:
    """Current time [ms]."""
    return int(datetime.now(UTC).timestamp() * 1000)


def day_of(moment: int, zone: ZoneInfo) -> date:
    """Local day of a time [ms]."""
    return datetime.fromtimestamp(moment / 1000, zone).date()


def days(first: date, last: date) -> Iterator[date]:
    """Every day from first to last, inclusive."""
    for n in range((last - first).days + 1):
        yield first + timedelta(days=n)
