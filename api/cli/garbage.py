"""Tune Python's cyclic garbage collector: rarely in a command, as usual in a service, not at exit."""

from __future__ import annotations

import gc

_USUAL = gc.get_threshold()
_SELDOM = 200_000
"""New objects before a search. Imports make some 150,000 that last; searching them costs a tenth of a
command."""


def search_seldom() -> None:
    """For a command, which ends soon."""
    gc.set_threshold(_SELDOM)


def search_as_usual() -> None:
    """For a process that runs for long, after `search_seldom`: what it drops must not pile up."""
    gc.set_threshold(*_USUAL)


def search_no_more() -> None:
    """For a process that ends now. The interpreter's last searches would go through all that was ever
    imported, a quarter of a short command; the system takes the memory back anyway."""
    gc.freeze()
