"""Measured over designed values by type and age of home, with intervals, for the next design."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from fieldfare.analysis.physics.emitters import HeatEmitter, output_kw
from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95

FEWEST_HOMES = 3
"""A group with fewer is counted, and nothing is said of it."""
BETWEEN_SCALE = 0.25
"""Half-Cauchy scale of the spread of group means of ln(ratio): types of homes differ by tens of per cent
(common practice, no source)."""
LEAST_ERROR = 0.02
"""Of ln(ratio): no ratio is surer than the meters behind it (EN 1434-1 and 2014/32/EU, some 2 % at best)."""
WHOLE_YEAR_DAYS = 330
"""From so many measured days on a figure stands beside an annual one of the design."""
HOT_WATER_ERROR = 0.06
"""Standard error of a year's hot-water heat, relative: a class 3 heat meter at short runs
(common practice)."""
USUAL_SPREAD_K = 5.0
AGES = ((1919, "before 1919"), (1945, "1919 to 1944"), (1980, "1945 to 1979"), (2003, "1980 to 2002"))
NEWEST = "from 2003"
"""Bands of age: codes of most countries changed near these years (common practice; no two agree)."""
Ratio = tuple[float, float]
"""ln(measured over designed) and its standard error."""


@dataclass(frozen=True)
class GroupRatio:
    """One line of the table. grouping : all, kind, age or kind_and_age. n :
    homes of the group with the quantity
    ratio, low, high : of the group, 95 %. next_low, next_high : of the next home like these, eight in ten
    All None below FEWEST_HOMES.
    """

    quantity: str
    grouping: str
    kind: str
    age: str
    n: int
    ratio: float | None
    low: float | None
    high: float | None
    next_low: float | None
    next_high: float | None


def design_ratios(known: Iterable[tuple[Site, Mapping[str, Any]]]) -> dict[str, Any]:
    """Ratios by quantity and group, JSON-ready.

    known : (Site, its newest result document); gone through once
    Returns groups (list of GroupRatio), homes : how many were looked at, unstated : how many name neither
    type nor year.
    """
    found: dict[str, list[tuple[str, str, Ratio]]] = {name: [] for name in QUANTITIES}
    homes = unstated = 0
    for site, result in known:
        homes += 1
        kind, age = site.building.kind or "", age_band(site.building.built)
        unstated += not (kind or age)
        for name, ask in QUANTITIES.items():
            ratio = ask(site, result)
            if ratio is not None:
                found[name].append((kind, age, ratio))
    rows = [row for name, homes_of in found.items() for row in _groups(name, homes_of)]
    return {"groups": [asdict(row) for row in rows], "homes": homes, "unstated": unstated}


def age_band(built: int | None) -> str:
    """Band of a year of building; empty without one."""
    if built is None:
        return ""
    return next((name for before, name in AGES if built < before), NEWEST)


def _groups(quantity: str, homes: list[tuple[str, str, Ratio]]) -> list[GroupRatio]:
    """All homes, and each grouping pooled on its own; homes without the key are in `all` only."""
    if not homes:
        return []
    from fieldfare.analysis.statistics.partial_pooling import pooled_means  # scipy, 45 MB of every process

    rows: list[GroupRatio] = []
    groupings: tuple[tuple[str, Callable[[str, str], tuple[str, str] | None]], ...] = (
        ("all", lambda kind, age: ("", "")),
        ("kind", lambda kind, age: (kind, "") if kind else None),
        ("age", lambda kind, age: ("", age) if age else None),
        ("kind_and_age", lambda kind, age: (kind, age) if kind and age else None),
    )
    for grouping, key_of in groupings:
        groups: dict[tuple[str, str], list[Ratio]] = {}
        for kind, age, ratio in homes:
            key = key_of(kind, age)
            if key is not None:
                groups.setdefault(key, []).append(ratio)
        pooled = pooled_means(groups, between_scale=BETWEEN_SCALE) if groups else {}
        for (kind, age), pool in sorted(pooled.items()):
            values = [pool.mean, pool.low, pool.high, pool.next_low, pool.next_high]
            shown = [round(math.exp(v), 3) for v in values] if pool.n >= FEWEST_HOMES else [None] * 5
            rows.append(GroupRatio(quantity, grouping, kind, age, pool.n, *shown))
    return rows


def _of(value: float | None, designed: float | None, low: float | None, high: float | None) -> Ratio | None:
    """ln ratio with the error that its 95 % interval has; None without both or without an interval."""
    if not value or not designed or not low or not high or min(value, designed, low) <= 0.0:
        return None
    return math.log(value / designed), max((math.log(high) - math.log(low)) / (2.0 * GAUSS_95), LEAST_ERROR)


def _estimate(found: Mapping[str, Any] | None, designed: float | None) -> Ratio | None:
    e = found or {}
    return _of(e.get("value"), designed, e.get("low"), e.get("high"))


def _heat_loss(site: Site, result: Mapping[str, Any]) -> Ratio | None:
    """Heat loss at the design temperatures against EN 12831-1."""
    return _estimate((result.get("heat_loss") or {}).get("heat_loss_kw"), site.design.heat_loss_kw)


def _peak_load(site: Site, result: Mapping[str, Any]) -> Ratio | None:
    """Load on the design day after gains, against the designed heat loss."""
    return _estimate((result.get("capacity") or {}).get("load_kw"), site.design.heat_loss_kw)


def _flow_at_design(site: Site, result: Mapping[str, Any]) -> tuple[float, float] | None:
    """Flow at the design outdoor temperature, measured and designed [°C]."""
    points = (result.get("heating_curve") or {}).get("fitted")
    cold = site.design.outdoor_c
    if not points or cold is None or site.heating_curve is None:
        return None
    at = np.array([cold])
    measured = float(curve_at([tuple(p) for p in points], at)[0])
    return measured, float(curve_at(site.heating_curve.points, at)[0])


def _flow_excess(site: Site, result: Mapping[str, Any]) -> Ratio | None:
    """Flow less room at the design temperature. The curve's own fit has a doubt of about a kelvin."""
    flows = _flow_at_design(site, result)
    if flows is None:
        return None
    excess, designed = (flow - site.design.indoor_c for flow in flows)
    return _of(excess, designed, excess - 1.0, excess + 1.0)


def _emitter_share(site: Site, result: Mapping[str, Any]) -> Ratio | None:
    """Share of the emitters' rated output that the design day uses,
    at the measured flow against the design's."""
    flows = _flow_at_design(site, result)
    load = (result.get("capacity") or {}).get("load_kw") or {}
    if flows is None or not site.emitter or not load.get("value") or not site.design.heat_loss_kw:
        return None
    each = [HeatEmitter(e.output_kw, e.output_excess_k, e.kind) for e in site.emitter]
    room = site.design.indoor_c
    gives = [float(output_kw(each, flow, flow - USUAL_SPREAD_K, room)) for flow in flows]
    if min(gives) <= 0.0 or not load.get("low"):
        return None
    used, designed = load["value"] / gives[0], site.design.heat_loss_kw / gives[1]
    return _of(used, designed, load["low"] / gives[0], load["high"] / gives[0])


def _hot_water(site: Site, result: Mapping[str, Any]) -> Ratio | None:
    """A year's heat for hot water against the designed; only from very nearly a year."""
    days = measured_days(result)
    heat = ((result.get("energy") or {}).get("heat_kwh") or {}).get("hot_water")
    if not heat or days < WHOLE_YEAR_DAYS:
        return None
    year = heat * 365.0 / days
    spread = math.exp(GAUSS_95 * HOT_WATER_ERROR)
    return _of(year, site.design.hot_water_kwh_per_year, year / spread, year * spread)


def measured_days(result: Mapping[str, Any]) -> float:
    """Days of the period, less what no meter saw of them."""
    period = result.get("period") or {}
    if not period:
        return 0.0
    first, last = (np.datetime64(period[key]) for key in ("from", "to"))
    days = float((last - first) / np.timedelta64(1, "D")) + 1.0
    return days * float((result.get("coverage") or {}).get("share") or 0.0)


QUANTITIES: dict[str, Callable[[Site, Mapping[str, Any]], Ratio | None]] = {
    "heat_loss": _heat_loss,
    "peak_load": _peak_load,
    "emitter_share": _emitter_share,
    "flow_excess": _flow_excess,
    "hot_water": _hot_water,
}
"""What is compared: code -> ln ratio of one home."""
