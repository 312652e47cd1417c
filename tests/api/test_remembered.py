"""What is worked out once of a site is worked out anew when what it was made from has changed."""

from __future__ import annotations

from fieldfare.api.core.cache import LastUsed, SiteCache


def test_a_site_is_worked_out_again_when_its_mark_changes() -> None:
    made: list[str] = []

    def make(what: str) -> str:
        made.append(what)
        return what

    kept: SiteCache[str] = SiteCache()
    assert kept.get("elm", 1, lambda: make("a")) == "a"
    assert kept.get("elm", 1, lambda: make("b")) == "a"
    assert kept.get("oak", 1, lambda: make("c")) == "c"
    assert kept.get("elm", 2, lambda: make("d")) == "d"
    assert kept.get("elm", 1, lambda: make("e")) == "e"
    assert made == ["a", "c", "d", "e"]


def test_the_last_used_stay() -> None:
    made: list[str] = []

    def make(what: str) -> str:
        made.append(what)
        return what

    kept: LastUsed[str, str] = LastUsed(2)
    for key in ("a", "b", "a", "c", "a", "b"):  # c takes the place of b, b that of c
        assert kept.get(key, lambda key=key: make(key)) == key  # type: ignore[misc]
    assert made == ["a", "b", "c", "b"]
