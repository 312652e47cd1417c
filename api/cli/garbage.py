"""Tune Python's cyclic garbage collector: seldom in commands, default in the service, never at exit."""

from __future__ import annotations

import gc

_USUAL = gc.get_threshold()
_SELDOM = 200_000
"""New objects before a search. Imports make some 150,000 that last; searching them costs a tenth of a
command."""


def search_seldom() -> None:
    """Collect seldom: for short commands."""
    gc.set_threshold(_SELDOM)


def search_as_usual() -> None:
    """Restore the default after `search_seldom`: for long-running processes, where garbage would
    accumulate."""
    gc.set_threshold(*_USUAL)


def search_no_more() -> None:
    """Skip the collections at interpreter exit, which take a quarter of a short command's time; the system
    frees the memory anyway."""
    gc.freeze()
