"""The winter check's sheet: checks from data and the forecast, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.verdict import given_verdict
from fieldfare.analysis.reports.winter import Check, Number, winter_checks
from fieldfare.analysis.reports.winter_forecast import WinterForecast, forecast
from fieldfare.dashboards.rows.days import Row
from fieldfare.dashboards.text import words

TITLES = {
    "design_day": "Will it hold the design day?",
    "curve": "Heating curve",
    "water": "Water flow and circuit pressure",
    "defrost": "Defrosting",
    "hot_water": "Hot water and disinfection",
    "backup": "Back-up heat and frost protection",
    "sensors": "Sensors and meters",
    "cycling": "Running at mild load",
    "controls": "Controls and zones",
    "efficiency": "Efficiency",
}
MARKS = {
    "in order": "fine",
    "attention": "watch",
    "not in order": "act",
    "can't tell": "note",
    "does not apply": "note",
}
WORDS = {
    "in order": "In order",
    "attention": "Attention",
    "not in order": "Not in order",
    "can't tell": "Can't tell",
    "does not apply": "Does not apply",
}


class SheetLine(NamedTuple):
    """A check as a row of the sheet."""

    key: str
    title: str
    verdict: str
    word: str
    mark: str
    says: str
    numbers: list[dict[str, str]]
    unanswered: list[str]


def sheet(site: Site, result: Mapping[str, Any], rows: list[Row]) -> dict[str, Any]:
    """Contents of the winter check: lines, forecast and the home's verdict."""
    checks = winter_checks(site, result, rows)
    given = given_verdict(result)
    return {
        "lines": [_line(c, site) for c in checks],
        "forecast": forecast(site, result, rows),
        "given": given,
        "counts": {word: sum(c.verdict == v for c in checks) for v, word in WORDS.items()},
    }


def _line(check: Check, site: Site) -> SheetLine:
    says = words.reason(check.says)
    by_reason: dict[str, list[str]] = {}
    known = check.verdict != "can't tell"  # else the single reason is shown already
    for text in check.unanswered if known or len(check.unanswered) > 1 else ():
        code, _, reason = text.partition(": ")
        by_reason.setdefault(words.reason(reason), []).append(words.finding_title(code))
    unanswered = [
        f"{words.listed([titles[0], *map(words.small_first, titles[1:])])}: {reason}"
        for reason, titles in by_reason.items()
    ]
    return SheetLine(
        check.key,
        TITLES[check.key],
        check.verdict,
        WORDS[check.verdict],
        MARKS[check.verdict],
        says,
        [_number(n, site) for n in check.numbers],
        unanswered,
    )


def _number(n: Number, site: Site) -> dict[str, str]:
    if isinstance(n.value, str) and n.value[:2] == "20":
        value = words.day(n.value)
    elif n.low is not None:
        value = words.interval({"value": n.value, "low": n.low, "high": n.high}, n.unit)
    else:
        value = words.quantity(n.value, n.unit)
    limit = words.quantity(n.limit, n.unit) if n.limit is not None else ""
    if limit == value:
        value, limit = words.apart(n.value, n.limit, n.unit)
    side = ""
    if limit and n.side and isinstance(n.value, int | float) and n.limit is not None:
        passed = words.passes(n.value, n.limit, n.side)
        side = f"trouble {n.side}" if passed else f"within its limit, trouble {n.side}"
    source = _limit_source(n.limit_name, site) if n.limit_name else n.source
    return {
        "label": words.named(n.label),
        "value": value,
        "limit": limit,
        "side": side,
        "source": words.named(source) if limit else "",
    }


def _limit_source(limit_name: str, site: Site) -> str:
    """Source of a finding's limit: the site file, or the limits table without remarks for developers."""
    if limit_name in site.limits:
        return "this site's own limit"
    return words.without_remarks(LIMITS[limit_name].source) if limit_name in LIMITS else ""


def forecast_words(f: WinterForecast, currency: str | None, output: str) -> list[tuple[str, str]]:
    """The forecast winter as names and values, with reasons for missing values. output : source of the
    output"""

    def interval(e: Any, unit: str, decimals: int = 0) -> str:
        return words.interval(e.__dict__, unit, decimals) if e else words.reason(e.reason)

    def paid(e: Any, decimals: int = 0) -> str:
        if not e:
            return words.reason(e.reason)
        return (
            f"{words.money(e.value, currency, decimals)} ({words.money(e.low, currency, decimals)} to"
            f" {words.money(e.high, currency, decimals)})"
        )

    rows = [
        ("Heat to the rooms", interval(f.heat_kwh, "kWh")),
        ("Electricity, rooms and hot water", interval(f.electricity_kwh, "kWh")),
        ("Cost, standing charge included", paid(f.cost)),
    ]
    if f.degree_days:
        rows.append(
            ("Weather", f"{words.measure(f.degree_days, 'K d', 0)} to the house's own base; {f.weather}")
        )
    if f.coldest is not None:
        c = f.coldest
        rows += [
            (f"Coldest day, {words.degrees(c.outdoor_c)} outdoors: load", interval(c.load_kw, "kW", 1)),
            (f"Output then, {output}", interval(c.output_kw, "kW", 1)),
            (
                "Back-up heat needed",
                "none" if c.backup_kwh.value == 0 else interval(c.backup_kwh, "kWh a day", 0),
            ),
            (
                "Electricity on that day",
                (
                    f"{interval(c.electricity_kwh, 'kWh', 0)}, {paid(c.cost, 2)}"
                    if c.cost
                    else interval(c.electricity_kwh, "kWh", 0)
                ),
            ),
        ]
        if c.flow_c is not None:
            rows.insert(-2, ("Flow temperature then", words.measure(c.flow_c, "°C", 0)))
    return rows
