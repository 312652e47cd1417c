"""Energy balance of the site's meters by minute, without double counting."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.minutes.grid import Grid
from fieldfare.analysis.physics.water import antifreeze_over_reading, heat_from_flow
from fieldfare.analysis.plant.site import HEAT_QUANTITIES, Site

Floats = NDArray[np.float64]

CONSUMERS = ("heat_pump", "fan", "backup_heater", "immersion", "circulation_pump")
HEATING_METERS = ("heat_output", "space_heat")
"""Heat meters that see the heat given to the rooms, the first one first."""
HEAT_SEEN_BY = (*HEATING_METERS, "flow_rate")
"""Quantities of which one is needed for that heat; a flow rate gives it with both water temperatures."""


HeatBasis = Literal["heat_meter", "split_meters", "flow_product", "none"]
"""Source of the heat: a meter, meters by use, or flow rate times temperature difference."""


@dataclass(frozen=True)
class Balance:
    """Energies in Wh of each minute, float64 (n,); nan where unknown; None where not metered.

    heat_pump : the outdoor unit with everything on its meter that no other meter shows (`within`)
    heat : net heat of the heat pump, from the meters of `heat_basis`
    sees_backup : True where `heat` still contains the back-up heater's heat, because no meter shows it alone,
        or the split meters are downstream of it
    heater_in_meter : heat of the back-up heater or another source that the meter also counts and that is
        subtracted from `heat`; None where there is none
    other_heat : of another source
    metered_heat : as metered, before the correction for antifreeze in a water meter
    flow_heat : heat from flow rate and temperatures, to check or replace the heat meter
    """

    heat_pump: Floats | None
    fan: Floats | None
    backup_heater: Floats | None
    immersion: Floats | None
    circulation_pump: Floats | None
    within: frozenset[str]
    heat: Floats | None
    heat_basis: HeatBasis
    sees_backup: bool
    space_heat: Floats | None
    hot_water_heat: Floats | None
    metered_heat: Floats | None
    flow_heat: Floats | None
    heater_in_meter: Floats | None = None
    other_heat: Floats | None = None

    @property
    def heat_at_meter(self) -> Floats | None:
        """Heat through the heat meter, including that of heater and other source [Wh]."""
        if self.heat is None or self.heater_in_meter is None:
            return self.heat
        return self.heat + self.heater_in_meter

    def electricity(self) -> Floats | None:
        """All metered electricity of the plant [Wh]; a consumer's gap counts as zero only without a meter."""
        parts = [
            p
            for p in (self.heat_pump, self.backup_heater, self.immersion, self.circulation_pump)
            if p is not None
        ]
        if self.fan is not None and "fan" not in self.within:
            parts.append(self.fan)
        return np.sum(parts, axis=0) if parts and self.heat_pump is not None else None


def balance(site: Site, grid: Grid) -> Balance:
    """Build the balance of a grid's meters; subtract what another meter also counts."""
    energy = {name: grid.energy.get(f"{name}_electricity") for name in CONSUMERS}
    includes: set[str] = set()
    for point in site.points_of("heat_pump_electricity"):
        includes |= set(point.includes)
    # The outdoor unit's fan is on its meter by definition; a brine or well pump is not.
    if site.heat_pump.source == "air":
        includes.add("fan")
    within = set(includes)
    unit = energy["heat_pump"]
    for name in sorted(includes - {"fan"}):
        own = energy.get(name)
        if unit is not None and own is not None:
            unit = unit - np.where(np.isfinite(own), own, 0.0)
            within.discard(name)
    space, water = grid.energy.get("space_heat"), grid.energy.get("hot_water_heat")
    basis: HeatBasis = "heat_meter"
    heat, sees_backup = grid.energy.get("heat_output"), False
    if heat is None and space is not None and (water is not None or site.hot_water is None):
        heat = space if water is None else space + water
        basis, sees_backup = "split_meters", True
    metered = heat
    if heat is not None:
        heat = heat / (1.0 + uncorrected_share(site))
    heater = None
    if heat is not None and not sees_backup and meter_behind_heater(site):
        heater = energy["backup_heater"]
        sees_backup = heater is None
        if heater is not None:
            heater = np.where(np.isfinite(heater), heater, 0.0)
            heat = heat - heater
    other = grid.energy.get("other_heat_output")
    if heat is not None and other is not None and meter_counts_other(site):
        counted = np.where(np.isfinite(other), other, 0.0)
        heat = heat - counted
        heater = counted if heater is None else heater + counted
    flow_heat = _flow_heat(site, grid)
    if heat is None and flow_heat is not None:
        heat, basis = flow_heat, "flow_product"
    return Balance(
        unit,
        energy["fan"],
        energy["backup_heater"],
        energy["immersion"],
        energy["circulation_pump"],
        frozenset(within),
        heat,
        basis if heat is not None else "none",
        sees_backup,
        space,
        water,
        metered,
        flow_heat,
        heater,
        other,
    )


def meter_behind_heater(site: Site) -> bool:
    """Whether the site file says that a heat meter is downstream of the in-line back-up heater."""
    return site.includes("heat_output", "backup_heater")


def counts_unmetered_heater(site: Site) -> bool:
    """Whether the unit's meter also counts a direct heater that no other meter shows."""
    return any(
        site.includes("heat_pump_electricity", name) and not site.measures(f"{name}_electricity")
        for name in ("backup_heater", "immersion")
    )


def only_split_meters(site: Site) -> bool:
    """Whether heat is metered by use alone: such meters see the in-line back-up heater's heat too."""
    return site.measures("space_heat") and not site.measures("heat_output")


def meter_counts_other(site: Site) -> bool:
    """Whether the site file says that a heat meter also counts another source."""
    return any(site.includes(q, "other_heat") for q in HEAT_QUANTITIES)


def _flow_heat(site: Site, grid: Grid) -> Floats | None:
    if not all(grid.has(q) for q in ("flow_rate", "flow_temperature", "return_temperature")):
        return None
    pump = site.heat_pump
    watts = heat_from_flow(
        np.maximum(grid.sample("flow_rate"), 0.0),
        grid.sample("flow_temperature"),
        grid.sample("return_temperature"),
        fluid=pump.antifreeze,
        percent=pump.antifreeze_percent,
    )
    return np.asarray(watts, dtype=np.float64) / 60.0


def uncorrected_share(site: Site) -> float:
    """Share by which heat meters read too high, because they assume water instead of antifreeze.

    0.0 without antifreeze, or where the meter corrects for it.
    """
    pump = site.heat_pump
    meters = [p for q in HEAT_QUANTITIES for p in site.points_of(q)]
    if pump.antifreeze == "none" or not meters or all(p.antifreeze_corrected for p in meters):
        return 0.0
    return float(antifreeze_over_reading(35.0, 30.0, fluid=pump.antifreeze, percent=pump.antifreeze_percent))
