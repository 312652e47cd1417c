"""What the findings about the heat share."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats


def as_cold(so: Flags, outdoor: Floats, known: Flags) -> Flags:
    """Days on which it could show again: as cold as most of those on which it did. A mild spell ends nothing.

    so, known : bool (n,). outdoor : float64 (n,) [°C]
    """
    if not so.any() or not np.isfinite(outdoor[so]).any():
        return known | so
    usual = float(np.nanmedian(outdoor[so]))
    return so | (known & (fill_nan(outdoor, usual) <= usual))
