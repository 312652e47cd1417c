"""Caches: per site, invalidated by a version token, and least recently used."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

T = TypeVar("T")
K = TypeVar("K", bound=Hashable)


class LastUsed(Generic[K, T]):
    """A bounded cache that drops the least recently used values. A key names everything that its value
    depends on, so values never become stale. Concurrent callers may both compute a value.

    most : how many values are held
    """

    def __init__(self, most: int) -> None:
        self._most, self._held = most, dict[K, T]()
        self._lock = threading.Lock()

    def get(self, key: K, make: Callable[[], T]) -> T:
        """Return the cached value of the key, otherwise compute it with `make`."""
        with self._lock:
            if key in self._held:
                found = self._held[key] = self._held.pop(key)  # least recently used first
                return found
        made = make()
        with self._lock:
            self._held[key] = made
            while len(self._held) > self._most:
                del self._held[next(iter(self._held))]
        return made
