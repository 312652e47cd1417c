"""Plants with constant readings, so that results can be calculated by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.minutes.grid import local_midnight
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings, Samples
from fieldfare.analysis.reports.result import Result, analyse

FIRST = date(2026, 1, 12)
HEAD = '[site]\nid = "plain"\nname = "Plain"\ntimezone = "Europe/London"\n'


def point(quantity: str, form: str = "power", unit: str = "", name: str = "", extra: str = "") -> str:
    """TOML of one point; its id is the quantity unless named."""
    made = f'[[point]]\nid = "{name or quantity}"\nquantity = "{quantity}"\nas = "{form}"\n'
    return made + (f'unit = "{unit}"\n' if unit else "") + (extra + "\n" if extra else "")


def site_of(points: Sequence[str], sections: str = "") -> Site:
    return parse_site(HEAD + sections + "".join(points))


def every_minute(
    site: Site, values: Mapping[str, Any], days: int = 3, first: date = FIRST, step_min: int = 1
) -> Readings:
    """The same value, or array over the span's steps, for each point at every step of whole local days."""
    begin, end = local_midnight(site, first), local_midnight(site, first + timedelta(days))
    time = np.arange(begin, end + 1, step_min * 60_000, dtype=np.int64)
    out: Readings = {}
    for name, value in values.items():
        numbers = np.broadcast_to(
            np.asarray(value, dtype=np.float64), time.shape if np.ndim(value) == 0 else np.shape(value)
        )
        out[name] = Samples(time[: len(numbers)], numbers.copy())
    return out


def facts_of(site: Site, readings: Readings, days: int = 3, first: date = FIRST) -> Facts:
    return build_facts(site, readings, first, first + timedelta(days - 1))


def result_of(site: Site, readings: Readings, days: int = 3, first: date = FIRST) -> Result:
    return analyse(site, facts_of(site, readings, days, first), first, first + timedelta(days - 1))
