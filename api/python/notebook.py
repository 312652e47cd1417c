"""Analyse site files and CSV exports without a service: pandas DataFrames and plotly figures."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cached_property
from pathlib import Path
from tempfile import TemporaryDirectory
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.minutes.midnight import last_day
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings, Samples, ordered
from fieldfare.analysis.reports.result import Result
from fieldfare.analysis.reports.result import analyse as analyse_facts

PLOTS: Mapping[str, str] = MappingProxyType(
    {
        "heat_loss": "heat",
        "heating_curve": "curve",
        "efficiency": "efficiency",
        "months": "months",
        "water_temperatures": "water",
        "pressure": "pressure",
        "rooms": "rooms",
        "cylinder": "cylinder",
        "standby": "idle",
        "frost": "frost",
        "coverage": "coverage",
        "direct_heat": "direct",
        "efficiency_against_rating": "against_rating",
        "runs": "runs",
        "defrosts": "defrosts",
        "reheats": "reheats",
    }
)
"""Names that `Analysis.plot` takes -> the figure of the pages that it draws."""


def load_site(path: str | os.PathLike[str]) -> Site:
    """Read a site file.

    path : TOML file
    Returns Site. Raises SiteError with every problem: key, line, what is wrong, what would be right.
    Raises InputError if the file can't be read.
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        raise InputError(f"{file}: {reason}") from None
    return parse_site(text, str(file))


def read_csv(path: str | os.PathLike[str], site: Site) -> pd.DataFrame:
    """Read a CSV export by the site's `[csv]` keys and its points' columns.

    path : wide or long, plain or gzip
    Returns a DataFrame: index UTC times, one column for each point in the point's own unit, NaN where a point
    has no reading at that time. `frame.attrs["ingested"]` tells rows read and rows refused, with reasons.
    Raises InputError where the file as a whole can't be read.
    """
    from fieldfare.collector.csv.ingest import ingest_csv
    from fieldfare.collector.store.local import LocalStore

    with TemporaryDirectory() as folder:
        store = LocalStore(Path(folder) / "readings")
        try:
            taken = ingest_csv(site, Path(path), store, rejects_dir=Path(folder), now=datetime.now(UTC))
            frame = _frame_of(store.read(site.id))
        finally:
            store.close()
    summary = taken.as_dict()
    summary["rejected"]["file"] = None  # it was in the temporary folder
    frame.attrs["ingested"] = summary
    return frame


def _frame_of(readings: Readings) -> pd.DataFrame:
    columns = {
        point: pd.Series(s.value, index=pd.to_datetime(s.time, unit="ms", utc=True))
        for point, s in readings.items()
    }
    frame = pd.DataFrame(columns)
    frame.index.name = "time"
    return frame


def read_frame(frame: pd.DataFrame, site: Site) -> Readings:
    """Convert a DataFrame to Readings for `analyse`.

    frame : index of times with a zone; one column for each point of the site, in the point's own unit
    Returns Readings. Raises InputError for an index without a zone or a column that no point has.
    """
    if not isinstance(frame.index, pd.DatetimeIndex) or frame.index.tz is None:
        raise InputError("readings: the index must be times with a zone, for example by tz_localize('UTC')")
    known = {point.id for point in site.point}
    if unknown := sorted(set(map(str, frame.columns)) - known):
        raise InputError(
            f"readings: {site.id} has no point {unknown[0]!r}; it has {', '.join(sorted(known))}"
        )
    time = frame.index.tz_convert("UTC").as_unit("ms").asi8
    readings: dict[str, Samples] = {}
    for name in frame.columns:
        column = frame[name]
        given = column.notna().to_numpy()
        value = column.to_numpy()[given]
        readings[str(name)] = ordered(
            time[given], value if value.dtype == object else value.astype(np.float64)
        )
    return readings


def analyse(
    site: Site, readings: pd.DataFrame, first: date | None = None, last: date | None = None
) -> Analysis:
    """Analyse a site's readings.

    readings : DataFrame as `read_csv` returns it. first, last : local days, both inclusive; all days by
        default
    Returns Analysis. Raises InputError where no day has a reading.
    """
    raw = read_frame(readings, site)
    times = {name: s.time for name, s in raw.items() if len(s.time)}
    if not times:
        raise InputError(f"{site.id}: no readings")
    begin = datetime.fromtimestamp(min(int(t[0]) for t in times.values()) / 1000, site.zone).date()
    end = max(begin, last_day(site, {name: int(t[-1]) for name, t in times.items()}))
    first, last = first or begin, last or end
    if first > last:
        raise InputError(f"{site.id}: the first day {first} is after the last day {last}")
    return Analysis(analyse_facts(site, build_facts(site, raw, first, last), first, last))


@dataclass(frozen=True)
class Performance:
    """Seasonal performance: heat over electricity. Each figure is an Estimate: value, low, high, or
    reason."""

    H1: Estimate
    H2: Estimate
    H3: Estimate
    H4: Estimate
    space_heating: Estimate
    hot_water: Estimate


@dataclass(frozen=True)
class Analysis:
    """A site's result: figures as attributes, tables as DataFrames, plots as plotly figures."""

    result: Result

    @property
    def site(self) -> Site:
        return self.result.site

    @property
    def facts(self) -> Facts:
        return self.result.facts

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Findings, most urgent first."""
        return self.result.findings

    @cached_property
    def performance(self) -> Performance:
        p = self.result.figures.performance
        return Performance(**p.boundaries, space_heating=p.space_heating, hot_water=p.hot_water)

    @property
    def heat_loss(self) -> Estimate:
        """Heat loss coefficient of the house [W/K]."""
        return self.result.figures.heat_loss.coefficient

    @cached_property
    def days(self) -> pd.DataFrame:
        """One row a local day."""
        return self._table("days")

    @cached_property
    def runs(self) -> pd.DataFrame:
        """One row a run of the compressor."""
        return self._table("runs")

    @cached_property
    def defrosts(self) -> pd.DataFrame:
        """One row a defrost."""
        return self._table("defrosts")

    @cached_property
    def reheats(self) -> pd.DataFrame:
        """One row a charge of the cylinder."""
        return self._table("reheats")

    def _table(self, name: str) -> pd.DataFrame:
        frame: pd.DataFrame = getattr(self.result.facts, name).frame()
        return frame.set_index("day") if name == "days" else frame

    @cached_property
    def document(self) -> dict[str, Any]:
        """The result as the JSON document that the API and the command line give."""
        return self.result.as_dict()

    def plot(self, name: str) -> go.Figure:
        """A figure by name (see PLOTS). Raises InputError for an unknown one."""
        from fieldfare.dashboards.figures.index import chart
        from fieldfare.dashboards.figures.plot import plotly_figure

        if name not in PLOTS:
            raise InputError(f"no plot {name!r}; there are {', '.join(PLOTS)}")
        return go.Figure(plotly_figure(chart(PLOTS[name], self.site, self.document, self.facts)))
