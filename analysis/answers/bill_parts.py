"""The parts of a bill as a document: responsibility, explanation, remedy and open questions of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldfare.analysis.answers.bill_codes import ASKED, PART_FINDINGS, WHOSE
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.losses import losses
from fieldfare.analysis.figures.sums import known_sum
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.costs import costs_once
from fieldfare.analysis.reports.verdict import is_standing


@dataclass(frozen=True)
class Span:
    """Facts and result document of one span of days of one home."""

    facts: Facts
    result: Mapping[str, Any]


@dataclass(frozen=True)
class PaperBill:
    """What the caller's paper bill says, and what a visit costs the firm's customer; None where it is not
    known.

    billed_kwh [kWh], billed_money : of the whole house's meter, for the same days. visit_cost : money
    """

    billed_kwh: float | None = None
    billed_money: float | None = None
    visit_cost: float | None = None


_FEWEST_REHEATS = 5  # of a side, for their usual end (common practice)


def described(
    site: Site, part: dict[str, Any], spans: Sequence[Span], totals: dict[str, Any], paper_bill: PaperBill
) -> dict[str, Any]:
    """A part with whose it is, the findings that explain it, what mending takes, and whether it is worth a
    word."""
    now = spans[-1]
    codes = PART_FINDINGS.get(part["code"], ())
    open_ = [f for f in now.result["findings"] if f["code"] in codes and is_standing(f)]
    unit = "money" if part["money"] is not None else "kwh"
    least = limit_of(site, "answer_part_told") * abs(totals["before"][unit])
    figure = part[unit]
    distinguished = abs(figure["value"]) >= least and (figure["low"] > 0.0 or figure["high"] < 0.0)
    whose = _whose(site, part["code"], spans)
    mend = (
        _mend(part, open_[0], len(now.facts.days), paper_bill)
        if open_ and part["kwh"]["value"] > 0.0
        else None
    )
    return {
        **part,
        "whose": whose,
        "told": bool(distinguished),
        "findings": [f["code"] for f in open_],
        "mend": mend,
    }


def _whose(site: Site, code: str, spans: Sequence[Span]) -> str:
    if code == "rooms" and _unasked(site, spans):
        return "system"
    if code == "hot_water" and site.other_heat_for("hot_water"):
        return "rest"  # less sun, or a boiler off, looks the same as more water drawn
    return WHOSE[code]


def _mend(
    part: dict[str, Any], finding: Mapping[str, Any], days: int, paper_bill: PaperBill
) -> dict[str, Any]:
    """Repair of a part; pays_back_days if a visit's price is given and the part costs money."""
    money = part["money"]["value"] if part["money"] else None
    pays = (
        paper_bill.visit_cost / (money / days)
        if paper_bill.visit_cost and finding["visit"] == "drive" and money and money > 0.0
        else None
    )
    return {
        "visit": finding["visit"],
        "finding": finding["code"],
        "bring": list(finding["bring"]),
        "pays_back_days": pays,
    }


def _unasked(site: Site, spans: Sequence[Span]) -> bool:
    """Whether rooms became warmer than set: a curve set too high, or a thermostat that does not close.

    With one span the design's indoor temperature stands for both room and target before.
    """

    def mean(span: Span, name: str) -> float:
        return span.facts.days.mean(name) if span.facts.days.knows(name) else float("nan")

    room, target = ([mean(s, n) for s in spans] for n in ("room", "target"))
    if len(spans) < 2:
        room, target = ([site.design.indoor_c, *each] for each in (room, target))
    room_rise, target_rise = room[1] - room[0], target[1] - target[0]
    return bool(np.isfinite(room_rise + target_rise) and room_rise > 0.0 and target_rise < 0.5 * room_rise)


def seen(site: Site, spans: Sequence[Span], rooms_c: Sequence[float]) -> list[dict[str, Any]]:
    """What the readings show of settings on both sides, where they differ: rows of code, before and now.

    rooms_c : mean of the rooms on heated days of each side [°C], nan where not read
    """
    if len(spans) < 2:
        return []
    found = {
        "room_c": (rooms_c, limit_of(site, "answer_seen_room_k")),
        "hot_water_c": ([_full_c(span.facts) for span in spans], limit_of(site, "answer_seen_water_k")),
    }
    return [
        {"code": code, "before": float(before), "now": float(now)}
        for code, ((before, now), least) in found.items()
        if abs(now - before) >= least
    ]


def _full_c(facts: Facts) -> float:
    """Usual cylinder temperature at the end of a whole reheat [°C]; nan with too few."""
    reheats = facts.reheats
    whole = reheats.floats("to_c")[~reheats["cut"].astype(bool)] if len(reheats) else np.empty(0)
    whole = whole[np.isfinite(whole)]
    return float(np.median(whole)) if len(whole) >= _FEWEST_REHEATS else float("nan")


def away(site: Site, spans: Sequence[Span]) -> dict[str, int | None]:
    """Days of each span on which nobody was at home; before is None where only one span is known."""
    days = [_away_days(span) for span in spans]
    least = limit_of(site, "answer_away_days")
    days = [n if n >= least else 0 for n in days]
    return {"before": days[0] if len(days) == 2 else None, "now": days[-1]}


def _away_days(span: Span) -> int:
    stretches = [r for r in span.result.get("recognised", ()) if r["kind"] == "away"]
    named = (span.facts.days.day(i).isoformat() for i in range(len(span.facts.days)))
    return sum(any(r["since"] <= day <= r["until"] for r in stretches) for day in named)


def costly(result: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Open findings of a home's standing result that cost electricity, the dearest first: rows of finding,
    electricity_kwh and money (None without prices) a year. What one explains of another counts once."""
    open_ = [f for f in result.get("findings", ()) if is_standing(f)]
    money = {id(f): value for f, value in costs_once(open_, "money")}
    rows = [
        {"finding": f["code"], "electricity_kwh": kwh, "money": money.get(id(f))}
        for f, kwh in costs_once(open_)
    ]
    return sorted(rows, key=lambda row: -row["electricity_kwh"])


def groups(parts: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Sums of parts by owner: household, system, price."""
    out = []
    for whose in ("weather", "household", "system", "house", "price", "data", "rest"):
        mine = [p for p in parts if p["whose"] == whose]
        if mine:
            money = None if any(p["money"] is None for p in mine) else sum(p["money"]["value"] for p in mine)
            out.append({"whose": whose, "kwh": sum(p["kwh"]["value"] for p in mine), "money": money})
    return out


def whole(causes: list[dict[str, Any]], parts: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The causes of a changed efficiency and, as `unexplained`, what is left of its part [kWh]: they add up
    to the part. Causes are counted from the rating, the part from the other side of the comparison."""
    part = next((p["kwh"]["value"] for p in parts if p["code"] == "efficiency"), None)
    if not causes or part is None:
        return causes
    known = [c for c in causes if c["cause"] != "unexplained"]
    left = part - sum(c["kwh"] for c in known)
    return [*known, {"cause": "unexplained", "kwh": left, "low": None, "high": None}]


def why(site: Site, spans: list[Span]) -> list[dict[str, Any]]:
    """What changed in the way from the rating to the meter [kWh], at the heat of now."""
    before, now = (losses(site, s.facts) for s in spans)
    if not before or not now:
        return []
    heat = [max(s.facts.days.total("heat_total_kwh"), 1e-9) for s in spans]
    scale = heat[1] / heat[0]
    out = []
    for a, b in zip(before, now, strict=True):
        if b.cause in ("hot_water", "direct_electric_heat", "pumps_and_standby"):
            continue
        value = b.electricity_kwh - a.electricity_kwh * scale
        row = {"cause": b.cause, "kwh": value, "low": None, "high": None}
        if (
            b.cause != "unexplained"
        ):  # its interval is the rating's and the meters', which are the same on both sides
            half = float(np.hypot(b.high - b.low, scale * (a.high - a.low))) / 2.0
            row |= {"low": value - half, "high": value + half}
        out.append(row)
    return out


def why_now(site: Site, now: Span) -> list[dict[str, Any]]:
    return [
        {"cause": each.cause, "kwh": each.electricity_kwh, "low": each.low, "high": each.high}
        for each in losses(site, now.facts)
        if each.cause not in ("hot_water", "direct_electric_heat", "pumps_and_standby")
    ]


def billed(document: dict[str, Any], paper_bill: PaperBill) -> dict[str, float | None] | None:
    """Electricity on the paper bill beyond the heating, from other loads on the same meter."""
    if paper_bill.billed_kwh is None and paper_bill.billed_money is None:
        return None
    now = document["now"]
    other = None if paper_bill.billed_kwh is None else paper_bill.billed_kwh - now["full_kwh"]
    paid = (
        None
        if paper_bill.billed_money is None or now["money"] is None
        else paper_bill.billed_money - now["money"]
    )
    return {
        "kwh": paper_bill.billed_kwh,
        "money": paper_bill.billed_money,
        "other_kwh": other,
        "other_money": paid,
    }


def ask(document: dict[str, Any]) -> list[str]:
    """Codes of what to ask the caller, the weightiest first."""
    parts = {p["code"]: p for p in document["parts"]}
    unit = "kwh" if document["difference"]["money"] is None else "money"
    out = []
    if document["billed"] is None:
        out.append("paper_bill")
    elif (document["billed"]["other_kwh"] or 0.0) > 0.0:
        out.append("other_loads")
    for code, question in ASKED.items():
        part = parts.get(code)
        if (
            part is not None
            and part["told"]
            and part[unit]["value"] > 0.0
            and (code, part["whose"]) != ("rooms", "system")
            and question not in out
        ):
            out.append(question)
    if document["untold"] and any(u["part"] == "tariff" for u in document["untold"]):
        out.append("prices")
    return out + (["estimated_reading"] if document["billed"] is not None else ["other_loads"])


def splits_nothing(site: Site) -> bool:
    """Whether another source's heat to the rooms leaves the heat pump's electricity without a line over the
    weather: a boiler or a collector. A stove is asked about (`ask`)."""
    return any(s.kind != "stove" for s in site.other_heat_for("space_heating"))


_COOLED_KWH = 0.5  # of a span: with less a unit hardly cooled (common practice)


def cooling_apart(spans: list[Span]) -> list[dict[str, str]]:
    """That electricity of cooling is left out, where there was any."""
    cooled = any((known_sum(s.facts.days, "electricity_cooling_kwh") or 0.0) >= _COOLED_KWH for s in spans)
    return [{"part": "cooling", "reason": "cooling"}] if cooled else []


def undetermined_by_sources(site: Site, *, has_prices: bool) -> list[dict[str, str]]:
    """Parts that can't be determined because of prices and other sources."""
    out = []
    if any(s.kind == "stove" for s in site.other_heat_for("space_heating")):
        out.append({"part": "house", "reason": "stove"})
    if site.other_heat_for("hot_water"):
        out.append({"part": "hot_water", "reason": "other_hot_water"})
    if site.pv is not None:
        out.append({"part": "tariff", "reason": "own_electricity"})
    elif not has_prices:
        out.append({"part": "tariff", "reason": "no_prices"})
    return out


def shared_heat(site: Site, spans: list[Span], against: str, paper_bill: PaperBill) -> dict[str, Any]:
    """The difference alone, with the other source's heat on both sides where it is metered."""
    other = [(s.result.get("other_heat") or {}).get("heat_kwh") for s in spans]
    return _undivided(site, spans, against, "other_heat") | {
        "other_heat_kwh": {"before": other[0] if len(other) == 2 else None, "now": other[-1]},
        "ask": ["other_source_used", "other_loads"]
        + (["paper_bill"] if paper_bill.billed_kwh is None else []),
    }


def distrusted(site: Site, spans: list[Span], against: str, paper_bill: PaperBill) -> dict[str, Any]:
    """Check the meters first: a difference of unreliable readings is not split."""
    culprits = {
        f["code"]
        for s in spans
        for f in s.result["findings"]
        if f["code"] in PART_FINDINGS["meter"] and f["severity"] != "note"
    }
    reasons = [s.result["energy"]["reason"] for s in spans if s.result["energy"]["reason"]]
    return _undivided(site, spans, against, "distrusted") | {
        "culprits": sorted(culprits),
        "reasons": reasons,
        "ask": ["meter_reading", "other_loads"] if paper_bill.billed_kwh is None else ["meter_reading"],
    }


def _undivided(site: Site, spans: list[Span], against: str, reason: str) -> dict[str, Any]:
    """An answer without parts. reason : code of why"""
    counted = [known_sum(s.facts.days, "electricity_total_kwh") or 0.0 for s in spans]
    change = counted[-1] - counted[0] if len(counted) == 2 else None
    return {
        "question": "bill",
        "against": against,
        "told_by": "none",
        "days": len(spans[-1].facts.days),
        "currency": site.cost.currency if site.cost else None,
        "before": None,
        "now": None,
        "difference": {"kwh": change, "money": None},
        "parts": [],
        "groups": [],
        "why": [],
        "billed": None,
        "untold": [{"part": "meter", "reason": reason}],
    }
