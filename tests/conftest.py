"""Order of all tests."""

from __future__ import annotations

import pytest


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Browser tests first: files of few long tests must not be left to one worker at the end."""
    items.sort(key=lambda item: "chromium" not in getattr(item, "fixturenames", ()))
