"""Order of all tests, garbage collection in their processes, and the cost of a password's hash."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest
from argon2 import PasswordHasher

from fieldfare.api.people import passwords

_QUICK, _HASHER = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1), passwords._hasher


@pytest.hookimpl(tryfirst=True)
def pytest_collection() -> None:
    """Search for no garbage while modules are imported: what they make lasts, and a search is a fifth of the
    work."""
    gc.disable()


def pytest_collection_finish() -> None:
    """Let searches for garbage pass over what was imported and collected, and come seldom."""
    gc.freeze()
    gc.set_threshold(20_000, 10, 50)
    gc.enable()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Browser tests first: files of few long tests must not be left to one worker at the end."""
    items.sort(key=lambda item: "chromium" not in getattr(item, "fixturenames", ()))


@pytest.fixture(scope="session", autouse=True)
def quick_hashes() -> Iterator[None]:
    """Hashes of passwords that cost little: the service's own take 64 MB and a tenth of a second each."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passwords, "_hasher", lambda: _QUICK)
        yield


@pytest.fixture
def real_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    """For a test of the hashes' own cost."""
    monkeypatch.setattr(passwords, "_hasher", _HASHER)
