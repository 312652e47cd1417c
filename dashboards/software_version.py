"""Version of the installed package, as papers and packs name it."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version


def software_version() -> str:
    """Such as 0.1.0; "not installed" when run from source alone."""
    try:
        return version("fieldfare")
    except PackageNotFoundError:
        return "not installed"
