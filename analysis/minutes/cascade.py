"""A cascade's grid: the meters of all units together, made of shared points and of the units' own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.plant.quantities import MODES, QUANTITIES
from fieldfare.analysis.plant.site import Site

if TYPE_CHECKING:
    from fieldfare.analysis.minutes.grid import Grid

Floats = NDArray[np.float64]

MIXED = 5.0
"""Operating mode of a minute in which units serve different uses, or one defrosts while another heats."""
_OFF, _DEFROST = float(MODES["off"]), float(MODES["defrost"])
_AROUND = frozenset({"outdoor_temperature", "outdoor_humidity"})
"""What a unit's own grid needs of the shared points."""


def is_cascade(site: Site) -> bool:
    """Whether several units share the load and some points belong to one of them."""
    return site.heat_pump.units > 1 and any(p.heat_pump is not None for p in site.point)


def unit_site(site: Site, number: int) -> Site:
    """The site with one unit alone: its own points and the weather, its share of output and flow."""
    pump, n = site.heat_pump, site.heat_pump.units
    own = tuple(
        p.model_copy(update={"heat_pump": None})
        for p in site.point
        if p.heat_pump == number or (p.heat_pump is None and p.quantity in _AROUND)
    )
    alone = pump.model_copy(
        update={
            "units": 1,
            "rated_output_kw": pump.rated_output_kw and pump.rated_output_kw / n,
            "flow_m3_per_h": pump.flow_m3_per_h and pump.flow_m3_per_h / n,
            "rating": tuple(
                r.model_copy(update={"output_kw": r.output_kw and r.output_kw / n}) for r in pump.rating
            ),
        }
    )
    return site.model_copy(update={"point": own, "heat_pump": alone})


def shared_site(site: Site) -> Site:
    """The site with the points of all units together."""
    return site.model_copy(update={"point": tuple(p for p in site.point if p.heat_pump is None)})


def cascade_grid(site: Site, build: Callable[[Site], Grid]) -> Grid:
    """The grid of all units. build : makes the grid of a site's points

    An energy without a shared meter is the sum of the units' own, where each has one. Modes are joined; what
    else a unit measures (its water, its speed, its counters) is nothing of the whole. `units` has each unit's
    own grid.
    """
    units = tuple(build(unit_site(site, n)) for n in range(1, site.heat_pump.units + 1))
    shared = build(shared_site(site))
    grid = replace(shared, units=units)
    for name in QUANTITIES:
        each = [unit.energy[name] for unit in units if name in unit.energy]
        if name in grid.energy or len(each) < len(units):
            continue
        grid.energy[name] = np.sum(each, axis=0)
        grid.spacing[name] = max(unit.spacing[name] for unit in units)
        if any(name in unit.step for unit in units):
            grid.step[name] = max(unit.step.get(name, 0.0) for unit in units)
        if all(name in unit.from_register for unit in units):
            grid.from_register.add(name)
    modes = [unit.gauges["operating_mode"] for unit in units if "operating_mode" in unit.gauges]
    if "operating_mode" not in grid.gauges and len(modes) == len(units):
        grid.gauges["operating_mode"] = joined_mode(modes)
        grid.spacing["operating_mode"] = max(unit.spacing["operating_mode"] for unit in units)
    for unit in units:
        grid.seen.update(unit.seen)
        grid.sent.update(unit.sent)
        grid.anomalies.extend(a for a in unit.anomalies if a not in grid.anomalies)
    return grid


def joined_mode(modes: list[Floats]) -> Floats:
    """One mode of several units, float64 (n,): that of those that work; MIXED where they differ; nan where
    one is not known."""
    each = np.round(np.vstack(modes))
    works = each != _OFF
    highest = np.where(works, each, -np.inf).max(axis=0)
    lowest = np.where(works, each, np.inf).min(axis=0)
    joined = np.where(highest == lowest, highest, MIXED)
    joined = np.where(works.any(axis=0), joined, _OFF)
    return np.where(np.isfinite(each).all(axis=0), joined, np.nan)
