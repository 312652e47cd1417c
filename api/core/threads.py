"""Limit numpy to one thread."""

from __future__ import annotations

import os


def one_thread_each() -> None:
    """Call before numpy is imported. The matrices are small and sites run in parallel already."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
