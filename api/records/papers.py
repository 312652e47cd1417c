"""Papers: collect their contents from results, store them, and render HTML, PDF or JSON."""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import orjson
from sqlalchemy import select

from fieldfare.analysis.errors import InputError
from fieldfare.api.alerts.decisions import lasts, open_severities
from fieldfare.api.alerts.handling import Handlings
from fieldfare.api.checks.contents import check_contents
from fieldfare.api.checks.sheets import SheetKey
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.rolling_period import rolling_result, under_standing_verdict
from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.firm.about import AboutFirm
from fieldfare.api.records.sign_off import sign_offs
from fieldfare.api.state.work_tables import StoredPaper, Work
from fieldfare.dashboards.paper_site import site_on_paper

if TYPE_CHECKING:
    from fastapi.responses import Response

HAND_OVER_DAYS = 56
"""The first weeks: eight are enough for a first heat loss estimate."""
FORMS = ("json", "html", "pdf")


@dataclass(frozen=True)
class Paper:
    """A paper's contents.

    kind : month, winter, hand-over, service or commissioning. period : 2026-01, 2026 or first. contents : the
        results it shows. firm : the issuer
    """

    kind: str
    period: str
    contents: dict[str, Any]
    firm: AboutFirm


@dataclass(frozen=True)
class PaperRow:
    kind: str
    period: str
    made: datetime


def month_paper(service: Service, record: SiteRecord, month: str, *, looked_at: bool = False) -> Paper:
    """The householder's monthly report, compared with the month before and the same month a year ago if there
    are readings.

    month : YYYY-MM. looked_at : for a page, whose newest days may be some minutes old (see `Results.recent`)
    Raises InputError, NoReadings
    """
    first, last = _month(month)
    start, end = service.results.span(record)
    if last < start or first > end:
        raise NoReadings(record.site.id, f"in {month}", (start, end))
    days = first, min(last, end)
    document = _document(service, record, *days, looked_at=looked_at)
    contents = {
        **_common_contents(service, record, *days, document),
        "year": _result(service, record, *_year_to(service, start, days[1]), looked_at=looked_at),
        "works": _done(service, record.site.id, first, last),
        "worked_on": _worked_on(service, record),
        "like_weather": {},
    }
    for key, ends in (("month_before", first - timedelta(days=1)), ("year_before", _year_before(first))):
        before = ends.replace(day=1), ends
        contents[key] = None  # if its readings do not reach back that far
        if before[0] >= start:
            earlier = _document(service, record, *before, looked_at=looked_at)
            contents[key] = orjson.loads(earlier)
            made_of = (record.file, earlier, document) if looked_at else ()
            contents["like_weather"][key] = _like_weather(service, record, before, days, made_of)
    return Paper("month", month, contents, service.firm)


def winter_paper(
    service: Service,
    record: SiteRecord,
    season: int | None = None,
    *,
    pictures: bool = False,
    looked_at: bool = False,
) -> Paper:
    """Contents of the winter check.

    season : year in which the winter begins, default that of the last reading. pictures : hold photos as
        small pictures. looked_at : as of `month_paper`
    Raises InputError, NoReadings
    """
    start, end = service.results.span(record)
    year = end.year if season is None else season
    if not 1990 <= year <= 2200:
        raise InputError(f"the season must be a year, got {year}")
    if year == end.year:
        first, last = service.results.rolling(record, service.settings.rolling_days)
    else:
        first, last = max(start, date(year - 1, 9, 1)), min(end, date(year, 10, 31))
    if first > last:
        raise InputError(
            f"{record.site.id} has no readings before the winter of {year}; they run from {start} to {end}"
        )
    signed = sign_offs(service.database, record.site.id).get((record.site.id, str(year)))
    check = check_contents(service, record, SheetKey("winter", str(year)), pictures=pictures)
    document = _document(service, record, first, last, looked_at=looked_at)
    contents = _common_contents(service, record, first, last, document)
    contents |= {"signed": signed, "check": check}
    return Paper("winter", str(year), contents, service.firm)


def check_paper(service: Service, record: SiteRecord, key: SheetKey) -> Paper:
    """Contents of a commissioning or annual service check; needs no readings."""
    contents = {
        "site": site_on_paper(record.site),
        "firm": service.firm.signature,
        "check": check_contents(service, record, key, pictures=True),
    }
    return Paper(key.kind, key.period, contents, service.firm)


def hand_over_paper(service: Service, record: SiteRecord) -> Paper:
    """Contents of the hand-over review: the first weeks against the design; from the first reading if no
    hand-over date is given."""
    start, end = service.results.span(record)
    first = max(start, record.site.handed_over or start)
    if first > end:
        raise NoReadings(record.site.id, f"since the hand-over on {first}", (start, end))
    last = min(end, first + timedelta(days=HAND_OVER_DAYS - 1))
    document = service.results.document(record, first, last)
    return Paper("hand-over", "first", _common_contents(service, record, first, last, document), service.firm)


def answer_paper(
    service: Service, record: SiteRecord, document: dict[str, Any], *, home: bool = False
) -> Paper:
    """An answer to a caller as a paper. home : worded for the householder"""
    first, last = (date.fromisoformat(document["period"][key]) for key in ("from", "to"))
    result = service.results.result(record, first, last)
    contents = {
        "site": site_on_paper(record.site),
        "result": result,
        "days": [],
        "firm": service.firm.signature,
        "answer": document,
        "home": home,
    }
    return Paper("answer", document["question"], contents, service.firm)


def paper_for(service: Service, record: SiteRecord, kind: str, period: str) -> Paper:
    """Any paper by kind and period. Raises InputError, NoReadings."""
    if kind == "month":
        return month_paper(service, record, period)
    if kind == "winter":
        if not re.fullmatch(r"\d{4}", period):
            raise InputError(f"a winter check is of a year, such as 2026, not {period!r}")
        return winter_paper(service, record, int(period), pictures=True)
    if kind in ("service", "commissioning"):
        return check_paper(service, record, SheetKey(kind, period))  # type: ignore[arg-type]
    return hand_over_paper(service, record)


def keep_paper(service: Service, site: str, paper: Paper) -> None:
    """Store a paper's contents, so that it can be shown again as sent."""
    row = StoredPaper(
        site=site, kind=paper.kind, period=paper.period, made=datetime.now(UTC), contents=paper.contents
    )
    with service.database.write() as session:
        session.merge(row)


def stored_papers(service: Service, site: str) -> list[PaperRow]:
    """Newest first."""
    with service.database.read() as session:
        rows = session.scalars(
            select(StoredPaper).where(StoredPaper.site == site).order_by(StoredPaper.made.desc())
        )
        return [PaperRow(r.kind, r.period, r.made) for r in rows]


def write_paper(paper: Paper, out: Path) -> None:
    """Write a paper to a file in the format of its extension. Raises InputError."""
    form = out.suffix.lower().lstrip(".")
    if form not in FORMS:
        raise InputError(f"{out}: the file must end in .html, .pdf or .json")
    if not out.absolute().parent.is_dir():
        raise InputError(f"{out}: there is no folder {out.absolute().parent}")
    out.write_bytes(paper_bytes(paper, form))


def rendered(paper: Paper, form: str, *, served: bool = False, accepts: str | None = None) -> Response:
    """A paper as an HTTP response. served : as a page of the service with its style sheets, instead of
    self-contained. accepts : the reader's languages, in the form of
    Accept-Language"""
    from fastapi.responses import Response

    kinds = {"json": "application/json", "html": "text/html; charset=utf-8", "pdf": "application/pdf"}
    body = paper_bytes(paper, form, served=served, accepts=accepts)
    headers = {} if accepts is None else {"Vary": "Accept-Language"}
    return Response(body, media_type=kinds[form], headers=headers)


def paper_bytes(paper: Paper, form: str, *, served: bool = False, accepts: str | None = None) -> bytes:
    """A paper as JSON, HTML or PDF. accepts : the reader's languages, as Accept-Language has them;
    without it a month is in the home's language"""
    if form == "json":
        return orjson.dumps(
            {"kind": paper.kind, "period": paper.period, **paper.contents}, option=orjson.OPT_INDENT_2
        )
    from fieldfare.dashboards.papers import paper_html, paper_pdf
    from fieldfare.dashboards.text.language import preferred

    own = paper.contents["site"]["site"].get("language")
    language = preferred(accepts or "", own)
    logo = paper.firm.logo_path if served else paper.firm.logo_address
    if form == "html":
        at = f"/api/v1/sites/{paper.contents['site']['site']['id']}/papers/{paper.kind}/{paper.period}"
        forms = {"pdf": f"{at}?form=pdf", "json": f"{at}?form=json"}
        links = forms if served and paper.kind != "answer" else None
        page = paper_html(
            paper.kind,
            paper.period,
            paper.contents,
            served=served,
            links=links,
            logo=logo,
            language=language,
        )
        return page.encode()
    return paper_pdf(paper.kind, paper.period, paper.contents, logo=logo, language=language)


def _month(text: str) -> tuple[date, date]:
    try:
        first = date.fromisoformat(f"{text}-01")
    except ValueError:
        raise InputError(f"{text!r} is not a month; write YYYY-MM, such as 2026-01") from None
    return first, first.replace(day=calendar.monthrange(first.year, first.month)[1])


def _document(service: Service, record: SiteRecord, first: date, last: date, *, looked_at: bool) -> bytes:
    """Result of some days as JSON; for a page, one that new readings don't invalidate."""
    results = service.results
    return results.recent(record, first, last) if looked_at else results.document(record, first, last)


def _result(
    service: Service, record: SiteRecord, first: date, last: date, *, looked_at: bool
) -> dict[str, Any]:
    found: dict[str, Any] = orjson.loads(_document(service, record, first, last, looked_at=looked_at))
    return found


def _like_weather(
    service: Service,
    record: SiteRecord,
    before: tuple[date, date],
    after: tuple[date, date],
    made_of: tuple[Any, ...],
) -> dict[str, Any]:
    """Compare two periods at comparable weather; their facts must be up to date.

    made_of : version token for caching; empty to recompute
    """
    from fieldfare.analysis.figures.like_weather import like_weather

    def made() -> dict[str, Any]:
        kept = (service.facts_cache.stored(record.site.id, *days).days for days in (before, after))
        return like_weather(record.site, *kept).as_dict()

    return service.compared.get((before, after, *made_of), made) if made_of else made()


def _year_to(service: Service, start: date, last: date) -> tuple[date, date]:
    """The rolling year up to a day, for figures that need more than a month."""
    return max(start, last - timedelta(days=service.settings.rolling_days - 1)), last


def _done(service: Service, site: str, first: date, last: date) -> list[dict[str, str]]:
    """Jobs of a month, oldest first."""
    chosen = select(Work).where(Work.site == site, Work.day >= first, Work.day <= last)
    with service.database.read() as session:
        return [
            {"day": w.day.isoformat(), "what": w.what}
            for w in session.scalars(chosen.order_by(Work.day, Work.id))
        ]


def _worked_on(service: Service, record: SiteRecord) -> dict[str, str]:
    """Finding code -> day of its newest job, if its effect is not known yet."""
    rows = Handlings(service.database).of_site(record.site.id)
    severities, now = open_severities(rolling_result(service, record, None)), datetime.now(UTC)
    works = {
        code: row.work
        for code, row in rows.items()
        if row.state == "done" and row.work is not None and lasts(row, severities.get(code), now)
    }
    with service.database.read() as session:
        chosen = select(Work.id, Work.day).where(Work.id.in_(works.values()))
        days = {id_: day.isoformat() for id_, day in session.execute(chosen)}
    return {code: days[work] for code, work in works.items() if work in days}


def _year_before(first: date) -> date:
    month = first.replace(year=first.year - 1)
    return month.replace(day=calendar.monthrange(month.year, month.month)[1])


def _common_contents(
    service: Service, record: SiteRecord, first: date, last: date, document: bytes
) -> dict[str, Any]:
    """Contents common to all papers: site record, result, and the daily values that figures draw."""
    from fieldfare.dashboards.rows.days import day_rows

    result = under_standing_verdict(service, record, orjson.loads(document))
    days = day_rows(service.facts_cache.stored(record.site.id, first, last), record.site.zone)
    return {
        "site": site_on_paper(record.site),
        "result": result,
        "days": days,
        "firm": service.firm.signature,
    }
