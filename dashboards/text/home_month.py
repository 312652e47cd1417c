"""A month in plain sentences: warmth, hot water, energy, money, what was done, what could be done."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from markupsafe import Markup

from fieldfare.analysis import cautions
from fieldfare.analysis.physics.factors import COUNTRIES
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.fleet import open_findings
from fieldfare.dashboards.figures.pictures import energy_picture, money_picture, warmth_picture
from fieldfare.dashboards.text import words

FUELS = {
    "heating_oil": "heating oil",
    "natural_gas": "gas",
    "lpg": "bottled gas",
    "electricity": "direct electric heating",
}
COLD_HOURS = 2.0
"""Hours a day below the set temperature that a household would call cold (common practice)."""
RARELY = 0.02
"""Share of the time that is as good as never (common practice: half an hour a day)."""
AWAY_C = 15.0
"""Room temperature to leave a house at: warm enough that nothing freezes or grows mouldy (common
practice)."""

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
        return Telling(question, "Not known: no room temperature is measured in your home.")
    parts, more = [], []
    for name, zone in zones.items():
        where = "Your rooms" if len(zones) == 1 else zone_words(name)
        text = f"{where} averaged {words.measure(zone['mean_c'], '°C', 1)}"
        if zone["target_c"] is not None:
            text += f" (set: {words.measure(zone['target_c'], '°C', 1)})"
        parts.append(text)
        below = zone["share_below_target"]
        if below is None:
            more.append(
                f"{where}: no set temperature is known, so we can't say whether that was warm enough."
            )
        elif below < RARELY:
            more.append(f"{where} hardly ever fell half a degree below the set temperature.")
        else:
            hours = words.measure(below * 24.0, "hours", 1)
            more.append(
                f"{where} {_were(zones)} half a degree or more below the set temperature for {hours} a day."
            )
    return Telling(question, f"{'; '.join(parts)}.", more, warmth_picture(rows))


def zone_words(name: str) -> str:
    """A zone as a household calls it."""
    return {"ground": "Downstairs", "upper": "Upstairs"}.get(name, f"The {name.replace('_', ' ')}")


def _were(zones: dict[str, Any]) -> str:
    return "were" if len(zones) == 1 else "was"


def cold_zones(result: dict[str, Any]) -> list[str]:
    """Zones that stayed below their set temperature for COLD_HOURS a day or longer, each with its hours."""
    zones = result["comfort"]["zones"]
    out = []
    for name, zone in zones.items():
        hours = 24.0 * (zone["share_below_target"] or 0.0)
        if hours >= COLD_HOURS:
            where = "your rooms were" if len(zones) == 1 else f"{words.small_first(zone_words(name))} was"
            out.append(f"{where} below the set temperature for {words.measure(hours, 'hours', 0)} a day")
    return out


def unknown_things(site: Site, result: dict[str, Any], given: dict[str, Any]) -> list[str]:
    """What the meters can't tell a household: each as words that follow "whether"."""
    told = {
        "rooms": "your rooms are warm enough",
        "hot_water": "there is enough hot water",
        "safety": "water temperature, disinfection and pressure are right",
        "running": "the heat pump runs whenever heat is needed",
        "efficiency": "it is as efficient as it should be",
        "data": "the readings are complete and right",
    }
    missing = {m["matter"] for m in given["missing"]}
    if not result["comfort"]["zones"]:
        missing.add("rooms")
    if site.hot_water is not None and result["hot_water"]["minutes_below_40c_per_week"] is None:
        missing.add("hot_water")
    return [words_ for matter, words_ in told.items() if matter in missing]


def standing_words(
    site: Site, result: dict[str, Any], given: dict[str, Any], asked: list[str], months: str
) -> list[str]:
    """How things stand, for a household: what to do first, then what is wrong, then what is not known.

    result : the month's. given : the verdict. asked : what the household should do, from `to_do`. months :
        the month's words
    """
    out = []
    if asked:
        out.append(asked[0])
    elif given["verdict"] == "urgent":
        out.append(f"Please call your installer now. {_found(given)}")
    elif given["verdict"] in ("act", "watch"):
        out.append(f"{_found(given)} Your installer can see this; nothing for you to do unless they ask.")
    if cold := cold_zones(result):
        out.append(
            f"In {months}, {words.listed(cold)}. If you did not turn it down on purpose, tell your installer."
        )
    if unknown := unknown_things(site, result, given):
        out.append(f"Not known, because it is not measured: whether {'; whether '.join(unknown)}.")
    if not out and given["verdict"] == "in_order":
        out.append("Your heating is in order: rooms, hot water, efficiency and safety were checked.")
    return out or ["Part of your heating could not be checked."]


def _found(given: dict[str, Any]) -> str:
    """What is wrong, without the trade's words."""
    titles = [
        words.small_first(words.finding_title(b["code"])) if b["code"] != "silence" else "no readings arrive"
        for b in given["because"]
        if b["severity"]
    ]
    return (
        f"Your heating {words.VERDICT_WORDS[given['verdict']]}: {'; '.join(titles)}."
        if (given["verdict"] != "urgent")
        else f"{words.plain('; '.join(titles))}."
    )


def month_words(period: dict[str, str]) -> str:
    """The month's name; with its last day where it is not over."""
    last = date.fromisoformat(period["to"])
    over = (last + timedelta(days=1)).day == 1
    name = words.month(period["from"])
    return name if over else f"{name} (to {words.day(period['to'], year=False)})"


def _hot_water(site: Site, result: dict[str, Any]) -> Telling:
    water = result["hot_water"]
    question = "Was there hot water?"
    if site.hot_water is None:
        return Telling(question, "Your heat pump makes no hot water.")
    cold = water["minutes_below_40c_per_week"]
    more = []
    if water["reheats"] and water["median_reheat_minutes"]:
        more.append(
            f"The cylinder was heated {water['reheats']} times, usually in"
            f" {words.measure(water['median_reheat_minutes'], 'minutes', 0)}."
        )
    if site.hot_water.pasteurise_c and water["last_pasteurised"]:
        more.append(
            f"The {_every(site)} disinfection run against Legionella last held its temperature on"
            f" {words.day(water['last_pasteurised'])}."
        )
    if cold is None:
        return Telling(question, "Not known: the cylinder's temperature is not measured.", more)
    if cold < 30:
        return Telling(question, "Yes: the cylinder was hardly ever below 40 °C.", more)
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
    question = "How much electricity did it use?"
    electricity = result["energy"]["electricity_kwh"]["total"]
    heat = result["energy"]["heat_kwh"]["total"]
    if electricity is None:
        return Telling(question, "Not known: the electricity was not measured this month.")
    used = words.measure(electricity, "kWh", 0)
    more = _other_months(contents)
    if not heat:
        return Telling(
            question, f"The heating used {used} of electricity. The heat it gave is not measured.", more
        )
    answer = (
        f"The heating used {used} of electricity and gave {words.measure(heat, 'kWh', 0)} of heat:"
        f" {words.number(heat / electricity, 1)} units of heat for each unit of electricity."
    )
    return Telling(question, answer, more, energy_picture(electricity, heat))


def _other_months(contents: dict[str, Any]) -> list[str]:
    """The month against an earlier one: the plain amounts, the weather, and the change at like weather where
    it is known."""
    for key in ("year_before", "month_before"):
        other = contents.get(key)
        then = other["energy"]["electricity_kwh"]["total"] if other else None
        if not other or not then or not contents["result"]["energy"]["electricity_kwh"]["total"]:
            continue
        text = f"In {words.month(other['period']['from'])} it used {words.measure(then, 'kWh', 0)}"
        like = (contents.get("like_weather") or {}).get(key)
        if like and like["outdoor_before"] is not None and like["outdoor_after"] is not None:
            warmer = words.measure(like["outdoor_before"], "°C", 1)
            text += (
                f", at {warmer} outdoors on average; this month it was"
                f" {words.measure(like['outdoor_after'], '°C', 1)}"
            )
        return [f"{text}.", _at_like_weather(like)]
    return []


def _at_like_weather(like: dict[str, Any] | None) -> str:
    """What changed once the weather is allowed for; rooms and hot water apart."""
    rooms, water = (like or {}).get("space_percent") or {}, (like or {}).get("hot_water_percent") or {}
    told = []
    for name, change in (("for the rooms", rooms), ("for hot water", water)):
        if change.get("value") is not None and change["is_told"]:
            more = "more" if change["value"] > 0 else "less"
            near, far = sorted((abs(change["low"]), abs(change["high"])))
            told.append(
                f"{name} {words.number(abs(change['value']), 0)} % {more} ({words.number(near, 0)} to"
                f" {words.number(far, 0)} %)"
            )
    if told:
        return f"In comparable weather it used {words.listed(told)}."
    if rooms.get("value") is not None:
        return "In comparable weather we see no difference."
    return (
        "The weather of the two months can't be compared, so we don't say whether it used more or less for"
        " the same cold."
    )


def _money(contents: dict[str, Any]) -> Telling:
    cost = contents["result"]["cost"]
    question = "What did it cost?"
    if cost["total"] is None:
        return Telling(
            question,
            "We can't say:"
            f" {words.small_first(words.reason(cost['reasons'].get('total', 'no price is known')))}.",
        )
    currency, paid = cost["currency"], cost.get("running_cost", cost["total"])
    answer = f"{words.money(cost['total'], currency)}"
    if cost["standing_charge"]:
        answer += f", of which {words.money(cost['standing_charge'], currency)} is the standing charge"
    rows, more = [("Electricity used", paid)], []
    old, fuel = cost["previous_fuel_total"], FUELS.get(cost["previous_fuel"] or "")
    if old is not None and fuel:
        rows.append((f"The same heat with {fuel}", old))
        more.append(
            f"The same heat with {fuel} would have cost about {words.money(old, currency)}; the electricity"
            f" used cost {words.money(paid, currency)}: {_gap(old, paid, currency)}. Counted:"
            f" {cost['compared']}."
        )
    before = contents.get("year_before")
    if before and before["cost"].get("running_cost") is not None:
        rows.append((words.month(before["period"]["from"]), before["cost"]["running_cost"]))
    co2, old_co2 = cost["co2_kg"], cost["previous_fuel_co2_kg"]
    if co2 is not None and old_co2 is not None and fuel:
        more.append(
            f"Emissions: {words.measure(co2, 'kg', 0)} CO₂; with {fuel}: {words.measure(old_co2, 'kg', 0)}"
            f" ({COUNTRIES.get(cost['country'], cost['country'])})."
        )
    return Telling(question, f"{answer}.", more, money_picture(rows, currency))


def _gap(old: float, paid: float, currency: str | None) -> str:
    """How much less or more was paid; amounts of 20 and more are told in whole units on both sides."""
    if abs(old - paid) < 0.02 * max(old, paid):
        return "about the same"
    whole = min(old, paid) >= 20
    gap = round(old) - round(paid) if whole else old - paid
    return f"{words.money(abs(gap), currency, 0 if whole else None)} {'less' if gap >= 0 else 'more'}"


def to_do(result: dict[str, Any]) -> list[str]:
    """What the household can do or should know, the most urgent first: a sentence each, with its next step."""
    return [f["home"] for f in open_findings(result) if f.get("home") and f["severity"] != "note"]


def advice(site: Site, result: dict[str, Any], rows: list[dict[str, Any]]) -> list[str]:
    """Holidays and nights, calculated for this house."""
    out = []
    saving = _week_away(result, rows)
    margin = (result["capacity"]["margin"] or {}).get("value")
    warm = next((z["mean_c"] for z in result["comfort"]["zones"].values()), site.design.indoor_c)
    if saving is not None:
        kwh, cost = saving
        currency = result["cost"]["currency"]
        amount = words.money(cost, currency, 0) if cost is not None else words.measure(kwh, "kWh", 0)
        out.append(
            f"Away for a week in winter: set the rooms to {words.measure(AWAY_C, '°C', 0)}; don't switch the"
            f" heating off, or pipes may freeze. That saves at most about {amount}. {_back_again(margin)}"
        )
    if margin is not None:
        out.append(_set_back(margin, warm))
    if site.hot_water is not None:
        run = "its regular hot run" if site.hot_water.pasteurise_c else "its temperature"
        out.append(
            f"Leave the hot water as it is while you are away, with {run}: lukewarm water in the cylinder can"
            f" breed Legionella. If it was off for some days: {cautions.PAUSED}"
        )
    return out


HOT_WATER_AWAY = (
    "Away for more than a few days: Legionella grows in water that stands lukewarm. Leave the disinfection"
    " run on. Before anyone showers, let the cylinder heat up fully and run every hot tap for some minutes,"
    " keeping clear of the spray. Water from 50 °C on scalds."
)
"""Caution for stored hot water; local rules and the installer's instructions come first."""


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
        return (
            "At night in frost, leave the set temperature as it is: your heat pump needs the night to keep"
            " up. In mild weather one degree less is fine."
        )
    if margin < PLENTY_TO_SPARE:
        return (
            f"At night one or two degrees below {words.measure(warm, '°C', 0)} is enough. More saves little"
            " and makes the mornings cold."
        )
    return (
        f"At night up to three degrees below {words.measure(warm, '°C', 0)} is fine; your heat pump has the"
        " power to warm the rooms again."
    )
