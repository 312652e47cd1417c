"""Design feedback from a firm's own systems: three questions, with the sites behind each answer."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.design_ratios import design_ratios
from fieldfare.analysis.reports.outdoor_beside import newest_outdoor, outdoor_beside_others

Floats = NDArray[np.float64]
FEWEST_SITES = 5
"""Fewer say something about houses, not about how a firm designs."""
MOST_COMPARED = 1000
"""Sites of which each is held against each: a larger fleet sends so many, spread evenly. Pairs grow with the
square."""
MILD_C = 5.0
"""Outdoor temperature at which flow temperatures are compared: near the heat-weighted mean of a heating
season."""


ALIKE_DAYS = 0.8
"""Sites are held against each other where their days overlap by so much of all of them: efficiency and starts
of an autumn are not those of a year (common practice)."""


class _Home(NamedTuple):
    """Figures of one site. first, last : ordinals of its days, inclusive"""

    site: str
    first: int
    last: int
    heat_loss: dict[str, Any] | None
    flow_at_mild: float | None
    performance: float | None
    oversizing: float | None
    starts: float | None


def design_feedback(known: Iterable[tuple[Site, dict[str, Any]]]) -> dict[str, Any]:
    """Measured against designed heat loss, performance against flow temperature, cycling against oversizing.

    known : (Site, its newest result document, or what `small_result` keeps of it)
    Returns question -> what was found, with `sites`; a question with fewer than FEWEST_SITES has a `reason`
    instead. `by_building` : of `design_ratios`. `outdoor_beside_others` : of that function
    """
    homes = list(known)
    rows = [_home(site, result) for site, result in homes]
    alike = _of_like_days(rows)
    return {
        "by_building": design_ratios(homes),
        "heat_loss_against_design": _heat_loss(rows),
        "performance_against_flow_temperature": _against(
            [(row.site, row.flow_at_mild, row.performance) for row in alike],
            "K",
            "performance changes by {slope:+.3f} for each K of flow temperature",
            len(rows) - len(alike),
        ),
        "cycling_against_oversizing": _against(
            [(row.site, row.oversizing, row.starts) for row in alike],
            "",
            "starts an hour change by {slope:+.2f} for a rated output larger by one heat loss",
            len(rows) - len(alike),
        ),
        "outdoor_beside_others": outdoor_beside_others(homes),
    }


def small_result(result: dict[str, Any]) -> dict[str, Any]:
    """The parts of a result document that are asked here; the rest is many times larger."""
    energy, performance = result.get("energy") or {}, result["performance"]
    return {
        **{k: result.get(k) for k in ("period", "heat_loss", "capacity", "heating_curve", "cycling")},
        "coverage": {"share": (result.get("coverage") or {}).get("share")},
        "energy": {"heat_kwh": energy.get("heat_kwh")},
        "performance": {k: performance.get(k) for k in ("space_heating", "H2")}
        | {"by_day": newest_outdoor(performance.get("by_day") or [])},
    }


def _home(site: Site, result: dict[str, Any]) -> _Home:
    ratio = (result.get("heat_loss") or {}).get("ratio") or {}
    first, last = (date.fromisoformat(result["period"][k]).toordinal() for k in ("from", "to"))
    return _Home(
        site.id,
        first,
        last,
        ratio if ratio.get("value") is not None else None,
        _flow_at_mild(result),
        _space_performance(result),
        _oversizing(site, result),
        (result.get("cycling") or {}).get("starts_per_running_hour"),
    )


def _of_like_days(rows: list[_Home]) -> list[_Home]:
    """The largest set of sites whose days overlap by ALIKE_DAYS with those of one of them."""
    if not rows:
        return []
    days = np.array([(row.first, row.last) for row in rows])
    kinds, count = np.unique(days, axis=0, return_counts=True)
    both = np.minimum(kinds[:, None, 1], kinds[None, :, 1]) - np.maximum(kinds[:, None, 0], kinds[None, :, 0])
    either = np.maximum(kinds[:, None, 1], kinds[None, :, 1]) - np.minimum(
        kinds[:, None, 0], kinds[None, :, 0]
    )
    alike = (both + 1) >= ALIKE_DAYS * (either + 1)
    largest = kinds[alike[int(np.argmax(alike @ count))]]
    taken = {(int(first), int(last)) for first, last in largest}
    return [row for row in rows if (row.first, row.last) in taken]


def _heat_loss(rows: list[_Home]) -> dict[str, Any]:
    """Ratio of measured to designed heat loss: its median with a distribution-free interval."""
    found = [{"site": row.site, **row.heat_loss} for row in rows if row.heat_loss]
    found.sort(key=lambda row: row["value"])
    if len(found) < FEWEST_SITES:
        return _too_few(found)
    values = np.array([row["value"] for row in found])
    low, high = _median_interval(values)
    middle = float(np.median(values))
    lesson = (
        f"measured heat loss is {middle:.2f} of the designed (median of {len(found)}, {low:.2f} to"
        f" {high:.2f})"
    )
    if high < 1.0:
        lesson += ": the designs ask for more than the houses need"
    elif low > 1.0:
        lesson += ": the houses need more than the designs say"
    return {"median": {"value": middle, "low": low, "high": high}, "lesson": lesson, "sites": found}


def _median_interval(values: Floats) -> tuple[float, float]:
    """95 % interval of a median from order statistics (binomial); the whole range where there are few."""
    from scipy.stats import binom  # a second to load, and no use to a fleet of few homes

    ordered, n = np.sort(values), len(values)
    k = int(binom.ppf(0.025, n, 0.5))
    return float(ordered[max(k - 1, 0)]), float(ordered[min(n - k, n - 1)])


def _against(
    pairs: list[tuple[str, float | None, float | None]], unit: str, words: str, left_out: int
) -> dict[str, Any]:
    """How one figure goes with another over the sites: Theil and Sen's slope, which odd sites don't pull.

    pairs : (site, x, y). left_out : sites with other days
    """
    found: list[dict[str, Any]] = [
        {"site": site, "x": round(float(x), 4), "y": round(float(y), 4)}
        for site, x, y in pairs
        if x is not None and y is not None
    ]
    found.sort(key=lambda row: row["x"])
    x, y = (np.array([row[k] for row in found]) for k in ("x", "y"))
    if len(found) < FEWEST_SITES:
        return _too_few(found)
    if float(np.ptp(x)) == 0.0:
        return {**_too_few(found), "reason": "all homes are alike in it"}
    from scipy.stats import theilslopes

    n = len(found)
    sent = np.unique(np.linspace(0, n - 1, min(n, MOST_COMPARED)).round().astype(int))
    slope, intercept, low, high = (float(v) for v in theilslopes(y[sent], x[sent], 0.95))
    of_them = f"{n} homes" if len(sent) == n else f"{len(sent)} of {n} homes"
    lesson = f"{words.format(slope=slope)} ({low:+.3f} to {high:+.3f}, {of_them})"
    if low <= 0.0 <= high:
        lesson += "; this may be chance"
    if left_out:
        lesson += f"; {left_out} with readings of other days {'is' if left_out == 1 else 'are'} left out"
    return {
        "slope": {"value": slope, "low": low, "high": high},
        "at": {"x": float(np.median(x)), "y": float(np.median(x) * slope + intercept)},
        "unit": unit,
        "lesson": lesson,
        "sites": found,
    }


def _too_few(found: list[dict[str, Any]]) -> dict[str, Any]:
    return {"reason": f"needs {FEWEST_SITES} sites on which it is known, has {len(found)}", "sites": found}


def _flow_at_mild(result: dict[str, Any]) -> float | None:
    points = (result.get("heating_curve") or {}).get("fitted")
    return float(curve_at([tuple(p) for p in points], np.array([MILD_C]))[0]) if points else None


def _space_performance(result: dict[str, Any]) -> float | None:
    performance = result["performance"]
    return ((performance.get("space_heating") or performance.get("H2")) or {}).get("value")


def _oversizing(site: Site, result: dict[str, Any]) -> float | None:
    loss = ((result.get("heat_loss") or {}).get("heat_loss_kw") or {}).get("value")
    rated = site.heat_pump.rated_output_kw
    return rated / loss if rated and loss else None
