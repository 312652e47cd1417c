"""The application service: builds stores, caches and results once from the settings."""

from __future__ import annotations

import hashlib
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.cache import LastUsed
from fieldfare.api.core.settings import Settings
from fieldfare.api.core.sites import Sites
from fieldfare.api.state.database import Database, open_database
from fieldfare.collector.store.protocol import Store

if TYPE_CHECKING:
    from fieldfare.api.core.facts_cache import FactsCache
    from fieldfare.api.core.fleet_table import FleetTable
    from fieldfare.api.core.live_states import LiveStates
    from fieldfare.api.core.results import Results
    from fieldfare.api.firm.about import AboutFirm

COMPARED_KEPT = 256
"""Of some kB: two for each home's page that people look at in the same minutes."""


@dataclass
class Service:
    """Dependencies of commands, routes and jobs, created on first use.

    threads : threads for the facts of one site; one in a worker, which shares the processors
    """

    settings: Settings
    database: Database
    threads: int = 2

    @cached_property
    def store(self) -> Store:
        return open_store(self.settings)

    @cached_property
    def sites(self) -> Sites:
        return Sites(self.database)

    @cached_property
    def facts_cache(self) -> FactsCache:
        from fieldfare.api.core.facts_cache import FactsCache

        return FactsCache(self.database, self.store, self.sites, self.threads)

    @cached_property
    def results(self) -> Results:
        from fieldfare.api.core.results import Results

        return Results(self.database, self.store, self.facts_cache, self.fleet)

    @cached_property
    def fleet(self) -> FleetTable:
        from fieldfare.api.core.fleet_table import FleetTable

        return FleetTable(self.database, self.store, self.sites, demo=self.settings.demo)

    @cached_property
    def compared(self) -> LastUsed[tuple[Any, ...], dict[str, Any]]:
        """Cached comparisons of two periods at comparable weather, for pages."""
        return LastUsed(COMPARED_KEPT)

    @cached_property
    def live(self) -> LiveStates:
        from fieldfare.api.core.live_states import LiveStates

        return LiveStates(self.database, self.store, self.sites)

    @property
    def firm(self) -> AboutFirm:
        """Current name and contact of the firm, as printed on papers."""
        from fieldfare.api.firm.about import about_firm

        return about_firm(self.database, self.settings)

    def close(self) -> None:
        if "store" in self.__dict__:
            self.store.close()
        self.database.close()


def open_store(settings: Settings) -> Store:
    """Open the store that the settings name. Raises InputError if it can't be used."""
    if settings.store_url:
        from fieldfare.collector.store.influx import InfluxStore

        return InfluxStore(
            settings.store_url,
            settings.store_database,
            settings.data / "spool",
            token=settings.store_token,
            org=settings.store_org,
        )
    from fieldfare.collector.store.local import LocalStore

    try:
        return LocalStore(settings.readings_dir)
    except OSError as error:
        raise InputError(f"the data folder can't be used: {error.strerror}: {error.filename}") from None


@contextmanager
def opened(settings: Settings) -> Iterator[Service]:
    """Context manager: a service, closed when the block ends. Makes the data folder where there is none.

    Raises InputError if the folder can't be used, or has lost its state database.
    """
    if not has_state(settings) and settings.readings_dir.is_dir():
        raise InputError(
            f"{settings.data / 'state.sqlite'}: missing, while readings are there; it holds sites, people and"
            " alerts: bring it back from a backup, or name another folder with --data"
        )
    with _in_use(settings):
        service = Service(settings, open_database(settings.state_url))
        try:
            yield service
        finally:
            service.close()


@contextmanager
def opened_existing(settings: Settings) -> Iterator[Service]:
    """Like `opened`, for what only reads or changes existing data. Raises InputError where there are none."""
    check_holds_data(settings)
    with opened(settings) as service:
        yield service


def check_holds_data(settings: Settings) -> None:
    """Raise InputError for a data folder that is missing or holds nothing."""
    if not has_state(settings) and not settings.readings_dir.is_dir():
        raise InputError(
            f"{settings.data}: no data here; name the data folder with --data, or begin one: write a site"
            " file (fieldfare site template) and add it (fieldfare site add FILE)"
        )


def has_state(settings: Settings) -> bool:
    """Whether there is a state database: a server's, or a file, as an empty one is none."""
    path = settings.data / "state.sqlite"
    return bool(settings.database_url) or (path.is_file() and path.stat().st_size > 0)


@contextmanager
def _in_use(settings: Settings) -> Iterator[None]:
    """Mark a data folder as in use, so that deploy/backup.py restores nothing under a running process.

    The mark is a name in Linux's abstract socket namespace: it outlives a rename of the folder, and ends with
    the process. Elsewhere there is none. Source: unix(7).
    """
    folder = hashlib.sha256(os.path.realpath(settings.data).encode()).hexdigest()[:16]
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as mark:
        with suppress(OSError):
            mark.bind(f"\0fieldfare-{folder}-{os.urandom(4).hex()}")
        yield


def worker_service(settings: Settings) -> Service:
    """Process-wide Service singleton for pool workers."""
    return _service_of_process(settings, os.getpid())


@lru_cache(maxsize=1)
def _service_of_process(settings: Settings, process: int) -> Service:
    return Service(settings, open_database(settings.state_url), threads=1)
