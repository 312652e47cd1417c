"""Meters that show nothing while the unit rests."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site


def nothing_at_rest(site: Site, days: Table) -> bool:
    """On most days of work the unit's meter shows nothing at rest: then nothing is no sign of a lost supply.

    Some units cut the supply of their controls at rest, and some meters show nothing below some watts.
    """
    rest = fill_nan(days.floats("minutes_rest"), 0.0)
    worked = (days.floats("minutes_running") >= 1) & (rest >= limit_of(site, "stopped_powerless_minutes"))
    if not worked.any():
        return False
    share = fill_nan(days.floats("minutes_dead"), 0.0)[worked] / rest[worked]
    return bool(np.median(share) > limit_of(site, "stopped_nothing_share"))
