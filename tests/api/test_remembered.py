"""Per-site caches are invalidated when their inputs change."""

from __future__ import annotations

from fieldfare.api.core.cache import LastUsed


def test_the_last_used_stay() -> None:
    made: list[str] = []

    def make(what: str) -> str:
        made.append(what)
        return what

    kept: LastUsed[str, str] = LastUsed(2)
    for key in ("a", "b", "a", "c", "a", "b"):  # c takes the place of b, b that of c
        assert kept.get(key, lambda key=key: make(key)) == key  # type: ignore[misc]
    assert made == ["a", "b", "c", "b"]
