"""Dead letters of the broker: list, retry and delete."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from fieldfare.api.core.service import Service
from fieldfare.api.core.settings import Settings
from fieldfare.api.core.site_rows import moment_text
from fieldfare.collector.mqtt import dead_letters
from fieldfare.collector.mqtt.journal import Journal


def list_dead_letters(
    settings: Settings, site: str | None = None, most: int = 100, after: int | None = None
) -> dict[str, Any]:
    """Dead letters, oldest first, with counts by reason.

    after : the first `most` after this id; None for the newest ones
    """
    with _journal(settings) as journal:
        tally = dead_letters.tally(journal)
        rows = dead_letters.held(journal, site, after=after or 0, most=most, newest=after is None)
        return {
            "held": tally.messages,
            "ever": tally.kept,
            "dropped": tally.dropped,
            "reasons": dead_letters.reasons(journal, site),
            "messages": [
                {
                    "id": r.id,
                    "site": r.site,
                    "topic": r.topic,
                    "payload": r.payload.decode("utf-8", errors="replace"),
                    "arrived": moment_text(r.arrived),
                    "reason": r.reason,
                }
                for r in rows
            ],
        }


def retry_dead_letters(service: Service, site: str | None = None) -> dict[str, int]:
    """Decode them again with the current sites."""
    if site is not None:
        service.sites.get(site)
    with _journal(service.settings) as journal:
        sites = [record.site for record in service.sites.all()]
        return dead_letters.replay(journal, sites, service.store, site=site)._asdict()


def clear_dead_letters(settings: Settings, site: str | None = None) -> int:
    """Delete them. Return how many."""
    with _journal(settings) as journal:
        return dead_letters.clear(journal, site)


@contextmanager
def _journal(settings: Settings) -> Iterator[Journal]:
    journal = Journal(settings.data)
    try:
        yield journal
    finally:
        journal.close()
