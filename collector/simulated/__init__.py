"""Simulated heat pump systems: readings with known truth, for the demo and for tests."""

from __future__ import annotations

from importlib.util import find_spec

from fieldfare.analysis.errors import InputError


def require_numba() -> None:
    """Raises InputError where the extra `simulator` is not installed."""
    if find_spec("numba") is None:
        raise InputError("the simulator needs numba; install it with: pip install 'fieldfare[simulator]'")
