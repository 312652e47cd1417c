"""Groups of the live overview: mark, word and homes of each state."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from markupsafe import Markup

from fieldfare.analysis.reports.verdict import SILENT_AFTER, FileFeed
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.live import OLD_MIN

STATES: tuple[tuple[str, str, str, str], ...] = (
    ("silent", "silent", "silent", '<path d="M5 19 19 5M5 5l14 14"/>'),
    ("file", "read from files", "read from files", '<path d="M7 3h7l4 4v14H7zM14 3v4h4M10 12h5M10 16h5"/>'),
    ("stands", "stands still", "stand still", '<path d="M7 4v16M17 4v16"/>'),
    ("defrost", "defrosts", "defrost", '<path d="M12 3v18M4 7.5l16 9M4 16.5l16-9"/>'),
    (
        "hot_water",
        "makes hot water",
        "make hot water",
        '<path d="M12 3C8 9 6 12 6 15a6 6 0 0 0 12 0c0-3-2-6-6-12z"/>',
    ),
    ("heating", "heats the rooms", "heat the rooms", '<path d="M4 12 12 4l8 8M7 10v10h10V10"/>'),
    ("cooling", "cools the rooms", "cool the rooms", '<path d="M4 12 12 20l8-8M7 14V4h10v10"/>'),
    ("runs", "runs", "run", '<path d="M7 4v16l12-8z"/>'),
    ("rests", "rests", "rest", '<circle cx="12" cy="12" r="7.5"/>'),
    (
        "waiting",
        "is not read yet",
        "are not read yet",
        '<path d="M6 4h12M6 20h12M7 4l10 16M17 4 7 20"/>',
    ),
    (
        "unknown",
        "not known from its readings",
        "not known from their readings",
        '<path d="M9 8a3.5 3.5 0 1 1 3.5 4.5V15M12.5 19v.5"/>',
    ),
)
"""Key, words for one and for several, and the strokes of a sign on a grid of 24: distinct by shape and word,
never by colour alone."""


def grouped(rows: Iterable[dict[str, Any]], now: datetime) -> list[dict[str, Any]]:
    """Non-empty groups, most important first.

    rows : id, name, state, text, time [ms] of the last reading and told_at [ms] of the one that the state is
        comes from; both None where there is none. feed, zone : where it is fed by files alone, and its zone
    """
    homes: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        heard, then = _moment(row["time"]), _moment(row["told_at"])
        feed: FileFeed | None = row.get("feed")
        silent = feed is None and (heard is None or now - heard > SILENT_AFTER)
        old = then is not None and (now - then).total_seconds() > 60 * OLD_MIN
        text = row["text"] if not silent else ""
        age = words.age(heard if silent else then, now) if silent or old else ""
        key = "silent" if silent else row["state"]
        if feed is not None:
            key, age = "file", "next file is due" if feed.is_due(now) else ""
            text = f"last file: {words.file_until(feed.until, row['zone'])}"
        homes.setdefault(key, []).append({**row, "text": text, "age": age})
    out = []
    for key, one, several, strokes in STATES:
        here = sorted(homes.get(key, []), key=lambda h: h["name"].casefold())
        if here:
            word = one if len(here) == 1 else several
            out.append(
                {
                    "key": key,
                    "name": words.capital(word),
                    "word": word,
                    "sign": sign(strokes),
                    "homes": here,
                }
            )
    return out


def _moment(ms: int | None) -> datetime | None:
    return None if ms is None else datetime.fromtimestamp(ms / 1000, UTC)


def sign(strokes: str) -> Markup:
    drawn = f'<svg class="sign-of" viewBox="0 0 24 24" aria-hidden="true" focusable="false">{strokes}</svg>'
    return Markup(drawn)  # noqa: S704
