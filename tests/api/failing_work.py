"""Work that fails at one home. A module of its own: each worker process that is started imports it."""

from __future__ import annotations

import os

from fieldfare.api.core.settings import Settings
from fieldfare.api.jobs.work import JobOutcome, work

BAD, KILLS = "beech-end", "cedar-side"
FROST = {
    "code": "frost_risk",
    "severity": "urgent",
    "headline": "frost",
    "until": None,
    "since": "2026-01-12",
}


class Unsendable(Exception):
    """Can be pickled but not rebuilt, as many libraries' exceptions."""

    def __init__(self, a: str, b: str) -> None:
        super().__init__(f"{a} {b}")


def unsendable_work(settings: Settings, kind: str, site: str, key: str) -> JobOutcome:
    if site == BAD:
        raise Unsendable("boom", "bang")
    return work(settings, kind, site, key)


def killing_work(settings: Settings, kind: str, site: str, key: str) -> JobOutcome:
    if site == BAD:
        os._exit(9)  # as the kernel ends a process that takes too much memory
    return work(settings, kind, site, key)


def pretend(settings: Settings, kind: str, site: str, key: str) -> JobOutcome:
    """Work that fails at one site, kills its worker at another, and finds frost at a third."""
    if site == BAD:
        raise RuntimeError("the file is torn")
    if site == KILLS:
        os._exit(9)
    return JobOutcome("fine", [FROST] if site == "alder-row" and kind == "night" else [], has_result=True)
