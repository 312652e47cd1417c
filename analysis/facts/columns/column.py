"""One column of the days table, as the schema describes it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

HEAT = "heat_output|space_heat|flow_rate"
UNIT = "heat_pump_electricity"
USE = "no_hot_water|operating_mode|diverter_to_hot_water|hot_water_heat|cylinder_temperature|flow_temperature"
"""What tells heating from hot water: one of these signals, or a system that makes no hot water."""
COOLS = "operating_mode|cooling"
"""What tells cooling: the reported mode, or a unit that the site file says can cool."""


@dataclass(frozen=True)
class DayColumn:
    """A column; one for each point, quantity, zone or level where the name ends in a dot.

    unit : of the values; "" for dates and counts. meaning : in one sentence
    source : module of `analysis/facts` that makes it
    needs : what a site must have to fill it, mostly measured quantities, alternatives with `|` between them;
        a site without one of them doesn't carry the column
    absent : what a reader gets there: nan for unknown, 0 for minutes and sums of minutes that never were
    optional : made only where the module finds what it takes, so that its presence says something
    """

    name: str
    unit: str
    meaning: str
    needs: tuple[str, ...] = ()
    source: str = ""
    absent: float = math.nan
    optional: bool = False

    @cached_property
    def _alternatives(self) -> tuple[frozenset[str], ...]:
        return tuple(frozenset(need.split("|")) for need in self.needs)

    def is_filled_by(self, given: frozenset[str]) -> bool:
        """Whether a site with these quantities can fill it."""
        return not any(map(given.isdisjoint, self._alternatives))


def made_by(
    source: str,
    *columns: tuple[str, ...],
    needs: tuple[str, ...] = (),
    absent: float = math.nan,
    optional: bool = False,
) -> tuple[DayColumn, ...]:
    """Columns of one module: name, unit, meaning and the quantities that each needs beside `needs`."""
    return tuple(
        DayColumn(name, unit, meaning, (*needs, *own), source, absent, optional)
        for name, unit, meaning, *own in columns
    )
