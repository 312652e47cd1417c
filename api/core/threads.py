"""Threads of numpy's own: none beside the one that asks."""

from __future__ import annotations

import os


def one_thread_each() -> None:
    """Said before numpy is loaded. Our matrices are small and the work is shared out by sites: more threads
    only wait."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
