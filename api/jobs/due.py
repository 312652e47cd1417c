"""Which jobs are due: pure rules from clock and time zones.

A missed time is made up once, for its newest date.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

NIGHT = time(3, 10)
"""Local time of the nightly work: after both clock changes of the year have passed."""
MONTH_DAY, MONTH_HOUR = 2, 6
WINTER_MONTHS = (9, 10, 11)
"""Winter checks are due from the first of September; one missed until the end of November is still of use."""
TIDY_HOUR = 4
WATCHES_AN_HOUR = 4
"""A unit that stops should be known within an hour: half an hour tells a stop from a pause, the rest is the
watch's."""
FIRM = ""
"""Site id of work for the whole firm."""


@dataclass(frozen=True)
class Due:
    """A job of one kind for one site; `key` is the night, hour, month or year."""

    kind: str
    site: str
    key: str


def due_now(
    now: datetime,
    zones: Mapping[str, ZoneInfo],
    firm: ZoneInfo,
    digest_hour: int,
    *,
    forecast: bool = False,
) -> Iterator[Due]:
    """The newest work that is due or overdue, in execution order.

    zones : site -> its time zone. firm : time zone of the firm. forecast : whether a forecast address is
        configured
    """
    for site, zone in zones.items():
        yield Due("night", site, night_of(now, zone))
    for site, zone in zones.items():
        yield Due("month", site, month_of(now, zone))
        if year := winter_of(now, zone):
            yield Due("winter", site, year)
    if forecast:
        yield Due("forecast", FIRM, night_of(now, firm))
    if digest := _since(now, firm, digest_hour):
        yield Due("digest", FIRM, digest)
    yield Due("tidy", FIRM, night_at(now, firm, time(TIDY_HOUR)))


def watch_now(now: datetime, zones: Mapping[str, ZoneInfo]) -> Iterator[Due]:
    """The watch of every site, WATCHES_AN_HOUR times per hour."""
    moment = now.astimezone(UTC)
    every = 60 // WATCHES_AN_HOUR
    key = f"{moment:%Y-%m-%dT%H}:{moment.minute // every * every:02d}Z"
    for site in zones:
        yield Due("watch", site, key)


def watch_time(watch_key: str) -> datetime:
    """Time of a watch, from its key."""
    return datetime.fromisoformat(watch_key)


def is_on_the_hour(watch_key: str) -> bool:
    """Whether a watch is the first of its hour, which runs all checks."""
    return watch_key.endswith(":00Z")


def night_of(now: datetime, zone: ZoneInfo) -> str:
    """Local date of the newest night whose time has come."""
    return night_at(now, zone, NIGHT)


def night_at(now: datetime, zone: ZoneInfo, at: time) -> str:
    local = now.astimezone(zone)
    day = local.date() if local.time() >= at else local.date() - timedelta(days=1)
    return day.isoformat()


def month_of(now: datetime, zone: ZoneInfo) -> str:
    """The last month that is due, on the second of the next."""
    local = now.astimezone(zone)
    first = local.date().replace(day=1)
    if (local.day, local.hour) < (MONTH_DAY, MONTH_HOUR):
        first = (first - timedelta(days=1)).replace(day=1)
    return f"{first - timedelta(days=1):%Y-%m}"


def winter_of(now: datetime, zone: ZoneInfo) -> str | None:
    """Year of the winter to prepare; None outside autumn."""
    local = now.astimezone(zone)
    return str(local.year) if local.month in WINTER_MONTHS else None


def _since(now: datetime, zone: ZoneInfo, hour: int) -> str | None:
    local = now.astimezone(zone)
    return local.date().isoformat() if local.hour >= hour else None
