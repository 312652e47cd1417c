"""Invalidate rows of the fleet table."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime

from sqlalchemy import Connection, update

from fieldfare.api.state.site_tables import FLEET_SUMMARIES

PAST = datetime(1970, 1, 1, tzinfo=UTC)


def mark_stale(db: Connection, site_ids: Iterable[str], *, with_result: bool = False) -> None:
    """Mark rows as stale, in the transaction that changes the homes; the next list rebuilds them.

    with_result : also rebuild from result and site file; otherwise only the rest, such as decisions
    """
    stale = update(FLEET_SUMMARIES).where(FLEET_SUMMARIES.c.site.in_(list(site_ids)))
    db.execute(stale.values(good_until=PAST, **({"brief": None} if with_result else {})))
