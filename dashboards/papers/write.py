"""Render a paper from its contents as HTML, as PDF from the same HTML, or as JSON."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Literal

import orjson
from markupsafe import Markup

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.checklists import TITLES as CHECK_TITLES
from fieldfare.analysis.reports.fleet import worst_findings_first
from fieldfare.analysis.reports.output_basis import output_basis
from fieldfare.analysis.reports.result import Result
from fieldfare.analysis.reports.verdict import given_verdict, is_standing
from fieldfare.dashboards.answers.present_answer import present_answer
from fieldfare.dashboards.assets import text_of
from fieldfare.dashboards.checks.lists import shown_check
from fieldfare.dashboards.checks.sheet import forecast_words, sheet
from fieldfare.dashboards.figures.index import chart
from fieldfare.dashboards.pages.drawn import draw
from fieldfare.dashboards.paper_site import site_on_paper
from fieldfare.dashboards.papers.defect import defect_shown
from fieldfare.dashboards.papers.pdf import NoPdf, print_pdf
from fieldfare.dashboards.rows.days import Row, day_rows, rows_of_result
from fieldfare.dashboards.rows.design_vs_measured import two_sides
from fieldfare.dashboards.software_version import software_version
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.home_advice import advice
from fieldfare.dashboards.text.home_month import carbon_notes, month_sections, month_words
from fieldfare.dashboards.text.home_standing import cold_sentence, standing_words, to_do
from fieldfare.dashboards.text.language import ENGLISH, speaking
from fieldfare.dashboards.text.language import gettext as _

Kind = Literal["month", "winter_check", "hand_over", "answer", "defect"]
_KINDS = {"winter": "winter_check", "hand-over": "hand_over"}
ENDINGS = (".html", ".pdf", ".json")
WIDE = 0.2
"""A 95 % interval that reaches further than this share of its value to each side is too early to build on."""
TIME_HELPS = ("too_few_days", "other_weather")
"""Codes of reasons that more days will settle."""


def write(kind: Kind, result: Result | dict[str, Any], out: Path, **context: Any) -> None:
    """Write a paper to a file, in the format of its extension.

    result : a Result, or a paper's contents with `site`, `result` and, where at hand, `days`, `month_before`,
        `year_before`, `works`. context : further contents, and `made`, the date on the paper
    Raises InputError for another ending; NoPdf where a PDF was asked for and this machine can print none:
    the HTML is then written beside it.
    """
    if out.suffix.lower() not in ENDINGS:
        raise InputError(f"{out}: the file must end in {', '.join(ENDINGS)}")
    made = context.pop("made", None)
    contents = {**(_contents(result) if isinstance(result, Result) else result), **context}
    period = contents["result"]["period"]["from"][:7]
    if out.suffix.lower() == ".json":
        out.write_bytes(
            orjson.dumps({"kind": kind, "period": period, **contents}, option=orjson.OPT_INDENT_2)
        )
        return
    page = paper_html(kind, period, contents, made=made)
    if out.suffix.lower() == ".html":
        out.write_text(page, encoding="utf-8")
        return
    try:
        out.write_bytes(print_pdf(page))
    except NoPdf as error:
        beside = out.with_suffix(".html")
        beside.write_text(page, encoding="utf-8")
        raise NoPdf(f"{error} Wrote {beside} instead; any browser prints it.") from None


def paper_html(
    kind: str,
    period: str,
    contents: dict[str, Any],
    *,
    served: bool = False,
    made: date | None = None,
    links: dict[str, str] | None = None,
    logo: str = "",
    language: str | None = None,
) -> str:
    """A paper as an HTML document: monthly reports in the reader's language, others in English.

    served : bool, default False. True for a page of the service, which loads its style sheets; else it stands
        alone
    made : date on the paper, default today. links : addresses of the same paper as pdf and json, when served
    logo : address of the firm's logo, a data: address where the paper stands alone. language : of the reader,
        default the home's
    """
    kind = _KINDS.get(kind, kind)
    site = Site.model_validate(contents["site"])
    common = {
        "name": site.name,
        "made": made or datetime.now(UTC).astimezone(site.zone).date(),
        "served": served,
        "site": site.id,
        "zone": site.timezone,
        "version": software_version(),
        "links": links,
        "firm": contents.get("firm") or {"name": "", "contact": ""},
        "logo": logo,
    }
    is_homes = kind == "month" or bool(contents.get("home"))
    with speaking((language or site.site.language) if is_homes else ENGLISH):
        if kind in CHECK_TITLES and kind != "winter":
            return _check_html(site, kind, period, contents, common)
        return _paper_html(site, kind, contents, common)


def _paper_html(site: Site, kind: str, contents: dict[str, Any], common: dict[str, Any]) -> str:
    result = contents["result"]
    rows = contents.get("days") or rows_of_result(result)
    made_by = {"month": _month, "winter_check": _winter, "hand_over": _hand_over, "answer": _answer}
    make = {**made_by, "defect": defect_shown}[kind]
    shown = make(site, contents, rows)
    style = _style(_foot(site, result, common["made"]))
    name = "winter" if kind == "winter_check" else kind
    return render(f"paper_{name}.html", result=result, style=style, **common, **shown)


def _check_html(site: Site, kind: str, period: str, contents: dict[str, Any], common: dict[str, Any]) -> str:
    """A commissioning or annual service check, which needs no readings."""
    check = shown_check(site, contents)
    title = CHECK_TITLES[kind]  # type: ignore[index]
    title = title if period == "first" else f"{title} {period}"
    foot = f"{site.name} · {title} · made {words.day(common['made'])} · fieldfare {software_version()}"
    return render(
        "paper_check.html",
        title=title,
        style=_style(foot),
        check=check,
        signed=check.get("signature"),
        **common,
    )


def paper_pdf(
    kind: str,
    period: str,
    contents: dict[str, Any],
    *,
    made: date | None = None,
    logo: str = "",
    language: str | None = None,
) -> bytes:
    """The same paper as PDF. Raises NoPdf."""
    return print_pdf(paper_html(kind, period, contents, made=made, logo=logo, language=language))


def _contents(result: Result) -> dict[str, Any]:
    return {
        "site": site_on_paper(result.site),
        "result": result.as_dict(),
        "days": day_rows(result.facts, result.site.zone),
    }


def _month(site: Site, contents: dict[str, Any], rows: list[Row]) -> dict[str, Any]:
    result = contents["result"]
    year = contents.get("year") or result
    given = given_verdict(result)
    tasks = to_do(year, contents.get("worked_on"))
    return {
        "given": given,
        "given_days": _given_days(given, result),
        "lead": standing_words(site, result, given, tasks, month_words(result["period"])),
        "title": _("Your heating in {month}", month=words.month(result["period"]["from"])),
        "parts": month_sections(site, {**contents, "days": rows, "year": None}, given),  # it spans two pages
        "carbon": carbon_notes(result["cost"]),
        "works": contents.get("works") or [],
        "to_do": tasks,
        "cold": cold_sentence(site, result, given, year),
        "advice": advice(site, year),
    }


def _given_days(given: dict[str, Any], result: dict[str, Any]) -> str:
    """Days of the verdict, if they are not the paper's."""
    first, last = given.get("from"), given.get("to")
    if not first or not last or (first, last) == (result["period"]["from"], result["period"]["to"]):
        return ""
    return words.days_between(first, last)


def _winter(site: Site, contents: dict[str, Any], rows: list[Row]) -> dict[str, Any]:
    result = contents["result"]
    made = sheet(site, result, rows)
    adjust = worst_findings_first(result["findings"], result["period"]["to"])
    steps = [f for f in adjust if is_standing(f) and f["next_step"]]
    return {
        "given_days": _given_days(made["given"], result),
        "title": "Check before winter",
        "sheet": made,
        "steps": steps,
        "signed": contents.get("signed"),
        "check": shown_check(site, contents),
        "heat": draw(chart("heat", site, result, None, rows)),
        "forecast_rows": forecast_words(made["forecast"], result["cost"]["currency"], output_basis(result)),
    }


def _answer(site: Site, contents: dict[str, Any], rows: list[Row]) -> dict[str, Any]:
    shown = present_answer(contents["answer"], site.name, home=contents["home"])
    return {
        "title": shown["title"],
        "shown": shown,
        "answer": contents["answer"],
        "home": contents["home"],
        "site_link": f"/sites/{site.id}",
    }


def _hand_over(site: Site, contents: dict[str, Any], rows: list[Row]) -> dict[str, Any]:
    result = contents["result"]
    adjust = worst_findings_first(result["findings"], result["period"]["to"])
    adjust = [f for f in adjust if is_standing(f)]
    early = too_early(site, result)
    names = ("heat", "curve", "efficiency", "water", "rooms", "cylinder")
    figures = [draw(chart(n, site, result, None, rows)) for n in names]
    given = given_verdict(result)
    since = [] if adjust else [b["says"] for b in given["because"] if b["severity"]]
    nothing = "these weeks showed nothing to adjust" if since else "nothing to adjust so far"
    adjust_text = f"{words.count(len(adjust), 'thing')} to adjust" if adjust else words.capital(nothing)
    return {
        "given": given,
        "since": since,
        "given_days": _given_days(given, result),
        "title": "The first weeks against the design",
        "summary": f"{adjust_text}; {_more_time(sum(len(names) for names, _ in early))}.",
        "sides": two_sides(site, result, rows),
        "adjust": adjust,
        "early": [f"{words.listed(names)}: {reason}" for names, reason in early],
        "figures": [f for f in figures if not f.chart.is_empty],
    }


def _more_time(n: int) -> str:
    return (
        f"{words.count(n, 'figure')} need{'s' if n == 1 else ''} more time"
        if n
        else "every figure has settled"
    )


def too_early(site: Site, result: dict[str, Any]) -> list[tuple[list[str], str]]:
    """Open questions that more weeks will answer, grouped by need: names and the reason as a sentence.

    Figures with wide intervals, and questions that need more days or colder weather; not those that need a
    meter.
    """
    out: dict[str, list[str]] = {}

    def add(name: str, reason: str) -> None:
        names = out.setdefault(f"{words.small_first(words.reason(reason))}.", [])
        names.append(words.small_first(name) if names else name)

    loss = result["heat_loss"]["heat_loss_kw"]
    for name, estimate in (("Heat loss", loss), ("Output against load", result["capacity"]["margin"])):
        if estimate and estimate.get("low") is not None:
            half = (estimate["high"] - estimate["low"]) / 2.0
            if half > WIDE * abs(estimate["value"]):
                add(name, f"the interval is still wide, {words.interval(estimate, '', 1)}")
    for name, key in (("Heat loss", "heat_loss"), ("Heating curve", "heating_curve")):
        if result[key]["reason_code"] in TIME_HELPS:
            add(name, result[key]["reason"])
    for n in result["not_assessed"]:
        if n["reason_code"] in TIME_HELPS:
            add(words.finding_title(n["code"]), n["reason"])
    return [(names, reason) for reason, names in out.items()]


def _foot(site: Site, result: dict[str, Any], made: date) -> str:
    period = words.days_between(result["period"]["from"], result["period"]["to"])
    how = _(
        "made {day} · method {method}, fieldfare {version}",
        day=words.day(made),
        method=result["method"],
        version=software_version(),
    )
    return f"{site.name} · {period} · {how}"


def _style(foot: str) -> Markup:
    """The paper's style sheets, with the footer of printed pages."""
    text = "".join(c if c.isprintable() and c not in '"\\<>' else " " for c in foot)
    numbered = _("page {page} of {pages}", page='" counter(page) "', pages='" counter(pages) "')
    page = f"""@page {{
  @bottom-left {{ content: "{text}"; font: 8.5pt "DejaVu Sans", sans-serif; color: #4d5a63 }}
  @bottom-right {{ content: "{numbered}" }}
}}"""
    return Markup("\n".join((text_of("figures.css"), text_of("paper.css"), page)))  # noqa: S704
