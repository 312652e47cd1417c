"""Why a bill is high: the difference to last year, design or similar homes, split exactly by cause."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.answers.bill_game import Levels, Prices, shares
from fieldfare.analysis.answers.bill_parts import (
    PaperBill,
    Span,
    ask,
    away,
    billed,
    cooling_apart,
    described,
    distrusted,
    groups,
    seen,
    shared_heat,
    splits_nothing,
    undetermined_by_sources,
    whole,
    why,
    why_now,
)
from fieldfare.analysis.answers.bill_reference import design_side, homes_side
from fieldfare.analysis.answers.bill_side import (
    DRAWS,
    Daily,
    House,
    Metering,
    UnitEfficiency,
    around,
    daily_of,
    houses_of,
    metering_of,
    of_heating,
    performance_of,
    rest_power,
    standing_loss,
)
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]
Against = Literal["year", "design", "homes"]
AGAINST: tuple[Against, ...] = ("year", "design", "homes")


@dataclass(frozen=True)
class Tariffs:
    """Mean prices [money/kWh] of both sides' electricity at both sides' tariffs, where prices change by
    the hour.

    before_then : the earlier electricity at its own prices; now_then : the electricity now at the earlier
    prices
    """

    before_then: float
    before_now: float
    now_then: float
    now_now: float


@dataclass
class _Case:
    """Inputs of the split. levels : (before, now). scale : possible true heat over metered heat, unseen :
    possible effect of wind and sky on the need of the later span, by draw
    true heat, unseen : what wind and sky
    may add to the need of the later span, by draw"""

    metering: Metering
    days: int
    levels: tuple[Levels, Levels]
    scale: Floats
    unseen: Floats
    undetermined: list[dict[str, str]] = field(default_factory=list)


def bill(
    site: Site,
    now: Span,
    before: Span | None,
    against: Against,
    *,
    homes: Sequence[tuple[Site, Span]] = (),
    tariffs: Tariffs | None = None,
    paper_bill: PaperBill | None = None,
) -> dict[str, Any]:
    """Split the difference between two bills into causes.

    now : the span asked about. before : the same span a year ago, for `year`. homes : homes alike, for
    `homes`
    Returns a JSON-ready document: `difference`, `parts` in kWh and money with 95 % intervals, whose each
    part is, the
    findings that explain it, what mending takes, and what to ask. Raises NotAssessed where no split can be
    made.
    Method: see `bill_game`; intervals from draws of every fitted line, sensor and meter.
    """
    rng = np.random.default_rng(20)  # deterministic
    spans = [now] if before is None or against != "year" else [before, now]
    if any(s.result["energy"]["electricity_kwh"]["total"] is None for s in spans):
        return distrusted(site, spans, against, paper_bill or PaperBill())
    if splits_nothing(site):
        return shared_heat(site, spans, against, paper_bill or PaperBill())
    case = _year(site, spans, rng) if against == "year" else _other(site, now, against, homes, rng)
    prices = None if site.pv is not None else _prices(site, spans, tariffs)
    parts, totals = _split(case, prices)
    causes = why(site, spans) if len(spans) == 2 else why_now(site, now)
    document = {
        "question": "bill",
        "against": against,
        "told_by": case.metering,
        "days": case.days,
        "currency": site.cost.currency if site.cost else None,
        **totals,
        "parts": [described(site, p, spans, totals, paper_bill or PaperBill()) for p in parts],
        "why": whole(causes, parts),
        "seen": seen(site, spans, _rooms_c(case)),
        "away": away(site, spans),
        "untold": case.undetermined
        + undetermined_by_sources(site, has_prices=prices is not None)
        + cooling_apart(spans),
    }
    document["groups"] = groups(document["parts"])
    document["billed"] = billed(document, paper_bill or PaperBill())
    document["ask"] = ask(document)
    return document


def _year(site: Site, spans: list[Span], rng: np.random.Generator) -> _Case:
    if len(spans) < 2:
        raise NotAssessed(
            "needs readings of the same days a year ago; compare with the design or with homes alike instead",
            "too_few_days",
        )
    metering = _usable_metering(site, spans)
    rests_w = [rest_power(s.facts.days) for s in spans]
    whole_share = limit_of(site, "answer_whole_day")
    sides = [
        # A unit that hardly rests shows no rest draw: then the other side's stands for it.
        daily_of(site, s.facts.days, metering, whole_share, rest if np.isfinite(rest) else other)
        for s, rest, other in zip(spans, rests_w, reversed(rests_w), strict=True)
    ]
    fewest = limit_of(site, "answer_fewest_days")
    for span, (daily, _) in zip(spans, sides, strict=True):
        if len(daily) < fewest:
            raise NotAssessed(f"{_too_few(span.facts.days, fewest, len(daily))} on one side", "too_few_days")
    dailies = (sides[0][0], sides[1][0])
    step_doubt = float(np.hypot(limit_of(site, "answer_unseen_weather"), limit_of(site, "answer_heat_drift")))
    houses = houses_of(dailies, metering, limit_of(site, "answer_line_doubt"), step_doubt, rng)
    performance = [_performance(dailies, use, site, metering, rng) for use in ("space", "water")]
    rooms = [_room(site, d, houses[i], rng, i) for i, d in enumerate(dailies)]
    losses_a_day = _losses(site, spans, metering, rng)
    n = len(spans[1].facts.days)
    levels = tuple(
        Levels.of(
            daily,
            houses[i].drifted(rooms[i]) if metering == "heat" else houses[i],
            rooms[i],
            performance[0],
            performance[1],
            i,
            losses_a_day[i],
            *_full_and_unread(site, span.facts.days, known, daily, rng),
            limit_of(site, "answer_use_doubt"),
            rng,
        )
        for i, (span, (daily, known)) in enumerate(zip(spans, sides, strict=True))
    )
    case = _Case(
        metering,
        n,
        (levels[0], levels[1]),
        _scale(site, metering, rng),
        around(1.0, limit_of(site, "answer_unseen_weather"), rng),
    )
    case.undetermined = _undetermined_parts(
        site, metering, houses[1], performance[0], losses_a_day[0] is not None
    )
    return case


def _other(
    site: Site, now: Span, against: Against, homes: Sequence[tuple[Site, Span]], rng: np.random.Generator
) -> _Case:
    """Compare with the design or similar homes, in the weather of these days."""
    mine = measured_alone(site, now, rng)
    metering, daily, house = mine.metering, mine.daily, mine.house
    if against == "design":
        before = design_side(site, daily, len(now.facts.days), metering, rng)
    else:
        others = [measured_alone(s, span, rng) for s, span in homes]
        before = homes_side(
            site,
            daily,
            [(s, o) for (s, _), o in zip(homes, others, strict=True)],
            metering,
            int(limit_of(site, "answer_fewest_homes")),
            rng,
        )
    doubt = limit_of(site, "answer_use_doubt")
    levels = Levels.of(
        daily, house, mine.room, mine.space, mine.water, 0, mine.loss, mine.full, mine.unread, doubt, rng
    )
    case = _Case(metering, len(now.facts.days), (before, levels), _scale(site, metering, rng), np.ones(DRAWS))
    case.undetermined = _undetermined_parts(site, metering, house, mine.space, mine.loss is not None)
    return case


@dataclass(frozen=True)
class Alone:
    """One home's span by itself, float64 (d,) in draws where they are uncertain."""

    metering: Metering
    daily: Daily
    house: House
    room: Floats
    space: UnitEfficiency | None
    water: UnitEfficiency | None
    loss: Floats | None
    full: Floats
    unread: Floats


def measured_alone(site: Site, span: Span, rng: np.random.Generator) -> Alone:
    """Evaluate a single span. Raises NotAssessed with too few whole days."""
    metering = _usable_metering(site, [span])
    days = span.facts.days
    daily, known = daily_of(site, days, metering, limit_of(site, "answer_whole_day"), rest_power(days))
    fewest = limit_of(site, "answer_fewest_days")
    if len(daily) < fewest:
        raise NotAssessed(_too_few(span.facts.days, fewest, len(daily)), "too_few_days")
    (house,) = houses_of((daily,), metering, limit_of(site, "answer_line_doubt"), 0.0, rng)
    loss = _losses(site, [span], metering, rng)[0]
    return Alone(
        metering,
        daily,
        house,
        _room(site, daily, house, rng, 1),
        _performance((daily,), "space", site, metering, rng),
        _performance((daily,), "water", site, metering, rng),
        loss,
        *_full_and_unread(site, span.facts.days, known, daily, rng),
    )


def _too_few(days: Table, fewest: float, found: int) -> str:
    """Missing data of the days for a split."""
    if not days.knows("outdoor"):
        return (
            "needs outdoor_temperature, its own or a weather station's: without it the weather can't be"
            " told apart"
        )
    since = f" from {days.day(0)} on" if len(days) else ""
    return f"needs {fewest:g} days read as a whole, electricity and outdoor temperature, has {found}{since}"


def _usable_metering(site: Site, spans: Sequence[Span]) -> Metering:
    metering = metering_of(site, *(s.facts.days for s in spans))
    distrusted = any(s.result["energy"]["heat_kwh"]["total"] is None for s in spans)
    return "use" if metering == "heat" and distrusted else metering


def _performance(
    dailies: tuple[Daily, ...],
    use: Literal["space", "water"],
    site: Site,
    metering: Metering,
    rng: np.random.Generator,
) -> UnitEfficiency | None:
    return (
        performance_of(dailies, use, limit_of(site, "answer_heat_drift"), rng) if metering == "heat" else None
    )


def _scale(site: Site, metering: Metering, rng: np.random.Generator) -> Floats:
    return around(1.0, limit_of(site, "answer_heat_error") if metering == "heat" else 0.0, rng)


def _room(site: Site, daily: Daily, house: House, rng: np.random.Generator, side: int) -> Floats:
    """Mean room temperature of heating days; a sensor's drift applies to one side."""
    if not house.has_room:
        return np.zeros(DRAWS)
    heating = (daily.space > 0.1 * float(np.quantile(daily.space, 0.9))) & np.isfinite(daily.room)
    mean = float(daily.room[heating].mean()) if heating.any() else float(np.nanmean(daily.room))
    return around(mean, limit_of(site, "answer_room_drift_k") if side else 0.0, rng)


def _rooms_c(case: _Case) -> list[float]:
    """Rooms on heated days of each side [°C], nan where they are not read."""
    return [float(level.room[0]) if level.house.has_room else float("nan") for level in case.levels]


def _losses(
    site: Site, spans: Sequence[Span], metering: Metering, rng: np.random.Generator
) -> list[Floats | None]:
    """Daily standing loss of each span; None for all if it is unknown for one."""
    found = [standing_loss(site, s.facts) if metering == "heat" else None for s in spans]
    if any(f is None for f in found):
        return [None] * len(found)
    return [around(f, limit_of(site, "answer_loss_change") * f, rng) for f in found if f is not None]


def _full_and_unread(
    site: Site, days: Table, known: NDArray[np.bool_], daily: Daily, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Electricity a day of all days, of which those that nobody read count as like ones; and of it what
    was not counted."""
    counted = float(np.nansum(of_heating(days))) / max(len(days), 1)
    blind = float((~known & ~np.isfinite(days.floats("outdoor"))).mean())
    partly = float((~known).mean()) - blind
    doubt = limit_of(site, "answer_unread_day") * partly + limit_of(site, "answer_unread_blind") * blind
    full = around(daily.full, doubt * daily.full, rng)
    return full, full - counted if partly + blind > 0.0 else np.zeros(DRAWS)


def _undetermined_parts(
    site: Site, metering: Metering, house: House, space: UnitEfficiency | None, has_loss: bool
) -> list[dict[str, str]]:
    out = []
    if not house.has_room:
        is_read = site.measures("room_temperature")
        out.append({"part": "rooms", "reason": "too_few_heated" if is_read else "no_room_sensor"})
    if metering == "total":
        out.append({"part": "hot_water", "reason": "uses_not_told"})
    if space is None:
        out.append(
            {"part": "efficiency", "reason": "no_heat_meter" if metering != "heat" else "too_few_days"}
        )
    if site.hot_water is not None and not has_loss:
        out.append({"part": "cylinder_loss", "reason": "no_standing_time"})
    return out


def _prices(site: Site, spans: Sequence[Span], tariffs: Tariffs | None) -> Prices | None:
    """Mean prices and daily standing charges, before and now; today's on both sides for design or homes."""
    cost = site.cost
    if cost is None:
        return None
    each = []
    for span in spans:
        days = span.facts.days
        both = days.where(np.isfinite(days.floats("money")) & (days.floats("electricity_total_kwh") > 0.0))
        used = both.total("electricity_total_kwh") if len(both) else 0.0
        if used <= 0.0 and tariffs is None:
            return None
        standing = float(np.mean([cost.on(days.day(i)).standing_charge_per_day for i in range(len(days))]))
        each.append((both.total("money") / used if used > 0.0 else float("nan"), standing))
    then, current = each[0], each[-1]
    if tariffs is not None:
        return Prices(
            tariffs.before_then, tariffs.before_now, tariffs.now_then, tariffs.now_now, then[1], current[1]
        )
    return Prices(then[0], current[0], then[0], current[0], then[1], current[1])


def _split(case: _Case, prices: Prices | None) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    kwh, money, totals = shares(case.levels, case.days, prices, case.scale, case.unseen)
    parts = [
        {
            "code": code,
            "kwh": _estimate(kwh[code]) if code in kwh else {"value": 0.0, "low": 0.0, "high": 0.0},
            "money": _estimate(money[code]) if money else None,
        }
        for code in money or kwh
    ]
    return parts, totals


def _estimate(draws: Floats) -> dict[str, float]:
    """The value is the first draw's; the interval holds 95 % of the draws and the value."""
    low, high = np.quantile(draws, (0.025, 0.975))
    value = float(draws[0])
    return {"value": value, "low": min(float(low), value), "high": max(float(high), value)}
