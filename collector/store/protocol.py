"""What a store of readings promises."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Protocol

if TYPE_CHECKING:
    from fieldfare.analysis.readings import Readings


class Appended(NamedTuple):
    """What an append did. `stored` counts new keys, `replaced` keys whose value changed."""

    stored: int
    replaced: int
    duplicates: int


class PointSpan(NamedTuple):
    """One point's readings: how many, first and last time [ms]."""

    count: int  # type: ignore[assignment]
    first: int
    last: int


@dataclass(frozen=True)
class Trouble:
    """Stored data of a site that can't be used. file : str, its path; what : one line for people"""

    site: str
    file: str
    what: str

    def __str__(self) -> str:
        return f"{self.file}: {self.what}"


class Store(Protocol):
    """Readings of many sites, keyed by (site, point, time).

    Every make passes tests/collector/test_store_contract.py.
    """

    def append(self, site: str, readings: Readings) -> Appended:
        """Keep readings. When it returns they are on disk; giving them again changes nothing.

        Within one call the first value given for a key counts; a later call with another value replaces it.
        """
        ...

    def read(
        self, site: str, points: Iterable[str] | None = None, start: int | None = None, end: int | None = None
    ) -> Readings:
        """Readings with start <= time < end [ms] of the named points, all by default; points without any are
        absent."""
        ...

    def span(self, site: str) -> tuple[int, int] | None:
        """First and last time [ms] of a site, None where it has no reading."""
        ...

    def points(self, site: str) -> dict[str, PointSpan]:
        """Every point that has readings."""
        ...

    def thin(self, site: str) -> list[str]:
        """The points read less than daily (`is_thin`), without counting what is read often."""
        ...

    def revisions(self, site: str) -> dict[int, int]:
        """UTC day (days since 1970-01-01) -> a number that grows whenever a reading of that day changes."""
        ...

    def troubles(self, site: str) -> list[Trouble]:
        """Data of a site that are damaged or missing, as far as is known without reading all of them.

        The rest of the site's readings is given by `read` as if nothing were wrong."""
        ...

    def check(self, site: str) -> list[Trouble]:
        """As `troubles`, after reading every byte of the site."""
        ...

    def seal(self, now: int) -> int:
        """Pack what live collection has left behind, where that is the store's own doing. now : int [ms]

        Returns how many readings were moved."""
        ...

    def flush(self) -> None:
        """Return when everything given is where it will be read from. Raises FieldfareError if that can't be
        had."""
        ...

    def forget(self, site: str) -> None:
        """Remove every byte of a site."""
        ...

    def close(self) -> None: ...
