"""Homes fed only by imported files: last reading, and when the next file is due.

Such a home has no gateway, so no new reading for weeks is no fault. A home counts as one while its newest
reading is a file's, and was one before that file too: files that fill a gateway's gaps do not make one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from statistics import median

from sqlalchemy import Connection, select

from fieldfare.analysis.reports.verdict import FileFeed
from fieldfare.api.state.site_tables import FILE_IMPORTS

USUAL = timedelta(days=31)
"""Time between files where fewer than `HABIT_FROM` came: portals and firms export by the month (common
practice)."""
HABIT_FROM = 3
"""Files on different days [-] that show a habit."""
OVERDUE = 2.0
"""Times [-] the usual time between files, after which one was forgotten (common practice)."""
AT_LEAST = timedelta(days=3)
"""The shortest wait before a reminder: a weekend passes over files of every day (common practice)."""
_HABIT = 7
"""Files that the habit is read from, the newest."""
_F = FILE_IMPORTS.c


def file_feeds(db: Connection, heard: Mapping[str, datetime | None]) -> dict[str, FileFeed]:
    """Feeds of the homes that are fed by files. heard : site -> time of its newest reading"""
    chosen = (
        select(_F.site, _F.time, _F.last, _F.after_files)
        .where(_F.site.in_(list(heard)), _F.last.is_not(None))
        .order_by(_F.time)
    )
    files: dict[str, list[tuple[datetime, int, bool]]] = {}
    for site, time, last, after_files in db.execute(chosen):
        files.setdefault(site, []).append((time, last, after_files))
    return {
        site: feed
        for site, rows in files.items()
        if (newest := heard[site]) is not None and (feed := _feed(rows, newest)) is not None
    }


def _feed(rows: Iterable[tuple[datetime, int, bool]], newest: datetime) -> FileFeed | None:
    rows = list(rows)
    _, last, after_files = max(rows, key=lambda row: (row[1], row[0]))
    if not after_files or newest > datetime.fromtimestamp(last / 1000, UTC):
        return None
    days = sorted({time.date(): time for time, _, _ in rows}.values())[-_HABIT:]
    gaps = [(later - earlier).total_seconds() for earlier, later in pairwise(days)]
    has_habit = len(days) >= HABIT_FROM
    usual = timedelta(seconds=median(gaps)) if has_habit else USUAL
    due = days[-1] + max(OVERDUE * usual, AT_LEAST)
    return FileFeed(newest, due, usual if has_habit else None)
