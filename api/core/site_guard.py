"""Contain failures per site: lists show a row with the reason, and other sites continue."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from sqlalchemy.exc import SQLAlchemyError

from fieldfare.analysis.errors import FieldfareError

log = logging.getLogger(__name__)
T = TypeVar("T")


@dataclass(frozen=True)
class Failure:
    """A failed operation on a site. reason : one line for people"""

    site: str
    reason: str


def attempt(site_id: str, doing: str, work: Callable[[], T]) -> T | Failure:
    """Return the result of `work`, or a Failure if it raises.

    doing : str, description for the message of an unexpected exception, such as "read results"
    """
    try:
        return work()
    except Exception as error:
        return Failure(site_id, reason_of(site_id, doing, error))


def reason_of(site_id: str, doing: str, error: Exception) -> str:
    """One line for people; an unexpected exception goes to the log with its traceback."""
    if isinstance(error, FieldfareError):
        return one_line(error)
    if isinstance(error, OSError) and error.strerror:
        log.error("site %s: could not %s: %s", site_id, doing, error)
        return f"{error.filename or 'the data folder'}: {error.strerror}"
    if isinstance(error, (sqlite3.Error, SQLAlchemyError)):
        log.error("site %s: could not %s", site_id, doing, exc_info=error)
        return f"a database can't be used: {one_line(getattr(error, 'orig', None) or error)}"
    log.error("site %s: internal error: could not %s", site_id, doing, exc_info=error)
    return (
        f"internal error at site {site_id}: could not {doing} ({type(error).__name__}); the log has the"
        " details"
    )


def one_line(error: object, most: int = 300) -> str:
    """An exception's text on one line."""
    text = " ".join(str(error).split()) or type(error).__name__
    return text if len(text) <= most else f"{text[:most]}..."
