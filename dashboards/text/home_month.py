"""Describe a month in plain sentences: warmth, hot water, energy, money. Built from values, in the reader's
language."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from markupsafe import Markup

from fieldfare.analysis.physics.emission_factors import COUNTRIES
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.verdict import cold_for
from fieldfare.dashboards.figures.pictures import (
    energy_picture,
    money_picture,
    warmth_picture,
    year_picture,
)
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.formats import HARD
from fieldfare.dashboards.text.home_other_sources import beside
from fieldfare.dashboards.text.home_standing import are_cold, inside, zone_words
from fieldfare.dashboards.text.language import gettext as _
from fieldfare.dashboards.text.language import listed, marked, ngettext

FUELS = {
    "heating_oil": marked("heating oil"),
    "natural_gas": marked("gas"),
    "lpg": marked("bottled gas"),
    "electricity": marked("direct electric heating"),
}
FEWEST_MONTHS = 3
"""A picture of the year needs so many months (common practice)."""
MONTHS_OF_A_YEAR = 12
MEASURED = 0.95
"""Share of a month that must be measured for its amount to be the whole month's (common practice)."""
RARELY = 0.02
"""Share of the time that is as good as never (common practice: half an hour a day)."""


@dataclass(frozen=True)
class MonthSection:
    """One section of the month: question, answer, further sentences, picture."""

    question: str
    answer: str
    more: list[str] = field(default_factory=list)
    picture: Markup | None = None


def month_sections(site: Site, contents: dict[str, Any], given: dict[str, Any]) -> list[MonthSection]:
    """Sections of the month, in the order of a household's questions. contents : of a monthly report. given :
    the verdict, which they must not contradict"""
    result = contents["result"]
    rows = contents.get("days") or []
    parts = [
        _warmth(site, result, rows, given),
        _hot_water(site, result),
        _energy(contents),
        *_beside(site, result),
    ]
    return [*parts, _money(site, contents), *_year(contents)]


def month_words(period: dict[str, str]) -> str:
    """Name of the month; with its last day if it is not over."""
    last = date.fromisoformat(period["to"])
    name = words.month(period["from"])
    if (last + timedelta(days=1)).day == 1:
        return name
    return _("{month} (to {day})", month=name, day=words.day(period["to"], year=False))


def _warmth(
    site: Site, result: dict[str, Any], rows: list[dict[str, Any]], given: dict[str, Any]
) -> MonthSection:
    zones = result["comfort"]["zones"]
    question = _("Was it warm?")
    if not zones:
        return MonthSection(question, _("Not known: no room temperature is measured in your home."))
    parts: list[str] = []
    more = []
    for name, zone in zones.items():
        where = _("Your rooms") if len(zones) == 1 else zone_words(name)
        here = inside(where) if parts else where
        mean = words.measure(zone["mean_c"], "°C", 1)
        if zone["target_c"] is None:
            parts.append(_("{where} averaged {mean}", where=here, mean=mean))
        else:
            target = words.measure(zone["target_c"], "°C", 1)
            parts.append(_("{where} averaged {mean} (set: {target})", where=here, mean=mean, target=target))
        is_cold = are_cold(given) or cold_for(site, zone) is not None
        more.append(_below_target(where, zone, is_cold=is_cold, n=2 if len(zones) == 1 else 1))
    return MonthSection(question, f"{'; '.join(parts)}.", more, warmth_picture(rows))


def _below_target(where: str, zone: dict[str, Any], *, is_cold: bool, n: int) -> str:
    """Sentence on how far and how long a zone was below its set temperature.

    zone : of the result's `comfort`. is_cold : by the verdict's rule or finding
    n : the grammatical number of `where`
    """
    below = zone["share_below_target"]
    if below is None:
        return _(
            "{where}: no set temperature is known, so we can't say whether that was warm enough.", where=where
        )
    if below < RARELY:
        return _("{where} hardly ever fell half a degree below the set temperature.", where=where)
    if not is_cold:
        # Rounded as displayed, as readers subtract the displayed values.
        mean = round(zone["mean_c"], 1)
        gap = round(mean if zone["target_c"] is None else zone["target_c"], 1) - mean
        if round(gap, 1) <= 0.0:
            return _("{where}: warm enough, on average no colder than set.", where=where)
        return _(
            "{where}: warm enough, on average {gap} below the set temperature.",
            where=where,
            gap=words.measure(gap, "°C", 1),
        )
    return ngettext(
        "{where} was half a degree or more below the set temperature for {hours} a day.",
        "{where} were half a degree or more below the set temperature for {hours} a day.",
        n,
        where=where,
        hours=words.measure(below * 24.0, "hours", 1),
    )


def _hot_water(site: Site, result: dict[str, Any]) -> MonthSection:
    water = result["hot_water"]
    question = _("Was there hot water?")
    if site.hot_water is None:
        return MonthSection(
            question, _("Your hot water is not described here, so we can say nothing about it.")
        )
    cold = water["minutes_below_40c_per_week"]
    more = []
    if water["reheats"] and water["median_reheat_minutes"]:
        more.append(
            ngettext(
                "The cylinder was heated once, in {minutes}.",
                "The cylinder was heated {n} times, usually in {minutes}.",
                water["reheats"],
                minutes=words.measure(water["median_reheat_minutes"], "minutes", 0),
            )
        )
    if site.hot_water.pasteurise_c and water["last_pasteurised"]:
        more.append(
            _(_DISINFECTION.get(_every(site), _DISINFECTION[0]), day=words.day(water["last_pasteurised"]))
        )
    if cold is None:
        return MonthSection(question, _("Not known: the cylinder's temperature is not measured."), more)
    if cold < 30:
        return MonthSection(question, words.tidy(_("Yes: the cylinder was hardly ever below 40 °C.")), more)
    mostly = _("Mostly: the cylinder was below 40 °C for {length} a week.", length=_length(cold))
    return MonthSection(question, words.tidy(mostly), more)


_DISINFECTION = {
    1: marked("The daily disinfection run against Legionella last held its temperature on {day}."),
    7: marked("The weekly disinfection run against Legionella last held its temperature on {day}."),
    14: marked("The fortnightly disinfection run against Legionella last held its temperature on {day}."),
    0: marked("The regular disinfection run against Legionella last held its temperature on {day}."),
}
"""Days between two runs -> sentence; 0 for any other number."""


def _every(site: Site) -> int:
    return site.hot_water.pasteurise_every_days if site.hot_water else 7


def _length(minutes: float) -> str:
    return (
        words.measure(minutes, "minutes", 0) if minutes < 100 else words.measure(minutes / 60.0, "hours", 1)
    )


def _energy(contents: dict[str, Any]) -> MonthSection:
    result = contents["result"]
    question = _("How much electricity did it use?")
    electricity = result["energy"]["electricity_kwh"]["total"]
    heat = result["energy"]["heat_kwh"]["total"]
    if electricity is None:
        return MonthSection(question, _("Not known: the electricity was not measured this month."))
    used = words.measure(electricity, "kWh", 0)
    more = _other_months(contents)
    if not heat:
        answer = _("The heating used {used} of electricity. The heat it gave is not measured.", used=used)
        return MonthSection(question, answer, more)
    answer = _(
        "The heating used {used} of electricity and gave {heat} of heat: {ratio} units of heat for each unit"
        " of electricity.",
        used=used,
        heat=words.measure(heat, "kWh", 0),
        ratio=words.number(heat / electricity, 1),
    )
    return MonthSection(question, answer, more, energy_picture(electricity, heat))


def _beside(site: Site, result: dict[str, Any]) -> list[MonthSection]:
    """Other heat sources; empty if the site file names none."""
    sentences = beside(site, result)
    return (
        [MonthSection(_("What else gives heat or electricity?"), sentences[0], sentences[1:])]
        if sentences
        else []
    )


def _other_months(contents: dict[str, Any]) -> list[str]:
    """Compare the month with an earlier one: amounts, weather, and the weather-adjusted change if known."""
    for key in ("year_before", "month_before"):
        other = contents.get(key)
        then = other["energy"]["electricity_kwh"]["total"] if other else None
        if not other or not then or not contents["result"]["energy"]["electricity_kwh"]["total"]:
            continue
        month, used = words.month(other["period"]["from"]), words.measure(then, "kWh", 0)
        like = (contents.get("like_weather") or {}).get(key)
        if like and like["outdoor_before"] is not None and like["outdoor_after"] is not None:
            text = _(
                "In {month} it used {used}, at {then} outdoors on average; this month it was {now}.",
                month=month,
                used=used,
                then=words.measure(like["outdoor_before"], "°C", 1),
                now=words.measure(like["outdoor_after"], "°C", 1),
            )
        else:
            text = _("In {month} it used {used}.", month=month, used=used)
        return [text, _at_like_weather(like)]
    return []


def _year(contents: dict[str, Any]) -> list[MonthSection]:
    """The months up to this one; empty if fewer than FEWEST_MONTHS are known."""
    year = contents.get("year") or contents["result"]
    months = _months_of(year)
    known = [(key, kwh) for key, kwh, _whole in months if kwh is not None]
    if len(known) < FEWEST_MONTHS:
        return []
    used = words.measure(sum(kwh for _key, kwh in known), "kWh", 0)
    answer = _(
        "From {first} to {last} the heating used {used} of electricity.",
        first=words.month(months[0][0]),
        last=words.month(months[-1][0]),
        used=used,
    )
    top, most = max(known, key=lambda m: m[1])
    outdoor = next(m["outdoor_c"] for m in year["performance"]["by_month"] if m["month"] == top)
    more = [_("It used most in {month}: {used}.", month=words.month(top), used=words.measure(most, "kWh", 0))]
    if outdoor is not None:
        mean = words.measure(outdoor, "°C", 1)
        more = [
            _(
                "It used most in {month}: {used}, at {outdoor} outdoors on average.",
                month=words.month(top),
                used=words.measure(most, "kWh", 0),
                outdoor=mean,
            )
        ]
    if not all(whole for _key, _kwh, whole in months):
        more.append(_("An empty bar is a month that is not over or was not measured in full."))
    question = _("How was the year?") if len(known) >= MONTHS_OF_A_YEAR else _("How were the months so far?")
    return [MonthSection(question, answer, more, year_picture(months))]


def _months_of(year: dict[str, Any]) -> list[tuple[str, float | None, bool]]:
    """Consecutive months with their electricity [kWh] and whether all of it was measured. Omits a first month
    that is only partly in the year."""
    first, last = (date.fromisoformat(year["period"][k]) for k in ("from", "to"))
    rows = {m["month"]: m for m in year["performance"]["by_month"]}
    months, here = [], first if first.day == 1 else _next_month(first)
    while here <= last:
        key, after = f"{here:%Y-%m}", _next_month(here)
        row = rows.get(key) or {}
        whole = after <= last + timedelta(days=1) and (row.get("coverage") or 0.0) >= MEASURED
        months.append((key, row.get("electricity_kwh"), whole))
        here = after
    return months


def _next_month(of: date) -> date:
    return (of.replace(day=1) + timedelta(days=32)).replace(day=1)


_CHANGES = {
    ("space_percent", True): marked("{percent} more for the rooms ({low} to {high})"),
    ("space_percent", False): marked("{percent} less for the rooms ({low} to {high})"),
    ("total_percent", True): marked("{percent} more in all ({low} to {high})"),
    ("total_percent", False): marked("{percent} less in all ({low} to {high})"),
    ("hot_water_percent", True): marked("{percent} more for hot water ({low} to {high})"),
    ("hot_water_percent", False): marked("{percent} less for hot water ({low} to {high})"),
}


def _at_like_weather(like: dict[str, Any] | None) -> str:
    """Weather-adjusted change; heating and hot water separately if metered."""
    sentences = []
    for key in ("space_percent", "hot_water_percent", "total_percent"):
        change = (like or {}).get(key) or {}
        if change.get("value") is None or not change["is_told"]:
            continue
        near, far = sorted((abs(change["low"]), abs(change["high"])))
        sentences.append(
            _(
                _CHANGES[key, change["value"] > 0],
                percent=words.measure(abs(change["value"]), "%", 0),
                low=words.number(near, 0),
                high=words.measure(far, "%", 0),
            )
        )
    if sentences:
        return _("In comparable weather it used {changes}.", changes=listed(sentences))
    compared = ((like or {}).get(key) or {} for key in ("space_percent", "total_percent"))
    if any(each.get("value") is not None for each in compared):
        return _("In comparable weather we see no difference.")
    return _(
        "The two months have too few comparable days, so we don't say whether it used more or less for the"
        " same cold."
    )


def _money(site: Site, contents: dict[str, Any]) -> MonthSection:
    cost = contents["result"]["cost"]
    question = _("What did it cost?")
    if cost["total"] is None:
        return MonthSection(question, _no_cost(site, contents["result"]))
    currency, paid = cost["currency"], cost.get("running_cost", cost["total"])
    answer = words.money(cost["total"], currency)
    if cost["standing_charge"]:
        answer = _(
            "{total}, of which {charge} is the standing charge",
            total=answer,
            charge=words.money(cost["standing_charge"], currency),
        )
    rows, more = [(_("Electricity used"), paid)], []
    old, fuel = cost["previous_fuel_total"], _(FUELS.get(cost["previous_fuel"] or "", ""))
    if old is not None and fuel:
        rows.append((_("The same heat with {fuel}", fuel=fuel), old))
        more.append(
            _(
                "The same heat with {fuel} would have cost about {old}; the electricity used cost {paid}:"
                " {gap}.",
                fuel=fuel,
                old=words.money(old, currency),
                paid=words.money(paid, currency),
                gap=_gap(old, paid, currency),
            )
        )
        more.append(_counted(site, fuel))
    before = contents.get("year_before")
    if before and before["cost"].get("running_cost") is not None:
        rows.append((words.month(before["period"]["from"]), before["cost"]["running_cost"]))
    co2, old_co2 = cost["co2_kg"], cost["previous_fuel_co2_kg"]
    if co2 is not None and old_co2 is not None and fuel:
        more.append(
            _(
                "Emissions: {now} CO₂; with {fuel}: {old} ({country}).",
                now=words.measure(co2, "kg", 0),
                fuel=fuel,
                old=words.measure(old_co2, "kg", 0),
                country=_(COUNTRIES.get(cost["country"], cost["country"])),
            )
        )
    picture = money_picture(rows, currency) if len(rows) > 1 else None  # a single bar compares nothing
    return MonthSection(question, f"{answer}.", more, picture)


def carbon_notes(cost: dict[str, Any]) -> list[tuple[str, str]]:
    """Carbon factors of the month's emissions: in the reader's language, with published sources. Empty
    without emissions.

    cost : of a result document
    """
    if None in (cost["co2_kg"], cost["previous_fuel_co2_kg"]) or not FUELS.get(cost["previous_fuel"] or ""):
        return []
    out = []
    for text in cost["factors"]:
        what, where, source = text.split(", ", 2)
        carrier, value, unit = what.rsplit(" ", 2)
        country, year = where.rsplit(" ", 1)
        name = _("electricity") if carrier == "electricity" else _(FUELS[carrier.replace(" ", "_")])
        size = f"{words.number(float(value), len(value.partition('.')[2]))}{HARD}{unit}"
        out.append((f"{name} {size}, {_(country)} {year}", words.named(source)))
    return out


def _no_cost(site: Site, result: dict[str, Any]) -> str:
    if site.cost is None:
        return _("We can't say: no prices are entered yet.")
    if result["energy"]["electricity_kwh"]["total"] is None:
        return _("We can't say: the electricity is not measured.")
    if site.pv is not None:
        return _("We can't say: part of the electricity came from your own solar panels.")
    return _("We can't say: no electricity price is known for this month.")


def _counted(site: Site, fuel: str) -> str:
    """Scope of the comparison with the old fuel."""
    if site.cost is not None and site.cost.previous_standing_charge_per_day > 0.0:
        return _(
            "Counted: electricity for the heating without its standing charge, which you pay anyway, against"
            " {fuel} with its standing charge, which you no longer pay.",
            fuel=fuel,
        )
    return _(
        "Counted: electricity for the heating without its standing charge, which you pay anyway, against"
        " {fuel} without a standing charge.",
        fuel=fuel,
    )


def _gap(old: float, paid: float, currency: str | None) -> str:
    """Difference in payment; amounts of 20 and more are rounded to whole units on both sides."""
    if abs(old - paid) < 0.02 * max(old, paid):
        return _("about the same")
    whole = min(old, paid) >= 20
    gap = round(old) - round(paid) if whole else old - paid
    amount = words.money(abs(gap), currency, 0 if whole else None)
    return _("{amount} less", amount=amount) if gap >= 0 else _("{amount} more", amount=amount)
