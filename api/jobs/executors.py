"""Where the work of sites is done: on worker processes of this machine, or on those of a cluster."""

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
from fieldfare.api.core.threads import one_thread_each


def make_executor(settings: Settings, lanes: int) -> Executor:
    """Worker processes on this machine, or those of a cluster where one is set."""
    if settings.cluster:
        return ClusterExecutor(settings.cluster)
    one_thread_each()
    # Spawned, not forked: the service has threads, and a fork would copy their locks.
    spawn = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(lanes, mp_context=spawn, initializer=_begin_worker)


class WorkFailed(Exception):
    """The work of one site failed in a worker. trace : its traceback where it was not expected, else empty

    An exception of any other kind is not sent back: one that can't be rebuilt here would end the whole pool.
    """

    def __init__(self, reason: str, trace: str = "") -> None:
        super().__init__(reason, trace)
        self.reason, self.trace = reason, trace

    def __str__(self) -> str:
        return self.reason


def contained(do: Callable[..., Any], settings: Settings, kind: str, site: str, key: str) -> Any:
    """Do one piece of work in a worker. Raises WorkFailed alone."""
    try:
        return do(settings, kind, site, key)
    except Exception as error:
        expected = isinstance(error, FieldfareError)
        reason = one_line(error) if expected else f"internal error: {type(error).__name__}: {one_line(error)}"
        raise WorkFailed(reason, "" if expected else traceback.format_exc()) from None


class ClusterExecutor(Executor):
    """A cluster as an executor. The scheduler gives the work of a worker that died to another."""

    def __init__(self, address: str) -> None:
        from distributed import Client

        self._client = Client(address)
        # The same work asked for again is done again, not answered from what a worker remembers.
        self._executor = self._client.get_executor(pure=False)

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        return self._executor.submit(fn, *args, **kwargs)  # type: ignore[no-any-return]

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Let go of the cluster. Unlike a pool's, work in hand is either waited for or cancelled."""
        self._executor.shutdown(wait=wait)
        self._client.close()


def _begin_worker() -> None:
    """Ctrl-C is the service's to answer; and a worker whose service was killed ends too."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_service, daemon=True).start()


def _end_with_service() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
