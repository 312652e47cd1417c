"""Limits for a process with many threads: numpy's own threads, and what allocators keep."""

from __future__ import annotations

import ctypes
import os


def one_thread_each() -> None:
    """Call before numpy is imported. The matrices are small and sites run in parallel already."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def one_allocator() -> None:
    """Call before pyarrow is imported: its own allocator keeps what it has freed, 40 to 60 MB beside what is
    in use. Source: "Memory pools" of Arrow's documentation."""
    os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")


_M_ARENA_MAX = -8
_ARENAS = 2


def few_arenas() -> None:
    """Share one allocator arena; call before threads start. By default glibc gives each thread its own arena,
    which keeps its peak size: 50 concurrent readers took 60 to 110 MB more, and rising. Python's threads take
    turns anyway. Does nothing with another C library. Source: mallopt(3)."""
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:
        mallopt(_M_ARENA_MAX, _ARENAS)


def give_back_memory() -> None:
    """Return the allocator's unused memory to the system.

    Nightly work and pages fragment the arenas: with 200 sites and a night every five minutes, 24 of 85 MB
    were unused after eleven minutes, and rising. Does nothing with another C library. Source: malloc_trim(3).
    """
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
    if trim is not None:
        trim(0)
