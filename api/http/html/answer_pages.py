"""Pages and papers that answer a caller's question."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, Literal, cast

from fastapi import Request
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError, NotAssessed
from fieldfare.api.core.answers import Asking, QuestionName, answer
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.http.auth import AppStateHere, SiteRecordHere, check
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.form_values import day_of
from fieldfare.api.http.html.reader_language import in_readers_language, wishes
from fieldfare.api.http.html.site_pages import reader, visitor
from fieldfare.api.http.routers import page_router
from fieldfare.api.people.access import Actor
from fieldfare.api.records.papers import answer_paper, rendered
from fieldfare.dashboards import pages

router = page_router()
_FIELDS = (
    "from",
    "to",
    "against",
    "billed_kwh",
    "billed_money",
    "visit_cost",
    "zone",
    "from_hour",
    "to_hour",
    "since",
)


@router.get("/sites/{site_id}/answers")
def questions(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """List the questions about a home."""
    reader(request, "site.read", record.site.id)
    row = page_rows.row_of(parts, record, None)
    return _spoken(request, record, partial(pages.answer_page, row, "", None, {}, "", (), visitor(request)))


@router.get("/sites/{site_id}/answers/{question}")
def answered(
    question: QuestionName, record: SiteRecordHere, request: Request, parts: AppStateHere
) -> Response:
    """Answer one question."""
    actor = reader(request, "site.read", record.site.id)
    row, values = page_rows.row_of(parts, record, None), _values(request)
    document: dict[str, Any] | None = None
    problem = ""
    try:
        document = answer(parts.service, record, question, asking_of(values, actor))
    except (InputError, NotAssessed) as error:
        problem = str(error)
    from fieldfare.analysis.answers.hours import known_zones

    zones = known_zones(record.site)
    made = partial(pages.answer_page, row, question, document, values, problem, zones, visitor(request))
    return _spoken(request, record, made)


def _spoken(request: Request, record: SiteRecord, make: Callable[[], str]) -> Response:
    """Render the household's page in its language; the office's is English."""
    if visitor(request)["role"] != "householder":
        return HTMLResponse(make())
    return in_readers_language(request, make, site=record.site)


@router.get("/sites/{site_id}/answers/{question}/paper")
def paper(
    question: QuestionName,
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    form: Literal["html", "pdf"] = "html",
) -> Response:
    """The same answer as a paper, worded for the reader's role."""
    actor = reader(request, "papers.read", record.site.id)
    document = answer(parts.service, record, question, asking_of(_values(request), actor))
    home = actor.role == "householder"
    made = answer_paper(parts.service, record, document, home=home)
    return rendered(made, form, served=form == "html", accepts=wishes(request) if home else None)


def _values(request: Request) -> dict[str, str]:
    """The form's values, without fields of other pages."""
    query = request.query_params
    return {name: query[name].strip()[:60] for name in _FIELDS if query.get(name, "").strip()}


def asking_of(values: dict[str, str], actor: Actor) -> Asking:
    """Parse the form to a question. Raises InputError naming the invalid field; 403 for a comparison with
    homes that the actor may not see."""
    if values.get("against") == "homes":
        check(actor, "fleet.read", None)
    if values.get("against", "year") not in ("year", "design", "homes"):
        raise InputError(f"against must be year, design or homes, got {values['against']!r}")
    days = {name: day_of(values.get(name, ""), name) for name in ("from", "to", "since")}
    hours = None
    if "from_hour" in values or "to_hour" in values:
        hours = _hour(values, "from_hour"), _hour(values, "to_hour")
    return Asking(
        first=days["from"],
        last=days["to"],
        against=cast("Literal['year', 'design', 'homes'] | None", values.get("against")),
        billed_kwh=_number(values, "billed_kwh"),
        billed_money=_number(values, "billed_money"),
        visit_cost=_number(values, "visit_cost"),
        zone=values.get("zone"),
        hours=hours,
        since=days["since"],
    )


_NUMBERS = {
    "billed_kwh": "the electricity billed [kWh]",
    "billed_money": "the amount billed",
    "visit_cost": "the cost of a visit",
}


def _number(values: dict[str, str], name: str) -> float | None:
    if name not in values:
        return None
    try:
        value = float(values[name])
    except ValueError:
        raise InputError(f"{_NUMBERS[name]} must be a number, got {values[name][:20]!r}") from None
    if not 0.0 <= value <= 1e7:
        raise InputError(f"{_NUMBERS[name]} must lie between 0 and 10 000 000")
    return value


def _hour(values: dict[str, str], name: str) -> int:
    text = values.get(name, "0")
    if not text.isdecimal() or int(text) > 24:
        raise InputError(f"{name.replace('_', ' ')} must be a local hour from 0 to 24, got {text[:20]!r}")
    return int(text)
