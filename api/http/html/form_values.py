"""Read and validate form values; problems become sentences."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

from fastapi import Request

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.schemas import FINDING_CODE
from fieldfare.dashboards.text import words


def typed_day(text: str) -> date | None:
    """An ISO 8601 day; None for any other text."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        return None


def day_of(text: str, name: str) -> date | None:
    """The day in a query parameter; None if it is empty. Raises InputError for other text."""
    day = typed_day(text)
    if day is None and text:
        raise InputError(f"{name} must be a day, such as 2026-01-31, got {text[:20]!r}")
    return day


def today_at(record: SiteRecord) -> date:
    """The site's local day by the wall clock, which decisions and bookings are checked against."""
    return datetime.now(UTC).astimezone(record.site.zone).date()


def is_code(text: str) -> bool:
    """Whether a text has the form of a finding's code."""
    return re.fullmatch(FINDING_CODE, text) is not None


def printable(text: str) -> str:
    """Remove control characters, which some databases refuse; line breaks become newlines."""
    return "".join(c for c in text.replace("\r\n", "\n") if c.isprintable() or c == "\n")


def sentence(error: Exception) -> str:
    """An error's text as a sentence."""
    return words.sentence(str(error))


def own_address(request: Request, parts: AppState) -> str:
    """Public URL of the service: as configured, else from the request; without a trailing slash."""
    return (parts.settings.public_url or str(request.base_url)).rstrip("/")
