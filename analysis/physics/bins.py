"""Reference heating seasons of EN 14825: hours in bins of outdoor temperature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ReferenceSeason:
    """A reference heating season: temperature bins with hours, and its design temperature."""

    name: str
    design_c: float
    first_c: int
    hours: tuple[int, ...]

    @property
    def temperatures_c(self) -> Array:
        """Bin temperatures [C], coldest first."""
        return np.arange(self.first_c, self.first_c + len(self.hours), dtype=float)


# Hours: A from Reg. (EU) 813/2013 Annex III Table 5; W and C from EN 14825:2018 Annex B as public code
# transcribes it, proved by their equivalent hours.
AVERAGE = ReferenceSeason(
    "average",
    -10.0,
    -10,
    (
        1,
        25,
        23,
        24,
        27,
        68,
        91,
        89,
        165,
        173,
        240,
        280,
        320,
        357,
        356,
        303,
        330,
        326,
        348,
        335,
        315,
        215,
        169,
        151,
        105,
        74,
    ),
)
WARMER = ReferenceSeason(
    "warmer",
    2.0,
    2,
    (3, 22, 63, 63, 175, 162, 259, 360, 428, 430, 503, 444, 384, 294),
)
COLDER = ReferenceSeason(
    "colder",
    -22.0,
    -22,
    (
        1,
        6,
        13,
        17,
        19,
        26,
        39,
        41,
        35,
        52,
        37,
        41,
        43,
        54,
        90,
        125,
        169,
        195,
        278,
        306,
        454,
        385,
        490,
        533,
        380,
        228,
        261,
        279,
        229,
        269,
        233,
        230,
        243,
        191,
        146,
        150,
        97,
        61,
    ),
)
