"""A month in plain sentences: warmth, hot water, energy, money, what was done, what could be done."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from markupsafe import Markup

from analysis import cautions
from analysis.physics.degree_days import UK_BASE_C
from analysis.plant.site import Site
from dashboards import words
from dashboards.figures.pictures import energy_picture, money_picture, warmth_picture

FUELS = {
    "heating_oil": "heating oil", "natural_gas": "gas", "lpg": "bottled gas", "electricity": "direct electric heating",
}  # fmt: skip
COLD_SHARE = 0.3
"""Share of the time below what was asked for that a household would call cold (common practice)."""
AWAY_C = 15.0
"""Room temperature to leave a house at: warm enough that nothing freezes or grows mouldy (common practice)."""

LITTLE_TO_SPARE, SOME_TO_SPARE, PLENTY_TO_SPARE = 1.15, 1.3, 1.5
"""Output over load at the design temperature; warming up again needs what is above 1 (common practice)."""


@dataclass(frozen=True)
class Telling:
    """One part of the month: its question, the answer in a sentence, further sentences, a picture."""

    question: str
    answer: str
    more: list[str] = field(default_factory=list)
    picture: Markup | None = None


def month_told(site: Site, contents: dict[str, Any]) -> list[Telling]:
    """The month's parts in the order in which a household asks. contents : a month paper's contents."""
    result = contents["result"]
    rows = contents.get("days") or []
    return [_warmth(result, rows), _hot_water(site, result), _energy(site, contents), _money(contents)]


def _warmth(result: dict[str, Any], rows: list[dict[str, Any]]) -> Telling:
    zones = result["comfort"]["zones"]
    question = "Was it warm?"
    if not zones:
        return Telling(
            question, "No room temperature is measured in your home, so we can't say how warm it was."
        )
    parts, more = [], []
    for name, zone in zones.items():
        where = "your rooms were" if len(zones) == 1 else f"{_zone(name).lower()} was"
        text = f"{where} at {words.measure(zone['mean_c'], '°C', 1)} on average"
        if zone["target_c"] is not None:
            text += f", where {words.measure(zone['target_c'], '°C', 1)} was asked for"
        parts.append(text)
        below = zone["share_below_target"]
        if below is not None:
            of_day, who = below * 24.0, "It" if len(zones) == 1 else _zone(name)
            more.append(
                f"{who} hardly ever fell half a degree below that." if below < 0.02
                else f"For {words.measure(of_day, 'hours', 1)} a day {who.lower()} was half a degree or more below that."
            )  # fmt: skip
    text = f"{words.listed(parts)}."
    return Telling(question, text[:1].upper() + text[1:], more, warmth_picture(rows))


def _zone(name: str) -> str:
    return f"The {name.replace('_', ' ')}"


def cold_zones(result: dict[str, Any]) -> list[str]:
    """Zones that were cooler than asked for more than COLD_SHARE of the time, as a household calls them."""
    zones = result["comfort"]["zones"]
    cold = [n for n, z in zones.items() if (z["share_below_target"] or 0.0) > COLD_SHARE]
    return ["your home" if len(zones) == 1 else _zone(n).lower() for n in cold]


def month_words(period: dict[str, str]) -> str:
    """The month's name; with its last day where it is not over."""
    last = date.fromisoformat(period["to"])
    over = (last + timedelta(days=1)).day == 1
    name = words.month(period["from"])
    return name if over else f"{name}, to {words.day(period['to'], year=False)}"


def _hot_water(site: Site, result: dict[str, Any]) -> Telling:
    water = result["hot_water"]
    question = "Was there hot water?"
    if site.hot_water is None:
        return Telling(question, "Your heat pump makes no hot water.")
    cold = water["minutes_below_40c_per_week"]
    more = []
    if water["reheats"] and water["median_reheat_minutes"]:
        more.append(
            f"The cylinder was heated {water['reheats']} times, usually in {words.measure(water['median_reheat_minutes'], 'minutes', 0)}."
        )
    if site.hot_water.pasteurise_c and water["last_pasteurised"]:
        more.append(
            f"The {_every(site)} hot run against Legionella last held its temperature on {words.day(water['last_pasteurised'])}."
        )
    if cold is None:
        return Telling(question, "The cylinder's temperature is not measured, so we can't say.", more)
    if cold < 30:
        return Telling(question, "Yes: the cylinder hardly ever fell below 40 °C.", more)
    return Telling(question, f"Mostly: the cylinder was below 40 °C for {_length(cold)} a week.", more)


def _every(site: Site) -> str:
    days = site.hot_water.pasteurise_every_days if site.hot_water else 7
    return {1: "daily", 7: "weekly", 14: "fortnightly"}.get(days, "regular")


def _length(minutes: float) -> str:
    return (
        words.measure(minutes, "minutes", 0) if minutes < 100 else words.measure(minutes / 60.0, "hours", 1)
    )


def _energy(site: Site, contents: dict[str, Any]) -> Telling:
    result = contents["result"]
    question = "What went in, and what came out?"
    electricity = result["energy"]["electricity_kwh"]["total"]
    heat = result["energy"]["heat_kwh"]["total"]
    if electricity is None:
        return Telling(question, "The electricity was not measured this month.")
    used = words.measure(electricity, "kWh", 0)
    like = _like_month(contents, "year_before") or _like_month(contents, "month_before")
    more = [like] if like else []
    if not heat:
        return Telling(
            question,
            f"The heating used {used} of electricity. There is no heat meter, so what came out is not known.",
            more,
        )
    answer = f"The heating used {used} of electricity and gave {words.measure(heat, 'kWh', 0)} of heat: {words.number(heat / electricity, 1)} units of heat for each one of electricity."
    return Telling(question, answer, more, energy_picture(electricity, heat))


def _like_month(contents: dict[str, Any], key: str) -> str:
    """Against another month, with the weather allowed for."""
    other = contents.get(key)
    if not other:
        return ""
    now = contents["result"]
    a, b = (r["energy"]["electricity_kwh"]["total"] for r in (now, other))
    cold_now, cold_then = _degree_days(now), _degree_days(other)
    if not a or not b:
        return ""
    name = words.month(other["period"]["from"])
    text = f"In {name} it was {words.measure(b, 'kWh', 0)}"
    if cold_now and cold_then:
        weather = cold_now / cold_then - 1.0
        text += f"; this month was {_percent(weather, 'colder', 'milder', 'about as cold')}"
        if cold_now > 60 and cold_then > 60:
            like = (a / cold_now) / (b / cold_then) - 1.0
            text += f", and for the same cold it used {_percent(like, 'more', 'less', 'about as much')}"
    return f"{text}."


def _percent(change: float, up: str, down: str, same: str) -> str:
    if abs(change) < 0.02:
        return same
    size = "much" if abs(change) > 0.5 else words.share(abs(change))
    return f"{size} {up if change > 0 else down}"


def _degree_days(result: dict[str, Any]) -> float | None:
    """Degree-days of the days, made good for days without weather."""
    known = [d["outdoor_c"] for d in result["performance"]["by_day"] if d["outdoor_c"] is not None]
    n = len(result["performance"]["by_day"])
    return (
        sum(max(UK_BASE_C - t, 0.0) for t in known) * n / len(known)
        if len(known) >= max(10, 0.6 * n)
        else None
    )


def _money(contents: dict[str, Any]) -> Telling:
    cost = contents["result"]["cost"]
    question = "What did it cost?"
    if cost["total"] is None:
        return Telling(
            question,
            f"We can't say: {words.small_first(words.reason(cost['reasons'].get('total', 'no price is known')))}.",
        )
    currency = cost["currency"]
    answer = f"{words.money(cost['total'], currency)}"
    if cost["standing_charge"]:
        answer += f", of which {words.money(cost['standing_charge'], currency)} is the standing charge"
    rows = [("This month", cost["total"])]
    more = []
    old, fuel = cost["previous_fuel_total"], FUELS.get(cost["previous_fuel"] or "")
    if old is not None and fuel:
        whole = min(old, cost["total"]) >= 20
        gap = round(old) - round(cost["total"]) if whole else old - cost["total"]
        paid = f"{words.money(abs(gap), currency, 0 if whole else None)} {'less' if gap >= 0 else 'more'}"
        if abs(gap) < 0.02 * cost["total"]:
            paid = "about the same"
        answer += f". With {fuel} the same warmth would have cost about {words.money(old, currency)}: you paid {paid}"
        rows.append((f"The same warmth with {fuel}", old))
    before = contents.get("year_before")
    if before and before["cost"]["total"] is not None:
        rows.append((words.month(before["period"]["from"]), before["cost"]["total"]))
    co2, old_co2 = cost["co2_kg"], cost["previous_fuel_co2_kg"]
    if co2 is not None and old_co2 is not None and fuel:
        more.append(
            f"It caused {words.measure(co2, 'kg', 0)} of CO₂; {fuel} would have caused {words.measure(old_co2, 'kg', 0)}."
        )
    return Telling(question, f"{answer}.", more, money_picture(rows, currency))


def to_do(result: dict[str, Any]) -> list[str]:
    """What the household can do or should know: each a calm sentence that carries its next step."""
    return [
        f["home"] for f in result["findings"] if f.get("home") and not f["until"] and f["severity"] != "note"
    ]


def advice(site: Site, result: dict[str, Any], rows: list[dict[str, Any]]) -> list[str]:
    """Holiday and set-back, reckoned for this house."""
    out = []
    saving = _week_away(result, rows)
    margin = (result["capacity"]["margin"] or {}).get("value")
    warm = next((z["mean_c"] for z in result["comfort"]["zones"].values()), site.design.indoor_c)
    if saving is not None:
        kwh, cost = saving
        amount = (
            words.money(cost, result["cost"]["currency"], 0)
            if cost is not None
            else words.measure(kwh, "kWh", 0)
        )
        out.append(
            f"Away for a winter week: set the rooms to {words.measure(AWAY_C, '°C', 0)} rather than off. That saves at most about {amount}, "
            f"and keeps pipes and walls safe. {_back_again(margin)}"
        )
    if margin is not None:
        out.append(_set_back(margin, warm))
    if site.hot_water is not None:
        run = "its regular hot run" if site.hot_water.pasteurise_c else "its temperature"
        out.append(
            f"Leave the hot water as it is while you are away, with {run}: lukewarm water in the cylinder can breed Legionella. "
            f"If it was off for some days: {cautions.PAUSED}"
        )
    return out


def _week_away(result: dict[str, Any], rows: list[dict[str, Any]]) -> tuple[float, float | None] | None:
    """Most that a week at AWAY_C can save: the house fully cooled down from its first hour."""
    fit = (result["heat_loss"]["coefficient_w_per_k"] or {}).get("value")
    spf = (result["performance"]["space_heating"] or result["performance"]["H4"] or {}).get("value")
    if not fit or not spf:
        return None
    warm = next((z["mean_c"] for z in result["comfort"]["zones"].values()), 20.0)
    if warm <= AWAY_C + 1.0:
        return None
    kwh = fit * (warm - AWAY_C) * 168.0 / 1000.0 / spf
    price = result["cost"]["mean_price"]
    return kwh, None if price is None else kwh * price


def _back_again(margin: float | None) -> str:
    if margin is not None and margin < SOME_TO_SPARE:
        return "Turn it up again two days before you come back: your heat pump has little to spare in frost."
    return "Turn it up again a day before you come back."


def _set_back(margin: float, warm: float) -> str:
    if margin < LITTLE_TO_SPARE:
        return "At night leave the rooms as they are in frost: your heat pump needs the night to keep up. In mild weather one degree less is fine."
    if margin < PLENTY_TO_SPARE:
        return f"At night one or two degrees below {words.measure(warm, '°C', 0)} is enough; more makes the mornings cold and saves little."
    return f"At night up to three degrees below {words.measure(warm, '°C', 0)} does no harm; your heat pump has enough to spare to warm up again."
