"""The facts tables and the version of the method that makes them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, fields
from datetime import date

import numpy as np

from analysis.facts.table import Table, joined

METHOD_VERSION = "6"
"""Grows with every change that changes a fact; kept facts of another version are stale."""


def _none() -> Table:
    return Table({"day": np.empty(0, dtype="datetime64[us]")})


@dataclass(frozen=True)
class Facts:
    """Tables in order of days, each with a `day` column: the local date as datetime64, without zone.

    days : one row a local day. runs, defrosts, reheats : one row an event, in the day in which it starts.
    notices : one row for each oddity of the data. rests : stretches without heat. faults : faults that the unit reports.
    Columns and units: analysis/facts/days.py and its neighbours
    """

    days: Table
    runs: Table
    defrosts: Table
    reheats: Table
    notices: Table
    rests: Table = field(default_factory=_none)
    faults: Table = field(default_factory=_none)

    def between(self, first: date, last: date) -> Facts:
        """The same tables for the local days first..last, both inclusive."""
        return Facts(*(getattr(self, f.name).between(first, last) for f in fields(self)))


def join(parts: Iterable[Facts]) -> Facts:
    """Facts of spans that follow each other, as one."""
    given = list(parts)
    return Facts(*(joined(getattr(part, f.name) for part in given) for f in fields(Facts)))
