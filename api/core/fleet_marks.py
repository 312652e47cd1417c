"""Invalidate rows of the fleet table."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime

from sqlalchemy import Connection, update

from fieldfare.api.state.site_tables import FLEET_SUMMARIES

PAST = datetime(1970, 1, 1, tzinfo=UTC)


def mark_stale(db: Connection, site_ids: Iterable[str], *, with_result: bool = False) -> None:
    """Mark rows so that the next list rebuilds them, in the transaction that changes the homes.

    with_result : from result and site file, too; else only what stands beside them, such as decisions
    """
    stale = update(FLEET_SUMMARIES).where(FLEET_SUMMARIES.c.site.in_(list(site_ids)))
    db.execute(stale.values(good_until=PAST, **({"brief": None} if with_result else {})))
