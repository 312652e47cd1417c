"""Format numbers, units, money and dates for readers: by Babel in the reader's language, with the same minus
sign and thousands separator in all.

Sentences of `analysis` have plain ASCII numbers and ISO dates; `tidy` converts them to the same formats.
"""

from __future__ import annotations

import math
import re
from datetime import UTC, date, datetime, timedelta
from functools import cache, lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from babel import Locale
from babel.dates import format_date, format_timedelta
from babel.numbers import format_currency, format_decimal, get_group_symbol

from fieldfare.dashboards.text import units
from fieldfare.dashboards.text.language import gettext, language, locale, marked, ngettext

UNITS = {
    "degC": "°C",
    "celsius": "°C",
    "m3/h": "m³/h",
    "W/m2": "W/m²",
    "kwh": "kWh",
    "K": "K",
    "percent": "%",
    "count": "",
    "1/h": marked("per hour"),
    "1/day": marked("a day"),
    "-": "",
    "kWh/day": marked("kWh a day"),
    "min": "min",
    "delta_degC": "K",
    "bar/week": marked("bar a week"),
    "days/week": marked("days a week"),
    "kWh/year": marked("kWh a year"),
    "hours": marked("hours"),
    "minutes": marked("minutes"),
    "days": marked("days"),
}
_DATES = {
    "en": ("d MMM y", "d MMM", "MMMM y", "MMM"),
    "de": ("d. MMM y", "d. MMM", "MMMM y", "MMM"),
    "fr": ("d MMM y", "d MMM", "MMMM y", "MMM"),
}
"""Date, date without its year, month with its year, month alone, as patterns of CLDR (Unicode TR 35)."""
THIN, HARD, MINUS = "\u202f", "\u00a0", "\u2212"
"""Thousands separator, space between a number and its unit, minus sign (SI Brochure, 9th edition, 5.4)."""

_ISO_DAY = re.compile(r"\b((?:19|20)\d\d-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01]))\b(?: (\d\d:\d\d)\b)?")
_ISO_MONTH = re.compile(r"\b((?:19|20)\d\d)-(0[1-9]|1[0-2])\b(?!-)")
_HYPHEN_MINUS = re.compile(r"(?<![\w.\-/)])-(?=\d)")
_THOUSANDS = re.compile(r"(?<=\d),(?=\d{3}(?!\d))")
_CELSIUS = re.compile(r"(?<=\d) ?(?:degC|deg C|C)\b(?![-/\d])")
_PERCENT = re.compile(r"(?<=\d) ?%")
_EVERY = re.compile(r"\bevery (\d+(?:\.\d+)?) minutes\b")
_LETTERS_BEFORE = re.compile(r"(?<=[A-Z]{3})(?=\d)")
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:°C|K|kWh|kW|W|min|bar|l|h|V|g/kWh|m³/h)\b)")


def unit(name: str | None) -> str:
    """Display form of a unit."""
    return gettext(UNITS.get(name or "", name or ""))


def number(value: Any, decimals: int | None = None) -> str:
    """Format a number: thousands separated, three significant figures by default; a dash for None."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return "–"
    if isinstance(value, str):
        return tidy(value)
    if isinstance(value, bool):
        return gettext("yes") if value else gettext("no")
    if decimals is None:
        size = abs(value)
        whole = size >= 100 or float(value).is_integer()
        decimals = 0 if whole else 1 if size >= 10 else 3 if 0.002 <= size < 0.1 else 2
    return _decimal(value, decimals)


def _decimal(value: float, decimals: int) -> str:
    value = round(value, decimals) or 0.0  # avoid -0
    return _written(value, _pattern("#,##0", decimals), locale())


@lru_cache(maxsize=20_000)  # pages repeat numbers: an eighth of their time
def _written(value: float, pattern: str, of: Locale) -> str:
    return _signs(format_decimal(value, pattern, of), of)


@cache
def _pattern(whole: str, decimals: int) -> str:
    return f"{whole}.{'0' * decimals}" if decimals else whole


def _signs(text: str, of: Locale) -> str:
    """Replace Babel's thousands separator and minus sign by those of this module."""
    return text.translate({ord(get_group_symbol(of)): THIN, ord("-"): MINUS})


def measure(value: Any, unit_name: str = "", decimals: int | None = None) -> str:
    """Format a number with its unit. Small numbers are never shown as 0.00: they get one significant
    figure."""
    mark = unit(unit_name)
    if value is None:
        return "–"
    value, mark, decimals = _in_chosen(value, mark, decimals)
    small = decimals is None and isinstance(value, float) and 0.0 < abs(value) < 0.005
    if small:
        decimals = -math.floor(math.log10(abs(value)))
    text = number(value, decimals)
    return f"{text}{HARD}{mark}" if mark else text


def _in_chosen(value: Any, mark: str, decimals: int | None) -> tuple[Any, str, int | None]:
    """Convert to the reader's unit, with fewer decimals for larger numbers."""
    shown, factor, fewer = units.conversion(mark)
    if factor == 1.0 or not isinstance(value, int | float):
        return value, mark, decimals
    return value * factor, shown, None if decimals is None else max(decimals - fewer, 0)


def degrees(value: float | None) -> str:
    """Format a temperature with the decimals it was given with."""
    return "–" if value is None else f"{_signs(format_decimal(value, '0.###', locale()), locale())}{HARD}°C"


def share(value: float | None, decimals: int = 0) -> str:
    """Format a share as a percentage."""
    return "–" if value is None else f"{number(100 * value, decimals)}{HARD}%"


def interval(estimate: dict[str, Any] | None, unit_name: str = "", decimals: int | None = None) -> str:
    """Format a value with its 95 % interval: `3.41 (3.28 to 3.54)`."""
    if not estimate or estimate.get("value") is None:
        return "–"
    value: float = estimate["value"]
    low, high = estimate.get("low"), estimate.get("high")
    if low is None or high is None:
        return measure(value, unit_name, decimals)
    factor = units.conversion(unit(unit_name))[1]
    value, low, high = value * factor, low * factor, high * factor
    unit_name = units.conversion(unit(unit_name))[0]
    places = decimals
    if places is None:
        size = abs(value)
        places = 0 if size >= 100 else 1 if size >= 10 else 2
    return gettext(
        "{value} ({low} to {high})",
        value=measure(value, unit_name, places),
        low=number(low, places),
        high=number(high, places),
    )


def money(value: float | None, currency: str | None, decimals: int | None = None) -> str:
    """Format an amount of money; without a currency, the number."""
    if value is None:
        return "–"
    places = (0 if abs(value) >= 20 else 2) if decimals is None else decimals
    if not currency:
        return number(value, places)
    of = locale()
    pattern = re.sub(r"\.0+", "", of.currency_formats["standard"].pattern)
    pattern = pattern.replace("0", f"0.{'0' * places}") if places else pattern
    value = round(value, places) or 0.0
    text = format_currency(value, currency, pattern, of, currency_digits=False)
    return _LETTERS_BEFORE.sub(HARD, _signs(text, of))


def _date(when: date, form: int) -> str:
    return format_date(when, _DATES[language()][form], locale())


def day(value: str | date | None, *, year: bool = True) -> str:
    """Format a date as 3 Oct 2025."""
    if not value:
        return "–"
    when = date.fromisoformat(value[:10]) if isinstance(value, str) else value
    return _date(when, 0 if year else 1).replace(" ", HARD)


def days_between(first: str | date, last: str | date) -> str:
    """Format a span of days as 1 Oct 2025 to 3 Oct 2025."""
    return gettext("{first} to {last}", first=day(first), last=day(last))


def weekday(when: date) -> str:
    """Format a date with its weekday, as Fri 3 Oct 2025."""
    return f"{format_date(when, 'EEE', locale())} {day(when)}"


def month(value: str) -> str:
    """Format `2026-01` as January 2026."""
    return _date(date.fromisoformat(f"{value[:7]}-01"), 2)


def month_short(value: str) -> str:
    """Format `2026-01` as Jan."""
    return _date(date.fromisoformat(f"{value[:7]}-01"), 3)


def moment(value: datetime | None, zone: str) -> str:
    """Format a time in the site's zone, as 3 Oct 2025, 14:05."""
    if value is None:
        return "–"
    local = value.astimezone(ZoneInfo(zone))
    return f"{day(local.date())}, {local:%H:%M}"


def file_until(newest: datetime, zone: str) -> str:
    """Text on the last local day of a home's files. A reading at midnight belongs to the day before."""
    local = (newest - timedelta(seconds=1)).astimezone(ZoneInfo(zone))
    return f"readings to {day(local.date())}"


def age(then: datetime | None, now: datetime) -> str:
    """Format an age in its largest fitting unit."""
    if then is None:
        return gettext("never")
    ago = max(now - then.astimezone(UTC), timedelta())
    if ago < timedelta(minutes=2):
        return gettext("just now")
    return format_timedelta(-ago, "minute", threshold=2, add_direction=True, locale=locale())


def span(days: int) -> str:
    """Format a number of days in days, weeks or months."""
    if days < 14:
        return ngettext("{n} day", "{n} days", max(days, 1))
    if days < 120:
        return ngettext("{n} week", "{n} weeks", days // 7)
    return ngettext("{n} month", "{n} months", round(days / 30.4))


def duration(minutes: float | None) -> str:
    """Format a duration in a fitting unit: 5 min, 2.5 h, 30 h, 7 days. Below ten hours to the half hour."""
    if minutes is None:
        return "–"
    if minutes < 120.0:
        return measure(minutes, "min", 0)
    if minutes < 600.0:
        halves = int(minutes / 30.0 + 0.5)
        return measure(halves / 2.0, "h", halves % 2)
    if minutes < 2880.0:
        return measure(minutes / 60.0, "h", 0)
    return measure(minutes / 1440.0, "days", 0)


def spacing(minutes: float) -> str:
    """Format a sampling interval, to follow "every": 15 minutes, hour, 4 days."""
    if minutes >= 1440:
        return "day" if minutes == 1440 else f"{minutes / 1440:g} days"
    if minutes >= 60:
        return "hour" if minutes == 60 else f"{minutes / 60:g} hours"
    return "minute" if minutes == 1 else f"{minutes:g} minutes"


def tidy(text: str) -> str:
    """Convert the numbers and dates of a sentence to the formats of this module."""
    text = _ISO_DAY.sub(lambda m: f"{day(m[1])}{f', {m[2]}' if m[2] else ''}", text)
    text = _ISO_MONTH.sub(lambda m: month(m[0]), text)
    text = _EVERY.sub(lambda m: f"every {spacing(float(m[1]))}", text)
    text = text.replace("+-", "±").replace("m3/h", "m³/h").replace("W/m2", "W/m²")
    text = _HYPHEN_MINUS.sub(MINUS, text)
    text = _THOUSANDS.sub(THIN, text)
    text = _CELSIUS.sub(f"{HARD}°C", text)
    text = _PERCENT.sub(f"{HARD}%", text)
    return units.in_sentence(_BEFORE_UNIT.sub(HARD, text))
