"""Schema of the days table: the families' columns joined, and what of them a site carries."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, TypeVar

from fieldfare.analysis.facts.columns.column import DayColumn
from fieldfare.analysis.facts.columns.data import COLUMNS as DATA
from fieldfare.analysis.facts.columns.energy import COLUMNS as ENERGY
from fieldfare.analysis.facts.columns.operation import COLUMNS as OPERATION
from fieldfare.analysis.facts.columns.water import COLUMNS as WATER

if TYPE_CHECKING:
    from fieldfare.analysis.plant.site import Site

COLUMNS: dict[str, DayColumn] = {c.name: c for part in (DATA, ENERGY, OPERATION, WATER) for c in part}
"""Every column by name; one for each point, quantity, zone or level by its name up to the dot."""

T = TypeVar("T")


def column_of(name: str) -> DayColumn:
    """The schema's row of a column. Raises KeyError for a name that it doesn't have."""
    found = COLUMNS.get(name) or COLUMNS.get(name.partition(".")[0] + ".")
    if found is None:
        raise KeyError(name)
    return found


def absent_value(name: str) -> float | None:
    """What a reader gets of a column that a site doesn't carry; None where absence says something."""
    column = COLUMNS.get(name)
    return None if column is None or column.optional else column.absent


def fillings(site: Site) -> frozenset[str]:
    """The quantities that a site measures, `no_hot_water` where it makes none,
    `cooling` where it can cool."""
    given = {point.quantity for point in site.point}
    if site.hot_water is None:
        given.add("no_hot_water")
    if site.heat_pump.cooling:
        given.add("cooling")
    return frozenset(given)


def carried(site: Site, columns: Mapping[str, T]) -> dict[str, T]:
    """The columns that a site can fill. Raises KeyError for one without a row."""
    given = fillings(site)
    return {name: values for name, values in columns.items() if column_of(name).is_filled_by(given)}
