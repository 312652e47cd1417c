"""Compare the outdoor sensors of homes near each other.

What one home's readings can tell of its own outdoor sensor is little where it reads too cold: a house with
much free heat and a low curve looks the same. The air of homes in one area is the same to within a kelvin or
two, so that a sensor that stands apart from several others on most days is wrong, or hangs in an odd place.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import hypot, log, sqrt
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.hypotheses import log_odds, probability_of
from fieldfare.analysis.expectation.outdoor_offset import OFF_BY, OFF_SHARE
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.visits.route import AREA_KM, Position, distances_km

Floats = NDArray[np.float64]

FEWEST_NEIGHBOURS, FEWEST_DAYS, NEWEST_DAYS = 3, 20, 60
"""Two others do not say which of three is wrong; three weeks hold more than one weather; two months are the
sensor as it hangs now (common practice)."""
LEAST_APART_K = 3.0
"""Nearer to the others the place itself may be so warm or cold (common practice)."""

# Daily means of places within 15 km differ by height (0.65 K in 100 m), gardens, towns and valleys (common
# practice), and so do those of the neighbours.
_PLACE_SD = 1.0
# Median of a few over their mean (Kenney and Keeping 1962, large samples: root of pi over two).
_MEDIAN_WIDER = 1.25


class _Sensor(NamedTuple):
    site: str
    position: Position
    day: NDArray[Any]
    outdoor: Floats
    surest: float


def outdoor_beside_others(known: Iterable[tuple[Site, dict[str, Any]]]) -> dict[str, Any]:
    """Homes whose outdoor sensor deviates from those nearby.

    known : (Site, its result document, of which `performance.by_day` is read)
    Returns `compared`, how many homes had enough others within AREA_KM; and `sites`, those apart by
        LEAST_APART_K or more and more likely wrong than not, the farthest first: site, apart_k [K, positive
        where it reads warmer], neighbours, days, probability. `reason` where no home could be compared.
    """
    homes = [home for site, result in known if (home := _home(site, result)) is not None]
    if len(homes) <= FEWEST_NEIGHBOURS:
        return _none_compared()
    near = distances_km([home.position for home in homes]) <= AREA_KM
    np.fill_diagonal(near, val=False)
    rows = [
        row
        for i, home in enumerate(homes)
        if (row := _apart(home, [homes[j] for j in np.flatnonzero(near[i])])) is not None
    ]
    if not rows:
        return _none_compared()
    odd = [r for r in rows if abs(r["apart_k"]) >= LEAST_APART_K and r["probability"] > 0.5]
    return {"compared": len(rows), "sites": sorted(odd, key=lambda r: -abs(r["apart_k"]))}


def newest_outdoor(by_day: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Day and outdoor temperature of the newest NEWEST_DAYS of a result's days that have one."""
    known = [{k: row[k] for k in ("day", "outdoor_c")} for row in by_day if row.get("outdoor_c") is not None]
    return known[-NEWEST_DAYS:]


def _none_compared() -> dict[str, Any]:
    return {
        "compared": 0,
        "sites": [],
        "reason": f"needs homes with a position and at least {FEWEST_NEIGHBOURS} others with an outdoor"
        f" sensor of their own within {AREA_KM:.0f} km, on {FEWEST_DAYS} days",
    }


def _home(site: Site, result: dict[str, Any]) -> _Sensor | None:
    """Position and daily means of a home's own outdoor sensor; None without them."""
    at = site.latitude, site.longitude
    borrowed = site.weather_lender is not None or site.weather is not None
    if at[0] is None or at[1] is None or borrowed or not site.measures("outdoor_temperature"):
        return None
    by_day = newest_outdoor((result.get("performance") or {}).get("by_day") or [])
    day = np.array([row["day"] for row in by_day], dtype="datetime64[D]")
    outdoor = np.array([row["outdoor_c"] for row in by_day], dtype=np.float64)
    return _Sensor(site.id, (at[0], at[1]), day, outdoor, limit_of(site, "surest"))


def _apart(home: _Sensor, others: list[_Sensor]) -> dict[str, Any] | None:
    """Deviation of a home's daily means from the median of the others on the same days; None with too few."""
    table = np.full((len(others), len(home.day)), np.nan)
    for row, other in zip(table, others, strict=True):
        both, mine, theirs = np.intersect1d(home.day, other.day, return_indices=True)
        if len(both) >= FEWEST_DAYS:
            row[mine] = other.outdoor[theirs]
    there = np.count_nonzero(np.isfinite(table), axis=0) >= FEWEST_NEIGHBOURS
    if there.sum() < FEWEST_DAYS:
        return None
    apart = float(np.median(home.outdoor[there] - np.nanmedian(table[:, there], axis=0)))
    neighbours = int(np.isfinite(table[:, there]).any(axis=1).sum())
    return {
        "site": home.site,
        "apart_k": round(apart, 1),
        "neighbours": neighbours,
        "days": int(there.sum()),
        "probability": round(min(_chance(apart, neighbours), home.surest), 2),
    }


def _chance(apart: float, neighbours: int) -> float:
    """Probability that the sensor is off, not its place (Bayes' rule)."""
    place = hypot(_PLACE_SD, _MEDIAN_WIDER * _PLACE_SD / sqrt(neighbours))
    wrong = hypot(place, OFF_BY.sd)
    off = -0.5 * ((abs(apart) - OFF_BY.mean) / wrong) ** 2 - log(2.0 * wrong)  # to either side
    right = -0.5 * (apart / place) ** 2 - log(place)
    return probability_of(log_odds(OFF_SHARE) + off - right)
