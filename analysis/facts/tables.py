"""The five facts tables and the version of the method that makes them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date

import numpy as np
import pandas as pd

METHOD_VERSION = "4"
"""Grows with every change that changes a fact; kept facts of another version are stale."""


@dataclass(frozen=True)
class Facts:
    """Five frames in order of days, each with a `day` column: the local date as datetime64, without zone.

    days : one row a local day. runs, defrosts, reheats : one row an event, in the day in which it starts.
    notices : one row for each oddity of the data. Columns and units: analysis/facts/days.py and its neighbours
    """

    days: pd.DataFrame
    runs: pd.DataFrame
    defrosts: pd.DataFrame
    reheats: pd.DataFrame
    notices: pd.DataFrame

    def between(self, first: date, last: date) -> Facts:
        """The same tables for the local days first..last, both inclusive."""
        return Facts(*(_cut(getattr(self, f.name), first, last) for f in fields(self)))


def _cut(frame: pd.DataFrame, first: date, last: date) -> pd.DataFrame:
    """A frame's rows of first..last: a view, nothing is copied."""
    day = frame["day"].to_numpy()
    a = int(np.searchsorted(day, np.datetime64(first, "us"), side="left"))
    b = int(np.searchsorted(day, np.datetime64(last, "us"), side="right"))
    return frame if b - a == len(frame) else frame.iloc[a:b].reset_index(drop=True)


def join(parts: Iterable[Facts]) -> Facts:
    """Facts of spans that follow each other, as one."""
    given = list(parts)
    return Facts(
        *(
            pd.concat([f for p in given if not (f := getattr(p, name.name)).empty], ignore_index=True)
            if any(not getattr(p, name.name).empty for p in given)
            else getattr(given[0], name.name)
            for name in fields(Facts)
        )
    )
