"""Numbers, units, money and dates as readers see them: one minus sign, one thousands separator, one form of
date.

Sentences that come from `analysis` are written with plain ASCII numbers and ISO dates; `tidy` brings them to
the same forms.
"""

from __future__ import annotations

import math
import re
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from fieldfare.dashboards.text import units

UNITS = {
    "degC": "°C",
    "celsius": "°C",
    "m3/h": "m³/h",
    "W/m2": "W/m²",
    "kwh": "kWh",
    "K": "K",
    "percent": "%",
    "count": "",
    "1/h": "per hour",
    "1/day": "a day",
    "-": "",
    "kWh/day": "kWh a day",
    "min": "min",
    "delta_degC": "K",
    "bar/week": "bar a week",
    "days/week": "days a week",
    "kWh/year": "kWh a year",
}
_SIGNS = {"GBP": "£", "EUR": "€", "USD": "$", "JPY": "¥", "INR": "₹"}
THIN, HARD, MINUS = "\u202f", "\u00a0", "\u2212"
"""Thousands separator, space between a number and its unit, minus sign (SI Brochure, 9th edition, 5.4)."""

_ISO_DAY = re.compile(r"\b((?:19|20)\d\d)-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])\b")
_ISO_MONTH = re.compile(r"\b((?:19|20)\d\d)-(0[1-9]|1[0-2])\b(?!-)")
_HYPHEN_MINUS = re.compile(r"(?<![\w.\-/)])-(?=\d)")
_THOUSANDS = re.compile(r"(?<=\d),(?=\d{3}(?!\d))")
_PERCENT = re.compile(r"(?<=\d) ?%")
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:°C|K|kWh|kW|W|min|bar|l|h|V|g/kWh|m³/h)\b)")


def unit(name: str | None) -> str:
    """A unit as it is shown."""
    return UNITS.get(name or "", name or "")


def number(value: Any, decimals: int | None = None) -> str:
    """A number for reading: thousands parted, three figures unless told otherwise; a dash for none."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return "–"
    if isinstance(value, str):
        return tidy(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if decimals is None:
        size = abs(value)
        whole = size >= 100 or float(value).is_integer()
        decimals = 0 if whole else 1 if size >= 10 else 3 if 0.002 <= size < 0.1 else 2
    text = f"{value:,.{decimals}f}"
    if text.startswith("-") and not text.strip("-0.,"):
        text = text[1:]
    return text.replace("-", MINUS).replace(",", THIN)


def measure(value: Any, unit_name: str = "", decimals: int | None = None) -> str:
    """A number with its unit. A number other than zero is never shown as 0.00: it gets one significant
    figure."""
    mark = unit(unit_name)
    if value is None:
        return "–"
    value, mark, decimals = _in_chosen(value, mark, decimals)
    small = decimals is None and isinstance(value, float) and 0.0 < abs(value) < 0.005
    text = f"{value:.1g}".replace("-", MINUS) if small else number(value, decimals)
    if small and "e" in text:
        text = f"{value:f}".rstrip("0").replace("-", MINUS)
    return f"{text}{HARD}{mark}" if mark else text


def _in_chosen(value: Any, mark: str, decimals: int | None) -> tuple[Any, str, int | None]:
    """A number and its unit as the reader has chosen it, with fewer decimals where the numbers are larger."""
    shown, factor, fewer = units.conversion(mark)
    if factor == 1.0 or not isinstance(value, int | float):
        return value, mark, decimals
    return value * factor, shown, None if decimals is None else max(decimals - fewer, 0)


def degrees(value: float | None) -> str:
    """A temperature without more decimals than it was given."""
    return "–" if value is None else f"{value:g}{HARD}°C".replace("-", MINUS)


def share(value: float | None, decimals: int = 0) -> str:
    """A share as a percentage."""
    return "–" if value is None else f"{number(100 * value, decimals)}{HARD}%"


def interval(estimate: dict[str, Any] | None, unit_name: str = "", decimals: int | None = None) -> str:
    """A value with its 95 % interval: `3.41 (3.28 to 3.54)`."""
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
    return f"{measure(value, unit_name, places)} ({number(low, places)} to {number(high, places)})"


def money(value: float | None, currency: str | None, decimals: int | None = None) -> str:
    """An amount in its currency; without one the bare number."""
    if value is None:
        return "–"
    places = (0 if abs(value) >= 20 else 2) if decimals is None else decimals
    text = number(value, places)
    sign = _SIGNS.get(currency or "")
    if sign:
        return f"{MINUS}{sign}{text[1:]}" if text.startswith(MINUS) else f"{sign}{text}"
    return f"{text}{HARD}{currency}" if currency else text


def day(value: str | date | None, *, year: bool = True) -> str:
    """A date as 3 Oct 2025."""
    if not value:
        return "–"
    when = date.fromisoformat(value[:10]) if isinstance(value, str) else value
    text = f"{when.day}{HARD}{when:%b}"
    return f"{text}{HARD}{when.year}" if year else text


def month(value: str) -> str:
    """`2026-01` as January 2026."""
    when = date.fromisoformat(f"{value[:7]}-01")
    return f"{when:%B} {when.year}"


def month_short(value: str) -> str:
    """`2026-01` as Jan."""
    return f"{date.fromisoformat(f'{value[:7]}-01'):%b}"


def moment(value: datetime | None, zone: str) -> str:
    """A time in the site's zone, as 3 Oct 2025, 14:05."""
    if value is None:
        return "–"
    local = value.astimezone(ZoneInfo(zone))
    return f"{day(local.date())}, {local:%H:%M}"


def age(then: datetime | None, now: datetime) -> str:
    """How long ago, in the largest fitting unit."""
    if then is None:
        return "never"
    minutes = max((now - then.astimezone(UTC)).total_seconds() / 60.0, 0.0)
    if minutes >= 1440.0 * 14:
        return f"{int(minutes // (1440 * 7))} weeks ago"
    for least, per, name in ((2880.0, 1440.0, "days"), (120.0, 60.0, "hours"), (2.0, 1.0, "minutes")):
        if minutes >= least:
            return f"{int(minutes // per)} {name} ago"
    return "just now"


def span(days: int) -> str:
    """A length of days in words."""
    if days < 14:
        return f"{max(days, 1)} day" + ("s" if days != 1 else "")
    return f"{days // 7} weeks" if days < 120 else f"{round(days / 30.4)} months"


def duration(minutes: float | None) -> str:
    """A length of time in its fitting unit: 5 min, 2.5 h, 30 h, 7 days. Below ten hours to the half hour."""
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


def tidy(text: str) -> str:
    """A sentence with its numbers and dates in the forms of this module."""
    text = _ISO_DAY.sub(lambda m: day(m[0]), text)
    text = _ISO_MONTH.sub(lambda m: month(m[0]), text)
    text = text.replace("+-", "±").replace("m3/h", "m³/h").replace("W/m2", "W/m²")
    text = _HYPHEN_MINUS.sub(MINUS, text)
    text = _THOUSANDS.sub(THIN, text)
    text = _PERCENT.sub(f"{HARD}%", text)
    return units.in_sentence(_BEFORE_UNIT.sub(HARD, text))
