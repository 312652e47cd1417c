"""What was last worked out of each site, and is good until what it was made from changes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, TypeVar

T = TypeVar("T")


class SiteCache(Generic[T]):
    """One thing of each site. Two who ask at once may both work it out; neither waits for the other."""

    def __init__(self) -> None:
        self._held: dict[str, tuple[object, T]] = {}

    def get(self, site_id: str, mark: object, make: Callable[[], T]) -> T:
        """What was made last, if the mark of what it was made from is the same; else what `make` makes
        now."""
        held = self._held.get(site_id)
        if held is None or held[0] != mark:
            held = self._held[site_id] = mark, make()
        return held[1]
