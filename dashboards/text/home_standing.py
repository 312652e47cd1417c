"""Summary for a household: actions first, then findings, then unknowns."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.fleet import open_findings
from fieldfare.analysis.reports.verdict import cold_for
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.home_findings import HOME, VARIANTS
from fieldfare.dashboards.text.language import gettext as _
from fieldfare.dashboards.text.language import is_english, listed, marked, ngettext

PRECAUTIONS = frozenset({"water_too_hot", "disinfection_lacking", "pasteurisation_missed"})
"""Findings against whose harm the household protects itself, scalds and Legionella: its care does not rest
before the readings show that a job worked."""
FOLLOWS = {"pressure_low": "pressure_falling"}
"""Finding -> the one it follows from: a job for the leak answers both."""
UNKNOWN = {
    "rooms": marked("whether your rooms are warm enough"),
    "hot_water": marked("whether there is enough hot water"),
    "safety": marked("whether water temperature, disinfection and pressure are right"),
    "running": marked("whether the heat pump runs whenever heat is needed"),
    "efficiency": marked("whether it is as efficient as it should be"),
    "data": marked("whether the readings are complete and right"),
}
"""What the meters can't tell a household, by the matter of the verdict."""


def zone_words(name: str) -> str:
    """Name of a zone for a household."""
    if name in ("ground", "upper"):
        return _("Downstairs") if name == "ground" else _("Upstairs")
    return _("The {zone}", zone=name.replace("_", " "))


def are_cold(given: Mapping[str, Any]) -> bool:
    """Whether a verdict says that rooms are below set temperature."""
    return any(b["code"] == "room_below_target" for b in given["because"])


def cold_zones(site: Site, result: dict[str, Any]) -> list[str]:
    """Zones that were too cold by the verdict's rule, each with its hours below set temperature."""
    zones = result["comfort"]["zones"]
    out = []
    for name, zone in zones.items():
        if (cold := cold_for(site, zone)) is None:
            continue
        hours = 24.0 * max(zone["share_below_target"] or 0.0, cold[1])
        where = _("your rooms") if len(zones) == 1 else inside(zone_words(name))
        n = 2 if len(zones) == 1 else 1  # grammatical number of the rooms
        sentence = ngettext(
            "{where} was below the set temperature for {hours} a day",
            "{where} were below the set temperature for {hours} a day",
            n,
            where=where,
            hours=words.measure(hours, "hours", 0),
        )
        out.append(sentence)
    return out


def inside(name: str) -> str:
    """A zone's name inside a sentence; German nouns keep their capital."""
    return words.small_first(name) if is_english() else name


def cold_sentence(site: Site, result: dict[str, Any], given: dict[str, Any], rolling: dict[str, Any]) -> str:
    """Sentences about rooms that were too cold in a month; empty if none were, or if a finding covers it.

    given : the verdict, of which they may be a reason already. rolling : the result of `to_do`
    """
    is_reported = any(
        f["code"] == "room_below_target" and f["severity"] != "note" for f in open_findings(rolling)
    )
    if is_reported or not (are_cold(given) or cold_zones(site, result)):
        return ""
    if are_cold(given) or any(m["matter"] == "rooms" for m in given["missing"]):
        return _("Rooms were colder than set. If you did not turn them down on purpose, tell your installer.")
    return _(
        "Rooms were colder than set in this month; in the newest days they were warm enough. If it is too"
        " cold for you, tell your installer."
    )


def unknown_things(site: Site, result: dict[str, Any], given: dict[str, Any]) -> list[str]:
    """Questions that the meters can't answer for a household: clauses that begin with "whether"."""
    missing = {m["matter"] for m in given["missing"]}
    if not result["comfort"]["zones"]:
        missing.add("rooms")
    if site.hot_water is not None and result["hot_water"]["minutes_below_40c_per_week"] is None:
        missing.add("hot_water")
    return [_(text) for matter, text in UNKNOWN.items() if matter in missing]


def standing_words(
    site: Site, result: dict[str, Any], given: dict[str, Any], tasks: list[str], months: str
) -> list[str]:
    """Sentences, the most pressing first.

    result : the month's. given : the verdict. tasks : what the household should do, from `to_do`. months :
        the month's words
    """
    out = []
    if tasks:
        out.append(tasks[0])
    elif given["verdict"] == "urgent":
        call = _("Please call your installer now.")
        out.append(f"{call} {_found(given)}")
    elif given["verdict"] in ("act", "watch"):
        calm = _("Your installer can see this; nothing for you to do unless they ask.")
        out.append(f"{_found(given)} {calm}")
    if cold := cold_zones(site, result):
        out.append(_("In {month}, {rooms}.", month=months, rooms=listed(cold)))
    if unknown := unknown_things(site, result, given):
        out.append(_("Not known, because it is not measured: {things}.", things="; ".join(unknown)))
    if not out and given["verdict"] == "in_order":
        out.append(_("Your heating is in order: rooms, hot water, efficiency and safety were checked."))
    return out or [_("Part of your heating could not be checked.")]


def _found(given: dict[str, Any]) -> str:
    """Findings without trade terms."""
    titles = "; ".join(
        _inside_title(b["code"]) if b["code"] != "silence" else _("no readings arrive")
        for b in given["because"]
        if b["severity"]
    )
    if given["verdict"] == "urgent":
        return f"{words.plain(titles)}."
    if given["verdict"] == "act":
        return _("Your heating needs work: {findings}.", findings=titles)
    return _("Your heating needs watching: {findings}.", findings=titles)


def _inside_title(code: str) -> str:
    title = words.finding_title(code)
    return words.small_first(title) if is_english() else title


def silent_words(heard: datetime, zone: str) -> str:
    """Advice to a household if no readings arrive. zone : of the home"""
    return _(
        "We have had no readings from your heating since {since}. Please check that your internet box is on."
        " If the house gets cold or there is no hot water, call your installer.",
        since=words.moment(heard, zone),
    )


def to_do(result: dict[str, Any], worked_on: Mapping[str, str] | None = None) -> list[str]:
    """Actions and information for the household, most urgent first: each a calm sentence with its next step.

    worked_on : finding code -> local day of a job whose effect is not known yet. Requests to the household
        pause until then.
    """
    findings = [f for f in open_findings(result) if f.get("home") and f["severity"] != "note"]
    done = dict(worked_on or {})
    done |= {code: done[cause] for code, cause in FOLLOWS.items() if cause in done and code not in done}
    tasks = [_for_home(f) for f in findings if f["code"] not in done or f["code"] in PRECAUTIONS]
    days = dict.fromkeys(done[f["code"]] for f in findings if f["code"] in done)
    return [
        *tasks,
        *(_watched(day, [f["code"] for f in findings if done.get(f["code"]) == day]) for day in days),
    ]


def _watched(day: str, codes: list[str]) -> str:
    return _(
        "We worked on this on {day}: {findings}. We are watching whether it holds.",
        day=words.day(day),
        findings=listed([_inside_title(code) for code in codes]),
    )


def _for_home(finding: dict[str, Any]) -> str:
    """A finding's own sentence, in English or if it is translated; else that of its code."""
    if is_english():
        return words.named(finding["home"])
    if finding["home"] in VARIANTS:
        return _(finding["home"])
    code = finding["code"]
    if code in HOME:
        return _(HOME[code])
    return _("Your installer can see this: {finding}.", finding=words.finding_title(code))
