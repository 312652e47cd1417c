"""The interface of a reading store."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Protocol

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.site_id import is_site_id

if TYPE_CHECKING:
    from fieldfare.analysis.readings import Readings


def check_site_id(site: str) -> None:
    """Raises InputError for what can't be a site's id."""
    if not is_site_id(site):
        raise InputError(f"{site!r} is not a site id: use a-z, 0-9 and hyphen, 2 to 40 characters")


class Appended(NamedTuple):
    """Result of an append. `stored` counts new keys, `replaced` keys whose value changed."""

    stored: int
    replaced: int
    duplicates: int


class Reverted(NamedTuple):
    """Result of a revert. `kept` counts keys that hold another value by now, and stay."""

    removed: int
    restored: int
    kept: int


class PointSpan(NamedTuple):
    """Number of readings of one point, first and last time [ms]."""

    count: int  # type: ignore[assignment]
    first: int
    last: int


@dataclass(frozen=True)
class Trouble:
    """Unusable data of a site. file : str, its path; what : one line for people"""

    site: str
    file: str
    what: str

    def __str__(self) -> str:
        return f"{self.file}: {self.what}"


class Store(Protocol):
    """Readings of many sites, keyed by (site, point, time).

    Every implementation passes tests/collector/test_store_contract.py.
    """

    def append(self, site: str, readings: Readings) -> Appended:
        """Store readings. They are on disk when it returns; appending them again changes nothing.

        Within one call the first value of a key counts; a later call with another value replaces it.
        """
        ...

    def revert(self, site: str, written: Readings, before: Readings) -> Reverted:
        """Undo earlier appends. Reverting them again changes nothing.

        written : what they stored, only new or changed readings. before : the values that they replaced.
        A key that still has its written value gets its value in `before`, or is removed where it has none
        """
        ...

    def read(
        self, site: str, points: Iterable[str] | None = None, start: int | None = None, end: int | None = None
    ) -> Readings:
        """Readings with start <= time < end [ms] of the named points (default all).

        Points without readings are absent.
        """
        ...

    def span(self, site: str) -> tuple[int, int] | None:
        """First and last time [ms] of a site; None without readings."""
        ...

    def points(self, site: str) -> dict[str, PointSpan]:
        """All points with readings."""
        ...

    def thin(self, site: str) -> list[str]:
        """Points with less than daily readings (`is_thin`), without counting frequent ones."""
        ...

    def revisions(self, site: str) -> dict[int, int]:
        """UTC day (days since 1970-01-01) -> revision, which grows whenever a reading of that day changes."""
        ...

    def troubles(self, site: str) -> list[Trouble]:
        """Known damaged or missing data of a site, without reading everything.

        `read` returns the rest of the site's readings normally.
        """
        ...

    def check(self, site: str) -> list[Trouble]:
        """Like `troubles`, after reading every byte of the site."""
        ...

    def seal(self, now: int) -> int:
        """Compact older readings, if the store does that itself. now : int [ms]

        Returns the number of moved readings.
        """
        ...

    def flush(self) -> None:
        """Wait until all appended readings are readable. Raises FieldfareError if that fails."""
        ...

    def forget(self, site: str) -> None:
        """Delete all data of a site."""
        ...

    def close(self) -> None: ...
