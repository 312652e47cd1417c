"""Limits for a process with many threads: numpy's own threads, and the allocator's arenas."""

from __future__ import annotations

import ctypes
import os


def one_thread_each() -> None:
    """Call before numpy is imported. The matrices are small and sites run in parallel already."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


_M_ARENA_MAX = -8
_ARENAS = 2


def few_arenas() -> None:
    """Call before threads begin. By default glibc gives each of many threads an arena of its own, and each
    holds on to what its thread once used: 50 people reading pages took 60 to 110 MB more, and rising.
    Python's threads take turns anyway. Source: mallopt(3). Does nothing with another C library."""
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:
        mallopt(_M_ARENA_MAX, _ARENAS)


def give_back_memory() -> None:
    """Return what the allocator holds but nobody uses to the system.

    Nights and pages leave holes in its arenas: with 200 sites and a night every five minutes these were 24 of
    85 MB after eleven minutes, and grew. Source: malloc_trim(3). Does nothing with another C library.
    """
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
    if trim is not None:
        trim(0)
