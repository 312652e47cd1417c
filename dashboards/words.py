"""Every word and number form on the screens: titles of findings, causes, units, dates, money."""

from __future__ import annotations

import math
import re
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from dashboards.titles import CAUSES, FIGURES, KINDS, LOSSES, POINT_NAMES, SEVERITY_WORDS, TITLES, VISITS

UNITS = {
    "degC": "°C", "celsius": "°C", "m3/h": "m³/h", "W/m2": "W/m²", "kwh": "kWh", "K": "K", "percent": "%", "count": "",
    "1/h": "per hour", "1/day": "a day", "-": "", "kWh/day": "kWh a day", "min": "min", "delta_degC": "K",
}  # fmt: skip
_SIGNS = {"GBP": "£", "EUR": "€", "USD": "$", "JPY": "¥", "INR": "₹"}
_NAMES = re.compile(r"\b(" + "|".join(sorted(POINT_NAMES, key=len, reverse=True)) + r")\b")
_POINTERS = re.compile(r"\b([Ss]ee) (" + "|".join(sorted(TITLES, key=len, reverse=True)) + r")\b")
THIN = "\u202f"


def finding_title(code: str) -> str:
    """A finding's name in plain words."""
    return TITLES.get(code, plain(code))


def cause_words(cause: str) -> str:
    return CAUSES.get(cause, plain(cause))


def loss_words(cause: str) -> str:
    return LOSSES.get(cause, plain(cause))


def severity_words(severity: str | None) -> str:
    return SEVERITY_WORDS.get(severity or "", "In order")


def visit_words(visit: str | None) -> str:
    return VISITS.get(visit or "none", VISITS["none"])


def quantity_words(quantity: str) -> str:
    return POINT_NAMES.get(quantity, plain(quantity))


def kind_words(kind: str) -> str:
    return KINDS.get(kind, plain(kind))


def figure_for(code: str) -> str | None:
    """The figure on which a finding's evidence is drawn."""
    return FIGURES.get(code)


def plain(name: str) -> str:
    """A code as words: `low_flow` is Low flow."""
    text = name.replace("_", " ").strip()
    return text[:1].upper() + text[1:]


def named(text: str | None) -> str:
    """A sentence with the findings it points at by their names on the screen."""
    return _POINTERS.sub(lambda m: f"{m[1]} “{TITLES[m[2]]}”", text or "")


def reason(text: str | None) -> str:
    """A reason with the quantities in it named in plain words."""
    if not text:
        return ""
    told = _NAMES.sub(lambda m: POINT_NAMES[m[0]].lower(), text)
    if told != text and told.startswith("needs ") and not told.startswith("needs readings"):
        told = f"needs readings of {told[6:]}"
    told = named(told)
    return f"{told[:1].upper()}{told[1:]}"


def small_first(text: str) -> str:
    """A sentence to go on in another: its first letter small, units and names as they are."""
    return text[:1].lower() + text[1:]


def unit(name: str | None) -> str:
    return UNITS.get(name or "", name or "")


def number(value: Any, decimals: int | None = None) -> str:
    """A number for reading: thousands parted, three figures unless told otherwise; a dash for none."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return "–"
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if decimals is None:
        size = abs(value)
        decimals = (
            0
            if size >= 100 or float(value).is_integer()
            else 1
            if size >= 10
            else 3
            if 0.002 <= size < 0.1
            else 2
        )
    text = f"{value:,.{decimals}f}"
    if text.startswith("-") and not text.strip("-0.,"):
        text = text[1:]
    return text.replace("-", "−").replace(",", THIN)


def measure(value: Any, unit_name: str = "", decimals: int | None = None) -> str:
    """A number with its unit."""
    mark = unit(unit_name)
    if value is None:
        return "–"
    gap = "" if mark in ("%",) else "\u00a0" if mark else ""
    return f"{number(value, decimals)}{gap}{mark}"


def degrees(value: float | None) -> str:
    """A temperature as it was written down: −2.5 °C, 7 °C."""
    return "–" if value is None else f"{value:g}\u00a0°C".replace("-", "−")


def share(value: float | None, decimals: int = 0) -> str:
    return "–" if value is None else f"{number(100 * value, decimals)}\u00a0%"


def interval(estimate: dict[str, Any] | None, unit_name: str = "", decimals: int | None = None) -> str:
    """A value with its 95 % interval: `3.41 (3.28 to 3.54)`."""
    if not estimate or estimate.get("value") is None:
        return "–"
    value: float = estimate["value"]
    low, high = estimate.get("low"), estimate.get("high")
    text = measure(value, unit_name, decimals)
    if low is None or high is None:
        return text
    places = decimals
    if places is None:
        size = abs(value)
        places = 0 if size >= 100 else 1 if size >= 10 else 2
        text = measure(value, unit_name, places)
    return f"{text} ({number(low, places)} to {number(high, places)})"


def money(value: float | None, currency: str | None, decimals: int | None = None) -> str:
    """An amount in its currency; without one the bare number."""
    if value is None:
        return "–"
    places = (0 if abs(value) >= 20 else 2) if decimals is None else decimals
    text = number(value, places)
    sign = _SIGNS.get(currency or "")
    if sign:
        return f"−{sign}{text[1:]}" if text.startswith("−") else f"{sign}{text}"
    return f"{text}\u00a0{currency}" if currency else text


def day(value: str | date | None, *, year: bool = True) -> str:
    """A date as 3 Oct 2025."""
    if not value:
        return "–"
    when = date.fromisoformat(value[:10]) if isinstance(value, str) else value
    text = f"{when.day}\u00a0{when:%b}"
    return f"{text}\u00a0{when.year}" if year else text


def month(value: str) -> str:
    """`2026-01` as January 2026."""
    when = date.fromisoformat(f"{value[:7]}-01")
    return f"{when:%B} {when.year}"


def month_short(value: str) -> str:
    when = date.fromisoformat(f"{value[:7]}-01")
    return f"{when:%b}"


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
    for size, name in ((1440.0 * 14, ""), (1440.0 * 2, "days"), (120.0, "hours"), (2.0, "minutes")):
        if minutes >= size and name:
            per = {"days": 1440.0, "hours": 60.0, "minutes": 1.0}[name]
            return f"{int(minutes // per)} {name} ago"
        if minutes >= size:
            return f"{int(minutes // (1440 * 7))} weeks ago"
    return "just now"


def since(value: str | None, until: str | None, last: str | None = None) -> str:
    """A finding's span in words: since 3 Oct 2025 (7 weeks), or from to for one that ended."""
    if not value:
        return ""
    if until:
        return f"{day(value)} to {day(until)}, over now"
    if not last:
        return f"since {day(value)}"
    length = (date.fromisoformat(last) - date.fromisoformat(value)).days + 1
    return f"since {day(value)} ({span(length)})"


def span(days: int) -> str:
    """A length of days in words."""
    if days < 14:
        return f"{max(days, 1)} day" + ("s" if days != 1 else "")
    return f"{days // 7} weeks" if days < 120 else f"{round(days / 30.4)} months"


def sure(confidence: float | None) -> str:
    """How sure, as a word and a number."""
    if confidence is None:
        return ""
    word = (
        "nearly certain"
        if confidence >= 0.97
        else "quite sure"
        if confidence >= 0.85
        else "likely"
        if confidence >= 0.65
        else "possible"
    )
    return f"{word}, {100 * confidence:.0f}\u00a0%"


def price_tag(cost: dict[str, Any] | None, currency: str | None) -> str:
    """What a finding costs a year; empty where it has no price."""
    if not cost or not cost.get("electricity_kwh"):
        return ""
    kwh = measure(cost["electricity_kwh"], "kWh", 0)
    if cost.get("money"):
        return f"about {money(cost['money'], currency, 0)} a year ({kwh})"
    return f"about {kwh} a year"


def count(n: int, one: str, many: str | None = None) -> str:
    """`1 home`, `3 homes`."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def listed(items: list[str]) -> str:
    """A, B and C."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}" if items else ""
