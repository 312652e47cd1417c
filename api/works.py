"""The works log: what was changed, when, by whom, for which finding, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import func, select

from analysis.errors import InputError
from api.people.access import Actor
from api.plants import Plant
from api.service import Service
from api.sign_off import is_sign_off, key_of, signed_words
from api.state.work_tables import Alert, Work

WINDOW_DAYS = 120
"""Days looked at before and after: enough for like weather on both sides of a season's turn."""


class UnknownWork(InputError):
    """The site has no such entry."""


@dataclass(frozen=True)
class WorkRow:
    id: int
    site: str
    day: date
    what: str
    finding: str | None
    who: str
    created: datetime


class Works:
    """Entries in the state database."""

    def __init__(self, service: Service) -> None:
        self._service, self._database = service, service.database

    def add(self, site: str, day: date, what: str, finding: str | None, who: Actor) -> WorkRow:
        """Raises InputError."""
        if is_sign_off(finding):
            raise InputError("a winter check is signed on its sheet")
        return self._enter(site, day, what, finding, who)

    def sign_winter(
        self, site: str, day: date, season: int, what: str, still_open: list[str], who: Actor
    ) -> WorkRow:
        """Enter that the checks before a winter were gone through. Raises InputError."""
        return self._enter(site, day, signed_words(season, what, still_open), key_of(season), who)

    def _enter(self, site: str, day: date, what: str, finding: str | None, who: Actor) -> WorkRow:
        if day > datetime.now(UTC).date() + timedelta(days=1):
            raise InputError("a work is entered when it has been done, not before")
        row = Work(
            site=site, day=day, what=what.strip(), finding=finding, who=who.name, created=datetime.now(UTC)
        )
        with self._database.write() as session:
            session.add(row)
            session.flush()
            return _row(row)

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
            row = session.get(Work, work)
        if row is None or row.site != site:
            raise UnknownWork(f"{site} has no work of number {work}")
        return _row(row)

    def remove(self, site: str, work: int) -> None:
        """Raises UnknownWork."""
        self.get(site, work)
        with self._database.write() as session:
            session.delete(session.get_one(Work, work))

    def effect(self, plant: Plant, work: WorkRow) -> dict[str, Any]:
        """What changed at like weather, and whether the finding went away. Only works since the entry before and until
        the entry after count."""
        from analysis.effect import effect_of_work
        from analysis.figures.estimate import Estimate

        if is_sign_off(work.finding):  # a check changes nothing
            return {"effect": None, "reason": None, "finding": None}
        first, last = self._service.results.span(plant)
        start, end = self._undisturbed(work)
        first, last = max(first, start), min(last, end)
        if first >= last:
            return {
                "effect": None,
                "reason": "no readings on both sides of it",
                "finding": self._finding(work),
            }
        facts = self._service.keeper.facts(plant.site, first, last)
        effect = effect_of_work(facts.days, work.day)
        told = {k: v.as_dict() if isinstance(v, Estimate) else v for k, v in vars(effect).items()}
        return {"effect": told, "reason": effect.reason, "finding": self._finding(work)}

    def _undisturbed(self, work: WorkRow) -> tuple[date, date]:
        """The days around a work that no other work lies between; a check that was signed is none."""
        chosen = select(Work.day, Work.finding).where(Work.site == work.site, Work.day != work.day)
        with self._database.read() as session:
            other = {day for day, finding in session.execute(chosen) if not is_sign_off(finding)}
        before = max((d for d in other if d < work.day), default=date.min)
        after = min((d for d in other if d > work.day), default=date.max)
        wide = timedelta(days=WINDOW_DAYS)
        first = work.day - wide if before == date.min else max(before + timedelta(days=1), work.day - wide)
        last = work.day + wide if after == date.max else min(after - timedelta(days=1), work.day + wide)
        return first, last

    def _finding(self, work: WorkRow) -> dict[str, Any] | None:
        """How the finding of a work stands: gone, there again, or still there."""
        if work.finding is None:
            return None
        with self._database.read() as session:
            alert = session.scalars(
                select(Alert).where(Alert.site == work.site, Alert.code == work.finding)
            ).first()
        result = self._service.results.newest(work.site)
        now = next((f for f in (result or {}).get("findings", []) if f["code"] == work.finding), None)
        return {
            "code": work.finding,
            "is_gone": now is None or now.get("until") is not None,
            "alert": alert.state if alert is not None else None,
            "severity_now": now["severity"] if now else None,
        }


def _row(r: Work) -> WorkRow:
    return WorkRow(r.id, r.site, r.day, r.what, r.finding, r.who, r.created)
