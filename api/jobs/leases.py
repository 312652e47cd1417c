"""Job leases: each job is claimed by one worker, done once, and taken over if its worker dies."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import func, select, update
from sqlalchemy.exc import IntegrityError

from fieldfare.api.jobs.due import Due
from fieldfare.api.people.secrets import new_id
from fieldfare.api.state.database import Database
from fieldfare.api.state.work_tables import JobRun

LOST_AFTER = timedelta(minutes=10)
"""A job of another machine without heartbeat for this long is taken over."""
MOST_ATTEMPTS = 3
AGAIN_AFTER = timedelta(minutes=30)


@dataclass(frozen=True)
class RunRow:
    id: int
    kind: str
    site: str
    due: str
    state: str
    attempts: int
    started: datetime
    ended: datetime | None
    told: str


class JobLeases:
    """Job runs in the state database. `worker` identifies this process."""

    def __init__(self, database: Database, clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self._database, self._clock = database, clock
        self.worker: str = f"{socket.gethostname()}:{os.getpid()}:{new_id()}"

    def open_of(self, due: Iterable[Due], now: datetime) -> list[Due]:
        """Due jobs that are not finished, not leased by a live worker and not exhausted."""
        due = list(due)
        keys = {d.key for d in due}
        with self._database.read() as session:
            rows = session.scalars(select(JobRun).where(JobRun.due.in_(keys))).all() if keys else []
        known = {(r.kind, r.site, r.due): r for r in rows}
        return [d for d in due if self._is_open(known.get((d.kind, d.site, d.key)), now)]

    def claim(self, due: Due, now: datetime) -> int | None:
        """Claim a job. Return its run id, or None if it is done or leased."""
        chosen = select(JobRun).where(JobRun.kind == due.kind, JobRun.site == due.site, JobRun.due == due.key)
        try:
            with self._database.write() as session:
                row = session.scalars(chosen.with_for_update()).first()
                if not self._is_open(row, now):
                    return None
                if row is None:
                    row = JobRun(kind=due.kind, site=due.site, due=due.key, attempts=0, told="")
                    session.add(row)
                row.state, row.worker, row.started, row.beat, row.ended = (
                    "running",
                    self.worker,
                    now,
                    now,
                    None,
                )
                row.attempts += 1
                session.flush()
                return row.id
        except IntegrityError:  # another process was faster
            return None

    def finish(self, run: int, state: str, message: str) -> None:
        """End a run. state : done or failed. message : one line for people."""
        self._set(run, state=state, told=message[:2000], ended=self._clock())

    def give_back(self, run: int) -> None:
        """Release an unfinished job."""
        self._set(run, state="waiting", told="given back when the service was stopped")

    def tell(self, run: int, message: str) -> None:
        """Record progress of a running job; also renews the lease."""
        self._set(run, told=message[:2000], beat=self._clock())

    def beat(self) -> None:
        """Renew all leases of this worker."""
        mine = (JobRun.state == "running", JobRun.worker == self.worker)
        with self._database.write() as session:
            session.execute(update(JobRun).where(*mine).values(beat=self._clock()))

    def page(self, offset: int, limit: int, *, kind: str = "", site: str = "") -> tuple[list[RunRow], int]:
        """Job runs, newest first, and the total count."""
        chosen = select(JobRun)
        if kind:
            chosen = chosen.where(JobRun.kind == kind)
        if site:
            chosen = chosen.where(JobRun.site == site)
        with self._database.read() as session:
            total = session.scalar(select(func.count()).select_from(chosen.subquery())) or 0
            rows = list(session.scalars(chosen.order_by(JobRun.id.desc()).offset(offset).limit(limit)))
        return [_row(r) for r in rows], total

    def counts(self) -> dict[tuple[str, str], int]:
        """(kind, state) -> how many."""
        with self._database.read() as session:
            rows = session.execute(
                select(JobRun.kind, JobRun.state, func.count()).group_by(JobRun.kind, JobRun.state)
            )
            return {(kind, state): n for kind, state, n in rows}

    def _is_open(self, row: JobRun | None, now: datetime) -> bool:
        if row is None or row.state == "waiting":
            return True
        if row.state == "done":
            return False
        if row.state == "failed":
            return row.attempts < MOST_ATTEMPTS and row.ended is not None and row.ended + AGAIN_AFTER <= now
        return row.worker != self.worker and (not _lives(row.worker) or row.beat + LOST_AFTER < now)

    def _set(self, run: int, **values: object) -> None:
        with self._database.write() as session:
            session.execute(update(JobRun).where(JobRun.id == run).values(values))


def _lives(worker: str) -> bool:
    """False if a worker of this machine has ended; workers of other machines are judged by heartbeat."""
    host, pid, _ = worker.rsplit(":", 2)
    if host != socket.gethostname():
        return True
    if int(pid) == os.getpid():
        return False  # the process id was reused: that worker is gone
    try:
        os.kill(int(pid), 0)
    except ProcessLookupError:
        return False
    except PermissionError:  # another user's process
        pass
    return True


def _row(r: JobRun) -> RunRow:
    return RunRow(r.id, r.kind, r.site, r.due, r.state, r.attempts, r.started, r.ended, r.told)
