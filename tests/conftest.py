"""Order of all tests, and garbage collection in their processes."""

from __future__ import annotations

import gc

import pytest


@pytest.hookimpl(tryfirst=True)
def pytest_collection() -> None:
    """Search for no garbage while modules are imported: what they make lasts, and a search is a fifth of the
    work."""
    gc.disable()


def pytest_collection_finish() -> None:
    """Let searches for garbage pass over what was imported and collected."""
    gc.freeze()
    gc.enable()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Browser tests first: files of few long tests must not be left to one worker at the end."""
    items.sort(key=lambda item: "chromium" not in getattr(item, "fixturenames", ()))
