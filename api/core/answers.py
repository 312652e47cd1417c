"""Collect the days, hours and similar homes that `fieldfare.analysis.answers` needs for an answer."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any, Literal

from fieldfare.analysis.errors import InputError, NotAssessed
from fieldfare.analysis.minutes.midnight import local_midnight
from fieldfare.analysis.plant.plausible import BAND, price_trouble
from fieldfare.api.core.local_days import day_of
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.rolling_period import rolling_result
from fieldfare.api.core.service import Service
from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.records.data_protection import refused_sites

if TYPE_CHECKING:
    from fieldfare.analysis.answers.bill import Against, Tariffs
    from fieldfare.analysis.answers.bill_parts import Span
    from fieldfare.analysis.answers.half_hours import PriceSteps
    from fieldfare.analysis.plant.site import Site

QuestionName = Literal["bill", "cold", "hot-water", "noise", "ice"]
QUESTIONS: tuple[QuestionName, ...] = ("bill", "cold", "hot-water", "noise", "ice")
BILL_DAYS = 30
"""Default length of a bill [days]."""
USUAL_DAYS = 28
"""Reference days before a complaint."""
MOST_HOMES = 40
"""Maximum of similar homes: each needs a result of the same days."""
LONGEST_BILL_DAYS = 400
WHOLE_DAY = 0.95
"""Share of the newest day that has passed from which on it counts as over."""


@dataclass(frozen=True)
class Asking:
    """A question, as given by the command, page or API. None: not given.

    against : year, design or homes. hours : local hours from and to. prices : text and name of a CSV of
        prices
    """

    first: date | None = None
    last: date | None = None
    against: Against | None = None
    billed_kwh: float | None = None
    billed_money: float | None = None
    visit_cost: float | None = None
    zone: str | None = None
    hours: tuple[int, int] | None = None
    since: date | None = None
    prices: tuple[str, str] | None = field(default=None, repr=False)


def answer(service: Service, record: SiteRecord, question: str, asking: Asking) -> dict[str, Any]:
    """Answer a question about a site, as JSON-ready codes and values.

    Raises InputError for an unknown question or invalid days, NotAssessed if the readings don't allow an
        answer.
    """
    if question not in QUESTIONS:
        raise InputError(f"unknown question {question!r}; use {', '.join(QUESTIONS)}")
    document = (
        _bill(service, record, asking)
        if question == "bill"
        else _complaint(service, record, question, asking)
    )
    return {"site": record.site.id, **document}


def _bill(service: Service, record: SiteRecord, asking: Asking) -> dict[str, Any]:
    from fieldfare.analysis.answers.bill import bill
    from fieldfare.analysis.answers.bill_parts import PaperBill, costly

    first, last = _days(service, record, _to_a_whole_day(service, record, asking), BILL_DAYS)
    if (last - first).days >= LONGEST_BILL_DAYS:
        raise InputError(f"a bill covers at most {LONGEST_BILL_DAYS} days; {first} to {last} is longer")
    site = service.facts_cache.with_borrowed_weather(record.site)
    now = _span(service, record, first, last)
    earlier = _year_before(first, last)
    against = asking.against or _possible(service, record, earlier)
    steps = _prices(asking)
    _check_prices(site, asking, steps)
    before = tariffs = None
    homes: list[tuple[Site, Span]] = []
    if against == "year":
        start, _ = service.results.span(record)
        if earlier[1] < start:
            raise NotAssessed(
                f"the readings begin on {start}, so there is no year before {first} to "
                "compare with; compare with the design or with homes alike",
                "too_few_days",
            )
        before = _span(service, record, *earlier)
        tariffs = _tariffs(service, record, site, earlier, (first, last), steps)
    elif against == "homes":
        homes = _homes_alike(service, record, first, last)
    paper_bill = PaperBill(asking.billed_kwh, asking.billed_money, asking.visit_cost)
    document = bill(site, now, before, against, homes=homes, tariffs=tariffs, paper_bill=paper_bill)
    period: dict[str, Any] = {"from": f"{first}", "to": f"{last}", "timezone": record.site.timezone}
    period["before"] = {"from": f"{earlier[0]}", "to": f"{earlier[1]}"} if against == "year" else None
    return {
        "question": "bill",
        "period": period,
        **document,
        "homes": len(homes),
        "no_earlier": against == "design" and _possible(service, record, earlier) == "design",
        "costly": costly(rolling_result(service, record, None) or {}),
    }


def _check_prices(site: Site, asking: Asking, steps: PriceSteps | None) -> None:
    """Refuse prices that no home pays, by the rule of a site file's. Raises InputError."""
    import numpy as np  # takes 0.1 s to import; only bills need it

    currency = site.cost.currency if site.cost is not None else ""
    given: list[tuple[str, float]] = []
    if steps is not None:
        given.append(("prices: their median", float(np.median(steps.price))))
    if asking.billed_kwh and asking.billed_money:
        given.append(("billed_money for billed_kwh", asking.billed_money / asking.billed_kwh))
    for name, price in given:
        if trouble := price_trouble(price, currency, BAND):
            raise InputError(f"{name}: {trouble}")


def _to_a_whole_day(service: Service, record: SiteRecord, asking: Asking) -> Asking:
    """The question with its last day; default: the newest complete day, as a bill has no half days."""
    newest = service.store.span(record.site.id)
    if asking.last is not None or newest is None:
        return asking
    today = day_of(newest[1], record.site.zone)
    begins, ends = (local_midnight(record.site, today + timedelta(n)) for n in (0, 1))
    over = newest[1] - begins >= WHOLE_DAY * (ends - begins)
    last = today if over else today - timedelta(1)
    if asking.first is not None:
        last = min(last, asking.first + timedelta(BILL_DAYS - 1))
    usable = last >= max(asking.first or last, day_of(newest[0], record.site.zone))
    return replace(asking, last=last) if usable else asking


def _days(service: Service, record: SiteRecord, asking: Asking, length: int) -> tuple[date, date]:
    """The days in question; by default the newest."""
    start, end = service.results.span(record)
    outside = f"{record.site.id} was read from {start} to {end}; {asking.first or asking.last} lies outside"
    if (asking.first or end) > end or (asking.last or start) < start:
        raise InputError(outside)
    last = asking.last or min(end, asking.first + timedelta(length - 1) if asking.first else end)
    first = asking.first or max(start, last - timedelta(length - 1))
    if first > last:
        raise InputError(f"the period ends before it starts: {first} to {last}")
    return max(first, start), min(last, end)


def _year_before(first: date, last: date) -> tuple[date, date]:
    """The same number of days a year earlier; 29 February becomes the 28th."""
    day = 28 if (first.month, first.day) == (2, 29) else first.day
    begin = first.replace(year=first.year - 1, day=day)
    return begin, begin + (last - first)


def _possible(service: Service, record: SiteRecord, earlier: tuple[date, date]) -> Against:
    """ "year" if there are readings of a year ago, otherwise "design"."""
    start, _ = service.results.span(record)
    return (
        "year"
        if (earlier[1] - max(start, earlier[0])).days >= 0.8 * (earlier[1] - earlier[0]).days
        else "design"
    )


def _span(service: Service, record: SiteRecord, first: date, last: date) -> Span:
    from fieldfare.analysis.answers.bill_parts import Span

    result = service.results.result(record, first, last)
    return Span(service.facts_cache.stored(record.site.id, first, last), result)


def _prices(asking: Asking) -> PriceSteps | None:
    if asking.prices is None:
        return None
    from fieldfare.analysis.answers.half_hours import parse_prices

    return parse_prices(*asking.prices)


def _tariffs(
    service: Service,
    record: SiteRecord,
    site: Site,
    before: tuple[date, date],
    now: tuple[date, date],
    steps: PriceSteps | None,
) -> Tariffs | None:
    """Hourly prices if the site file has bands or a CSV was given, otherwise None."""
    cost = site.cost
    if steps is not None and cost is None:
        raise InputError(
            f"{site.id} needs [cost] with its currency in the site file before prices can be used"
        )
    if cost is None or (steps is None and not cost.band):
        return None
    from fieldfare.analysis.answers.half_hours import minutes_used, tariffs

    day = timedelta(days=1)
    used = [
        minutes_used(site, service.facts_cache.readings(record.site, a - day, b + day), a, b)
        for a, b in (before, now)
    ]
    return tariffs(site, cost, used[0], used[1], steps)


def _homes_alike(service: Service, record: SiteRecord, first: date, last: date) -> list[tuple[Site, Span]]:
    """Other homes of similar floor area with readings of the same days, except those without consent."""
    from fieldfare.analysis.findings.limits import limit_of

    area, widest = record.site.floor_area_m2, limit_of(record.site, "answer_alike_area")
    if area is None:
        raise NotAssessed(
            "needs site.floor_area_m2 in the site file to find homes alike", "missing_in_site_file"
        )
    refused = refused_sites(service, "fleet_learning")
    out: list[tuple[Site, Span]] = []
    for other in service.sites.ids():
        if len(out) >= MOST_HOMES:
            break
        if other == record.site.id or other in refused:
            continue
        found = attempt(other, "compare its bill", partial(_alike, service, other, area, widest, first, last))
        if found is not None and not isinstance(found, Failure):
            out.append(found)
    return out


def _alike(
    service: Service, other: str, area: float, widest: float, first: date, last: date
) -> tuple[Site, Span] | None:
    home = service.sites.get(other)
    floor = home.site.floor_area_m2
    if floor is None or abs(floor / area - 1.0) > widest:
        return None
    try:
        start, end = service.results.span(home)
    except NoReadings:
        return None
    if start > first or end < last:
        return None
    return service.facts_cache.with_borrowed_weather(home.site), _span(service, home, first, last)


def _complaint(service: Service, record: SiteRecord, question: str, asking: Asking) -> dict[str, Any]:
    from fieldfare.analysis.answers.complaint import USUAL_DAYS as NAMED_DAYS
    from fieldfare.analysis.answers.complaint import USUAL_HOURS, complaint
    from fieldfare.analysis.answers.hours import Question, hours_of

    first, last = _days(service, record, asking, NAMED_DAYS[question])
    begin, end = asking.hours or USUAL_HOURS[question]
    details = Question(asking.zone or None, begin, end, asking.since)
    earlier = min(first, asking.since or first)
    start, _ = service.results.span(record)
    day = timedelta(days=1)
    usual_from = max(start, earlier - timedelta(USUAL_DAYS))
    service.facts_cache.update(record.site, usual_from, last)
    facts = service.facts_cache.stored(record.site.id, usual_from, last)
    site = service.facts_cache.with_borrowed_weather(record.site)
    readings = service.facts_cache.readings(record.site, first - day, last + day)
    result = rolling_result(service, record, None)
    hours = hours_of(
        site,
        readings,
        facts.between(first, last),
        facts.between(usual_from, earlier - day),
        result or {},
        details,
        first,
        last,
    )
    period = {"from": f"{first}", "to": f"{last}", "timezone": record.site.timezone}
    document = {"question": question, "period": period, **complaint(question, hours)}
    # Days asked about that nobody read: what is told is of the days before them.
    unread = asking.last is not None and asking.last > last
    return document | ({"unread_after": f"{last}"} if unread else {})
