"""Repair damaged data: restore readings from a backup, recompute derived data."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.service import Service
from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.records.check import forget_damaged
from fieldfare.collector.store.local import LocalStore
from fieldfare.collector.store.protocol import Trouble
from fieldfare.collector.store.sealed import month_of, month_start

_MONTH = re.compile(r"(\d{4}-\d{2})\.(?:parquet|\d+\.damaged)")


@dataclass(frozen=True)
class Repaired:
    """Result for a site. readings : number restored from the backup. left : remaining damage.
    derived : number of damaged facts and results deleted, to be recomputed"""

    site: str
    readings: int
    left: list[str]
    derived: int = 0


def repair_derived(service: Service) -> list[Repaired]:
    """Delete damaged facts and results of all sites; they are recomputed from readings. Returns the sites
    concerned."""
    found = [
        (site, attempt(site, "look at its facts", partial(forget_damaged, service, site)))
        for site in service.sites.ids()
    ]
    return [
        Repaired(site, 0, [count.reason]) if isinstance(count, Failure) else Repaired(site, 0, [], count)
        for site, count in found
        if count
    ]


def damaged_readings(service: Service) -> list[str]:
    """Damaged readings, which only a backup can restore, one line each."""
    found = {
        site: attempt(site, "read its readings", partial(service.store.check, site))
        for site in service.sites.ids()
    }
    by_site = {
        site: [each.reason] if isinstance(each, Failure) else map(str, each) for site, each in found.items()
    }
    return [f"{site}: {line}" for site, lines in by_site.items() for line in lines]


def repair(service: Service, folder: Path) -> list[Repaired]:
    """Restore damaged or missing readings of every site from the data folder of a restored backup.

    Readable readings are never replaced. Returns the sites that had damage. Raises InputError for a folder
    without readings, and if the readings are on a server.
    """
    if not isinstance(service.store, LocalStore):
        raise InputError("the readings are on a server; use its own means to repair them")
    if not (folder / "readings" / "sealed").is_dir():
        raise InputError(
            f"{folder}: no data folder with readings; restore a backup to a new folder and name that"
        )
    if folder.resolve() == service.settings.data.resolve():
        raise InputError(f"{folder}: is the data folder in use; restore a backup to another one")
    backup = LocalStore(folder / "readings")
    try:
        return [
            done
            for site in service.sites.ids()
            if (done := _repaired(service.store, backup, site)) is not None
        ]
    finally:
        backup.close()


def _repaired(store: LocalStore, backup: LocalStore, site: str) -> Repaired | None:
    troubles = store.check(site)
    if not troubles:
        return None
    count = attempt(site, "restore its readings", lambda: _restored(store, backup, site, troubles))
    left = [str(trouble) for trouble in store.check(site)]
    return (
        Repaired(site, 0, [count.reason, *left])
        if isinstance(count, Failure)
        else Repaired(site, count, left)
    )


def _restored(store: LocalStore, backup: LocalStore, site: str, troubles: list[Trouble]) -> int:
    months = {m for t in troubles for m in _months(backup, site, Path(t.file).name)}
    return sum(
        store.fill_month(site, month, backup.read(site, None, month_start(month), month_start(month + 1)))
        for month in sorted(months)
    )


def _months(backup: LocalStore, site: str, name: str) -> list[int]:
    """Month of a damaged file; all months of the backup if it is the database of recent readings."""
    if found := _MONTH.fullmatch(name):
        return [int(np.datetime64(found[1], "M").astype(np.int64))]
    span = backup.span(site)
    return list(range(month_of(span[0]), month_of(span[1]) + 1)) if span else []
