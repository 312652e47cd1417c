"""Maintenance log: jobs with date, author, findings and effect."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import InputError
from fieldfare.api.alerts.decisions import JOB_PROOF_DAYS, open_severities
from fieldfare.api.alerts.handling import close_by_job
from fieldfare.api.core.rolling_period import rolling_result
from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.people.access import Actor
from fieldfare.api.records.sign_off import is_sign_off, key_of, signed_words
from fieldfare.api.records.tuning_log import is_step
from fieldfare.api.records.tuning_log import key_of as tuning_key
from fieldfare.api.state.work_tables import Alert, Work

if TYPE_CHECKING:
    from fieldfare.analysis.tuning.steps import TuningStep

WINDOW_DAYS = 120
"""Days looked at before and after: enough for comparable weather on both sides of a season's turn."""


class UnknownWork(InputError):
    """The site has no such job."""


MOST_MINUTES, MOST_FINDINGS = 10_000, 30
MOST_TEXT = 2000
"""Characters."""


@dataclass(frozen=True)
class WorkRow:
    """A job. `finding` is the first of `findings`, or the key of a sign-off or a tuning step. minutes :
    time spent"""

    id: int
    site: str
    day: date
    what: str
    finding: str | None
    who: str
    created: datetime
    findings: list[str]
    parts: str
    minutes: int | None
    changed: datetime | None
    changed_by: str | None


@dataclass(frozen=True)
class Job:
    """Content of a job. minutes : time spent"""

    day: date
    what: str
    findings: tuple[str, ...] = ()
    parts: str = ""
    minutes: int | None = None


class MaintenanceLog:
    """Jobs in the state database."""

    def __init__(self, service: Service) -> None:
        self._service, self._database = service, service.database

    def add(self, site: str, job: Job, who: Actor) -> WorkRow:
        """Log a job and close the findings it names. Raises InputError."""
        _check(job)
        return self._enter(site, job, job.findings[0] if job.findings else None, who)

    def change(self, site: str, work: int, job: Job, who: Actor) -> WorkRow:
        """Correct a job; reopens findings it no longer names. Raises InputError, UnknownWork."""
        _check(job)
        open_now = self._open_now(site, job)
        with self._database.write() as session:
            row = _own(session, site, work)
            first = job.findings[0] if job.findings else None
            _fill(row, job, row.finding if is_step(row.finding) else first)
            row.changed, row.changed_by = datetime.now(UTC), who.name
            close_by_job(session, site, open_now, work, list(job.findings), who)
            return _row(row)

    def sign_check(
        self, site: str, day: date, kind: str, period: str, what: str, still_open: list[str], who: Actor
    ) -> WorkRow:
        """Record the sign-off of a check sheet. Raises InputError."""
        job = Job(day, signed_words(kind, period, what, still_open))
        _check_day(day)
        return self._enter(site, job, key_of(kind, period), who)

    def tune(self, site: str, step: TuningStep, what: str, who: Actor) -> WorkRow:
        """Log a step of tuning as a job. Raises InputError."""
        job = Job(step.day, what)
        _check(job)
        return self._enter(site, job, tuning_key(step), who)

    def _enter(self, site: str, job: Job, key: str | None, who: Actor) -> WorkRow:
        open_now = self._open_now(site, job)
        row = Work(site=site, who=who.name, created=datetime.now(UTC))
        _fill(row, job, key)
        with self._database.write() as session:
            session.add(row)
            session.flush()
            close_by_job(session, site, open_now, row.id, list(job.findings), who)
            return _row(row)

    def _open_now(self, site: str, job: Job) -> dict[str, str]:
        """Severities of the open findings: from last night's result, plus today's live findings."""
        found = open_severities(self._service.results.newest(site))
        record = self._service.sites.find(site)
        if record is None or all(code in found for code in job.findings):
            return found
        return {**open_severities(rolling_result(self._service, record, None)), **found}

    def page(self, site: str, offset: int, limit: int) -> tuple[list[WorkRow], int]:
        """Newest first, and how many there are."""
        chosen = select(Work).where(Work.site == site)
        with self._database.read() as session:
            total = session.scalar(select(func.count()).select_from(chosen.subquery())) or 0
            rows = list(
                session.scalars(chosen.order_by(Work.day.desc(), Work.id.desc()).offset(offset).limit(limit))
            )
        return [_row(r) for r in rows], total

    def get(self, site: str, work: int) -> WorkRow:
        """Raises UnknownWork."""
        with self._database.read() as session:
            return _row(_own(session, site, work))

    def remove(self, site: str, work: int, who: Actor) -> WorkRow:
        """Delete a job; reopens the findings it closed. Raises UnknownWork."""
        with self._database.write() as session:
            row = _own(session, site, work)
            close_by_job(session, site, {}, work, [], who)
            session.flush()
            session.delete(row)
            return _row(row)

    def effect(self, record: SiteRecord, work: WorkRow) -> dict[str, Any]:
        """Change at comparable weather, and whether the findings are gone.

        Uses only the days between the previous and the next job.
        """
        from fieldfare.analysis.figures.estimate import Estimate
        from fieldfare.analysis.reports.before_after import effect_of_work

        if is_sign_off(work.finding):  # a check has no effect
            return {"effect": None, "reason": None, "finding": None, "findings": []}
        standing = self._standing(work)
        open_findings = {"finding": standing[0] if standing else None, "findings": standing}
        first, last = self._service.results.span(record)
        start, end = self._undisturbed(work)
        first, last = max(first, start), min(last, end)
        if first >= last:
            return {"effect": None, "reason": "no readings on both sides of it", **open_findings}
        facts = self._service.facts_cache.facts(record.site, first, last)
        effect = effect_of_work(facts.days, work.day, record.site)
        document = {k: v.as_dict() if isinstance(v, Estimate) else v for k, v in vars(effect).items()}
        return {"effect": document, "reason": effect.reason, **open_findings}

    def _undisturbed(self, work: WorkRow) -> tuple[date, date]:
        """Days around a job without another job; signed checks do not count."""
        chosen = select(Work.day, Work.finding).where(Work.site == work.site, Work.day != work.day)
        with self._database.read() as session:
            other = {day for day, finding in session.execute(chosen) if not is_sign_off(finding)}
        before = max((d for d in other if d < work.day), default=date.min)
        after = min((d for d in other if d > work.day), default=date.max)
        wide = timedelta(days=WINDOW_DAYS)
        first = work.day - wide if before == date.min else max(before + timedelta(days=1), work.day - wide)
        last = work.day + wide if after == date.max else min(after - timedelta(days=1), work.day + wide)
        return first, last

    def _standing(self, work: WorkRow) -> list[dict[str, Any]]:
        """State of each finding of a job: gone, back, or still present."""
        if not work.findings:
            return []
        chosen = select(Alert).where(Alert.site == work.site, Alert.code.in_(work.findings))
        with self._database.read() as session:
            alerts = {a.code: a.state for a in session.scalars(chosen)}
        newest = self._service.results.newest(work.site) or {}
        found = newest.get("findings", [])
        proof = (work.day + timedelta(days=JOB_PROOF_DAYS)).isoformat()
        is_early = bool(newest) and newest["period"]["to"] < proof
        now = {f["code"]: f for f in found}
        return [
            {
                "code": code,
                "is_gone": code not in now or now[code].get("until") is not None,
                "alert": alerts.get(code),
                "severity_now": now[code]["severity"] if code in now else None,
                "is_early": is_early,
                "came_back": came_back(now.get(code), work.day),
            }
            for code in work.findings
        ]


def came_back(finding: dict[str, Any] | None, done: date) -> str | None:
    """Day on which a finding returned after a job; None if it is gone or never went away."""
    if finding is None or finding.get("until") is not None:
        return None
    since = str(finding["since"])
    return since if since > done.isoformat() else None


def _check(job: Job) -> None:
    """Raise InputError with the first error."""
    _check_day(job.day)
    if not job.what.strip():
        raise InputError("say what was done")
    if any(is_sign_off(code) for code in job.findings):
        raise InputError("a check is signed on its sheet")


def _check_day(day: date) -> None:
    if day > datetime.now(UTC).date() + timedelta(days=1):
        raise InputError(f"a job is logged when it has been done; {day} is still to come")


def _fill(row: Work, job: Job, key: str | None) -> None:
    row.day, row.what, row.finding = job.day, job.what.strip(), key
    row.findings, row.parts, row.minutes = list(job.findings), job.parts.strip(), job.minutes


def _own(session: Session, site: str, work: int) -> Work:
    """Raises UnknownWork."""
    row = session.get(Work, work)
    if row is None or row.site != site:
        raise UnknownWork(f"{site} has no job {work}")
    return row


def _row(r: Work) -> WorkRow:
    findings = r.findings
    if findings is None:  # logged by a release with one finding per job
        findings = [r.finding] if r.finding and not is_sign_off(r.finding) else []
    return WorkRow(
        r.id,
        r.site,
        r.day,
        r.what,
        r.finding,
        r.who,
        r.created,
        list(findings),
        r.parts,
        r.minutes,
        r.changed,
        r.changed_by,
    )
