"""Per-site cache, invalidated when its version token changes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, TypeVar

T = TypeVar("T")


class SiteCache(Generic[T]):
    """One cached value per site. Not locked: concurrent callers may both compute the value."""

    def __init__(self) -> None:
        self._held: dict[str, tuple[object, T]] = {}

    def get(self, site_id: str, mark: object, make: Callable[[], T]) -> T:
        """Return the cached value if its token equals `mark`, otherwise compute it with `make`."""
        held = self._held.get(site_id)
        if held is None or held[0] != mark:
            held = self._held[site_id] = mark, make()
        return held[1]
