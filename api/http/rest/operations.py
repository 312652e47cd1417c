"""Jobs, health, metrics."""

from __future__ import annotations

from functools import cache
from typing import Annotated, Literal

from anyio import CapacityLimiter, to_thread
from fastapi import Query, Request, Response

from fieldfare.api.http.app_state import parts_of
from fieldfare.api.http.auth import AppStateHere, need
from fieldfare.api.http.metrics import metrics_of
from fieldfare.api.http.routers import rest_router
from fieldfare.api.http.schemas import (
    HowMany,
    Offset,
    Page,
    document,
    page,
)
from fieldfare.api.jobs.leases import RunRow
from fieldfare.api.people.access import Actor

router = rest_router("operation")
outside = rest_router("operation", prefix="")
"""Routes at the root instead of under the API's prefix."""


HEALTH_THREADS = 2


@cache
def _own_threads() -> CapacityLimiter:
    return CapacityLimiter(HEALTH_THREADS)


@router.get("/jobs")
def list_jobs(
    request: Request,
    response: Response,
    parts: AppStateHere,
    actor: Actor = need("jobs.read"),
    kind: Annotated[Literal["", "night", "watch", "month", "winter", "digest", "tidy"], Query()] = "",
    site: Annotated[str, Query(pattern=r"^[a-z0-9-]{0,40}$")] = "",
    offset: Offset = 0,
    limit: HowMany = 100,
) -> Page[RunRow]:
    """List job runs, newest first."""
    rows, total = parts.leases.page(offset, limit, kind=kind, site=site)
    return page(request, response, rows, total, offset, limit)


@outside.get("/healthz")
async def health(request: Request) -> dict[str, str | int]:
    """Health: the process runs and the state database answers; number of unreadable site files, if any.

    Does not wait for the pages' thread pool, which may be busy.
    """
    sites = parts_of(request).service.sites

    def failed() -> int:
        return sum(card.trouble is not None for card in sites.cards())

    count = await to_thread.run_sync(failed, limiter=_own_threads())
    return {"status": "ok", "sites_failed": count} if count else {"status": "ok"}


@outside.get(
    "/metrics",
    response_class=Response,
    responses={200: {"content": {"text/plain": {"schema": {"type": "string"}}}}},
)
def metrics(parts: AppStateHere, actor: Actor = need("metrics.read")) -> Response:
    """Counters and gauges in the Prometheus text format."""
    return document(metrics_of(parts).text(), "text/plain; version=0.0.4; charset=utf-8")
