"""Errors that a user can cause or must be shown.

FieldfareError
  InputError          something the user gave is wrong; says what, where, and what would be right
    SiteError         a site file; carries every problem found in it
  NotAssessed         a figure can't be had from these data; the message is the reason
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass


class FieldfareError(Exception):
    """Base class; catch it at the top level. `str()` gives one clear line."""


class InputError(FieldfareError):
    """Invalid user input."""


@contextmanager
def readable_csv(name: str) -> Iterator[None]:
    """Raises InputError in place of what the CSV reader can't take, such as a cell without end.

    name : of the file, for the message
    """
    try:
        yield
    except csv.Error as error:
        raise InputError(f"{name}: can't be read as CSV: {error}") from None


@dataclass(frozen=True)
class Problem:
    """One problem of a site file."""

    key: str
    message: str
    line: int | None = None

    def __str__(self) -> str:
        where = f"line {self.line}: " if self.line else ""
        return f"{where}{self.key}: {self.message}"


class SiteError(InputError):
    """A site file is refused. `.problems` lists all invalid keys."""

    def __init__(self, file: str, problems: list[Problem]) -> None:
        self.file = file
        self.problems: tuple[Problem, ...] = tuple(problems)
        more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
        super().__init__(f"{file}: {problems[0]}{more}")

    def __reduce__(self) -> tuple[type[SiteError], tuple[str, list[Problem]]]:
        """An error that a worker process raises is sent to the service whole."""
        return SiteError, (self.file, list(self.problems))


class NotAssessed(FieldfareError):
    """A figure can't be determined from these data. The message is the reason, ready for display.

    code : the kind of reason, for programs: missing_quantity, missing_in_site_file, spacing_too_wide,
    too_few_days, other_weather (the days were too much alike, or too mild), distrusted, not_applicable (the
    plant has no such part), other_source (another source, a cascade or surplus electricity spoils it) or
    not_enough_data (none of these, or several)
    """

    def __init__(self, reason: str, code: str) -> None:
        super().__init__(reason)
        self.code = code


class UnreadableFacts(FieldfareError):
    """A stored table of facts is damaged, or of an outdated form. Facts are computed again from the
    readings."""
