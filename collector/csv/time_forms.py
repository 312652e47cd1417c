"""The forms in which exports write their times, and which one a file has."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import datetime
from itertools import pairwise

from fieldfare.collector.csv.time_words import plain_time, starts_with_weekday

ISO = re.compile(r"\d{4}-?\d\d-?\d\d([T ]|$)")
"""Start of an ISO 8601 time."""
_DATES = (
    ("%d/%m/%Y", "day/month/year"),
    ("%m/%d/%Y", "month/day/year"),
    ("%d.%m.%Y", "day.month.year"),
    ("%d-%m-%Y", "day-month-year"),
    ("%Y/%m/%d", "year/month/day"),
    ("%d %b %Y", "day, month in English, German or French, year"),
    ("%d. %b %Y", "day., month in English, German or French, year"),
    ("%d-%b-%Y", "day-month in English, German or French-year"),
    ("%d.%m.%y", "day.month.year, two digits"),
    ("%d/%m/%y", "day/month/year, two digits"),
    ("%m/%d/%y", "month/day/year, two digits"),
    ("%Y-%m-%d", "year-month-day"),
)
_CLOCKS = (
    ("%H:%M:%S", "hours:minutes:seconds"),
    ("%H:%M", "hours:minutes"),
    ("%I:%M:%S %p", "hours:minutes:seconds, am or pm"),
    ("%I:%M %p", "hours:minutes, am or pm"),
)
TIME_FORMATS: tuple[tuple[str, str], ...] = (
    ("iso", "2026-01-31 23:59 (ISO 8601)"),
    ("unix", "seconds since 1970"),
    ("unix_ms", "milliseconds since 1970"),
    ("spreadsheet", "days since 1899-12-30, as spreadsheets count them"),
    *((f"{d} {c}", f"{name}, {clock}") for d, name in _DATES for c, clock in _CLOCKS),
    *((d, f"{name}, without a time of day") for d, name in _DATES),
    ("%Y%m%d%H%M%S", "20260131235900, no signs between"),
)
"""Forms of times that an export may have, as the site file names them, and in words."""

MOST_READ = 0.9
"""Share of the times that a form must read; the rest are wrong rows, which are rejected one by one."""
_ABBREVIATION = re.compile(r"\s(?!AM$|PM$)[A-Z]{3,5}$")
"""Of a time zone, behind the time."""
_PLAIN_FORMS = {
    "unix": re.compile(r"\d{9,10}(\.\d+)?"),
    "unix_ms": re.compile(r"\d{12,13}"),
    "spreadsheet": re.compile(r"[345]\d{4}([.,]\d+)?"),
}


def as_iso(text: str) -> bool:
    """Whether a text begins as an ISO 8601 time."""
    return ISO.match(text) is not None


def share(times: Sequence[str], reads: Callable[[str], object]) -> float:
    """Share of the times that `reads` takes."""
    return sum(bool(reads(t)) for t in times) / max(len(times), 1)


def time_format_of(times: list[str]) -> str:
    """Return how an export writes its times, as the site file's `time_format`; `iso` is the default.

    A form must read most of the times; a few wrong rows don't hide it. Where day and month are ambiguous,
    choose the order that reads the most, then the one with the smallest steps between rows.
    """
    sample = [*times[:60], *times[60 : -60 : max(len(times) // 60, 1)], *times[-60:]]
    zone = " %Z" if share(sample, _ABBREVIATION.search) >= MOST_READ else ""
    if not sample or (not zone and share(sample, as_iso) >= MOST_READ):
        return "iso"
    for form, pattern in _PLAIN_FORMS.items():
        if share(sample, pattern.fullmatch) >= MOST_READ:
            return form
    weekday = "%a " if share(sample, starts_with_weekday) >= MOST_READ else ""
    if zone:
        sample = [_ABBREVIATION.sub("", t) for t in sample]
    sample = [plain_time(t, weekday=bool(weekday)).replace("24:00", "00:00") for t in sample]
    fits = {}
    for form, _ in TIME_FORMATS:
        if "%" not in form:
            continue
        read = [when for t in sample if (when := _read_time(t, form)) is not None]
        if len(read) >= MOST_READ * len(sample):
            steps = [(b - a).total_seconds() for a, b in pairwise(read)]
            fits[form] = (-len(read), sum(s < 0 for s in steps), sum(abs(s) for s in steps))
    return f"{weekday}{min(fits, key=lambda f: fits[f])}{zone}" if fits else "iso"


def _read_time(text: str, form: str) -> datetime | None:
    try:
        return datetime.strptime(text, form)  # noqa: DTZ007 (only their order counts)
    except ValueError:
        return None
