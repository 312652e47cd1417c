"""Build the facts tables from raw readings, for one day or five years."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from functools import cache, partial

import numpy as np

from fieldfare.analysis.facts.clock_edges import edge_columns
from fieldfare.analysis.facts.clocks import clock_columns
from fieldfare.analysis.facts.columns import carried
from fieldfare.analysis.facts.data_quality import data_quality_columns
from fieldfare.analysis.facts.daylight import daylight_columns
from fieldfare.analysis.facts.days import days_columns
from fieldfare.analysis.facts.events import defrosts_table, reheats_table, runs_table
from fieldfare.analysis.facts.faults import faults_table
from fieldfare.analysis.facts.frost import frost_growth
from fieldfare.analysis.facts.minutes import build_minutes
from fieldfare.analysis.facts.notices import notices_table
from fieldfare.analysis.facts.rests import direct_columns, rests_table
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import (
    MARGIN_DAYS,
    SPAN_DAYS,
    Facts,
    join,
)
from fieldfare.analysis.minutes.grid import build_grid
from fieldfare.analysis.minutes.midnight import local_midnight
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings, Samples, is_thin


def build_facts(site: Site, readings: Readings, first: date, last: date, threads: int = 1) -> Facts:
    """Facts of the local days first..last, inclusive.

    readings : Readings in declared units; should reach MARGIN_DAYS beyond both ends if available
    threads : int, default 1. Threads that share the parts of a long span
    Returns Facts. A day's facts depend only on the readings of that day and MARGIN_DAYS around it; for points
        read less than daily, also on the readings before and after that.
    """
    starts = [first + timedelta(n) for n in range(0, (last - first).days + 1, SPAN_DAYS)]
    spans = [(start, min(start + timedelta(SPAN_DAYS - 1), last)) for start in starts]
    if len(spans) == 1 or threads == 1:
        return join(_build_span(site, readings, *span) for span in spans)
    with ThreadPoolExecutor(threads) as pool:
        return join(pool.map(lambda span: _build_span(site, readings, *span), spans))


def _build_span(site: Site, readings: Readings, first: date, last: date) -> Facts:
    outer_first, outer_last = first - timedelta(MARGIN_DAYS), last + timedelta(MARGIN_DAYS)
    start, end = local_midnight(site, outer_first), local_midnight(site, outer_last + timedelta(1))
    near = {point: _near(s, start, end) for point, s in readings.items()}
    grid = build_grid(site, near, outer_first, outer_last)
    minutes = build_minutes(site, grid)
    frost = cache(partial(frost_growth, site, minutes))  # days and defrosts read it; it ends with the span
    days = Table(carried(site, days_columns(site, minutes, frost))).between(first, last)
    inner = slice(MARGIN_DAYS, MARGIN_DAYS + len(days))
    day = Segments(grid.day_start[:-1][inner], grid.day_start[1:][inner])
    columns = data_quality_columns(site, minutes, day, near) | clock_columns(minutes, day)
    columns |= direct_columns(minutes, day)
    columns |= edge_columns(minutes, day)
    columns |= daylight_columns(site, minutes, day, days["day"])
    facts = Facts(
        days.with_columns(**carried(site, columns)),
        runs_table(site, minutes),
        defrosts_table(minutes, frost),
        reheats_table(site, minutes),
        notices_table(site, minutes, near),
        rests_table(site, minutes, near),
        faults_table(site, minutes, near),
    )
    return facts.between(first, last)


def _near(samples: Samples, start: int, end: int) -> Samples:
    """Samples of start <= time < end; for points read less than daily also the previous and the next one.

    A register read monthly gives a day's energy only from its readings on both sides.
    """
    a, b = np.searchsorted(samples.time, (start, end))
    n = len(samples.time)
    if n and is_thin(n, int(samples.time[0]), int(samples.time[-1])):
        a, b = max(a - 1, 0), min(b + 1, n)
    return Samples(samples.time[a:b], samples.value[a:b])
