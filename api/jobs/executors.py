"""Executors for site jobs: worker processes of this machine, or a cluster."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import traceback
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from typing import Any

from fieldfare.analysis.errors import FieldfareError
from fieldfare.api.core.settings import Settings
from fieldfare.api.core.site_guard import one_line
from fieldfare.api.core.threads import one_allocator, one_thread_each


def make_executor(settings: Settings, workers: int) -> Executor:
    """Worker processes on this machine, or a cluster if one is configured."""
    if settings.cluster:
        return ClusterExecutor(settings.cluster)
    one_thread_each()
    one_allocator()
    # Spawn, not fork: the service has threads, and a fork would copy their locks.
    spawn = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(workers, mp_context=spawn, initializer=_begin_worker)


class WorkFailed(Exception):
    """A site's job failed in a worker. trace : traceback if unexpected, otherwise empty

    Other exceptions are not sent back: one that can't be unpickled here would end the whole pool.
    """

    def __init__(self, reason: str, trace: str = "") -> None:
        super().__init__(reason, trace)
        self.reason: str = reason
        self.trace: str = trace

    def __str__(self) -> str:
        return self.reason


def contained(do: Callable[..., Any], settings: Settings, kind: str, site: str, key: str) -> Any:
    """Run one job in a worker. Raises only WorkFailed."""
    try:
        return do(settings, kind, site, key)
    except Exception as error:
        expected = isinstance(error, FieldfareError)
        reason = one_line(error) if expected else f"internal error: {type(error).__name__}: {one_line(error)}"
        raise WorkFailed(reason, "" if expected else traceback.format_exc()) from None


class ClusterExecutor(Executor):
    """A cluster as an executor. The scheduler reassigns the work of a dead worker."""

    def __init__(self, address: str) -> None:
        from distributed import Client

        self._client = Client(address)
        # Not pure: a job submitted again runs again.
        self._executor = self._client.get_executor(pure=False)

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        return self._executor.submit(fn, *args, **kwargs)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Disconnect. Unlike in a pool, running jobs are either awaited or cancelled."""
        self._executor.shutdown(wait=wait)
        self._client.close()


def _begin_worker() -> None:
    """Ignore Ctrl-C, which the service handles, and exit if the service is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_service, daemon=True).start()


def _end_with_service() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
