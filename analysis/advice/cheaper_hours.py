"""The cheapest hour to charge the cylinder, and expensive hours without heating."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.advice.heating_days import heating_days
from fieldfare.analysis.advice.room_response import room_response
from fieldfare.analysis.advice.set_back import cooling_rate
from fieldfare.analysis.advice.shared import lacking, no_rooms
from fieldfare.analysis.answers.hot_water import KWH_PER_LITRE_40
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.cost import TariffBand
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.what_if import a_year, answer, local_minute, share_inside

Floats = NDArray[np.float64]

_DAY_HOURS = range(10, 17)  # warmest air, and after the morning's draws (common practice)


@dataclass(frozen=True)
class BestHour:
    """hour_now : local hour in which most charges begin. hour : best hour. saves [kWh]
    money : saved where prices differ by the hour"""

    hour_now: int
    hour: int
    saves: Estimate
    money: Estimate | None
    caution: str


def best_charging_hour(site: Site, facts: Facts, result: dict[str, Any]) -> BestHour:
    """The hour that saves most: money if prices differ by the hour, else electricity. Raises NotAssessed."""
    water = site.hot_water
    if water is None:
        raise NotAssessed("the system makes no hot water", "not_applicable")
    if not len(facts.reheats):
        raise NotAssessed("no reheat of the cylinder was seen", "too_few_days")
    _holds_a_day(site, result)
    bands = _band_hours(site)
    tried = []
    for hour in dict.fromkeys((*bands, *_DAY_HOURS)):
        try:
            document = answer(site, facts, result, "hot_water_hour", hour)
        except NotAssessed:
            continue
        tried.append((_worth(document, by_money=bool(bands)), hour, document))
    if not tried:
        raise NotAssessed(lacking(site, "outdoor_temperature", "heat_pump_electricity"), "missing_quantity")
    _, hour, document = max(tried, key=lambda t: t[:2])
    begun = np.bincount(local_minute(site, facts.reheats) // 60, minlength=24)
    return BestHour(
        int(begun.argmax()),
        hour,
        Estimate(*(document["saves_kwh"][k] for k in ("value", "low", "high"))),
        Estimate(*(document["saves_money"][k] for k in ("value", "low", "high"))) if bands else None,
        document["caution"],
    )


def _worth(document: Mapping[str, Any], *, by_money: bool) -> float:
    value = document["saves_money" if by_money else "saves_kwh"].get("value")
    return -np.inf if value is None else float(value)


def _holds_a_day(site: Site, result: Mapping[str, Any]) -> None:
    """Raise NotAssessed unless a full cylinder holds a day's draws."""
    water = result.get("hot_water") or {}
    litres, drawn = water.get("litres_at_40c_when_full"), water.get("heat_kwh_per_day")
    if litres is None or drawn is None:
        raise NotAssessed(
            "needs cylinder_temperature and the hot water's heat, to know whether one charge lasts a day",
            "missing_quantity",
        )
    if litres * limit_of(site, "advice_cylinder_gives") < drawn / KWH_PER_LITRE_40:
        raise NotAssessed(
            "a full cylinder does not hold a day's hot water: one charge a day is too few", "not_applicable"
        )


def _band_hours(site: Site) -> tuple[int, ...]:
    """First hours of the cheapest band; none if prices do not differ."""
    bands = site.cost.band if site.cost is not None else ()
    if not bands:
        return ()
    cheapest = min(b.price for b in bands)
    return tuple(b.start.hour for b in bands if b.price == cheapest)


@dataclass(frozen=True)
class DearHours:
    """from_hour, hours : of the expensive band without heating. room : mean fall in it [K]
    money : saved over the days"""

    from_hour: int
    hours: float
    room: Estimate
    money: Estimate


def dear_hours(site: Site, facts: Facts, result: Mapping[str, Any]) -> DearHours:
    """Whether rooms stay within the comfort limit while heating pauses in the most expensive band. Raises
    NotAssessed.

    The heat is made in the other hours instead; what is saved is the difference of price. A rest that needs
    the direct heater afterwards is not counted.
    """
    band, other, hours = _dearest(site)
    days = heating_days(site, facts, result)
    response = room_response(site, days, result)
    if not response.known:
        raise NotAssessed(no_rooms(site), "missing_quantity")
    rate, doubt = cooling_rate(site, facts, days)
    cold_rate = rate * float(np.quantile(days.load_kw, 0.95) / np.median(days.load_kw))
    fall = rate * hours
    if cold_rate * hours > limit_of(site, "advice_rest_fall_k"):
        raise NotAssessed(
            f"rooms would fall by {cold_rate * hours:.1f} K in the dear hours of a cold day", "not_applicable"
        )
    at = local_minute(site, facts.runs)
    inside = [h % 24 for h in range(band.start.hour, band.start.hour + round(hours))]
    share = share_inside(at // 60, at % 60, facts.runs.floats("minutes"), inside)
    kwh = float(np.sum(np.nan_to_num(facts.runs.floats("electricity")) * share)) * a_year(facts.days)
    money = kwh * (band.price - other)
    least = limit_of(site, "advice_rest_kept")
    return DearHours(
        band.start.hour,
        hours,
        Estimate.around(fall / 2.0, fall / 2.0 * doubt, 0.0),
        Estimate(money * (1.0 + least) / 2.0, money * least, money),
    )


def _dearest(site: Site) -> tuple[TariffBand, float, float]:
    """The most expensive band of limited length, the mean price of the others, and its length [h]."""
    cost = site.cost
    bands = cost.band if cost is not None else ()
    if not bands:
        raise NotAssessed("prices do not differ by the hour", "not_applicable")
    flat = cost.newest.electricity if cost is not None else None
    band = max(bands, key=lambda b: b.price)
    others = [b.price for b in bands if b is not band] + ([flat] if flat is not None else [])
    length = ((band.end.hour - band.start.hour) % 24) or 24
    if not others or band.price <= max(others):
        raise NotAssessed("no band is dearer than the rest", "not_applicable")
    if length > limit_of(site, "advice_rest_hours"):
        raise NotAssessed("the dear hours are too long to sit out", "not_applicable")
    return band, float(np.mean(others)), float(length)
