"""What a heat pump should do: a performance surface from its rating points, or the curve of an average unit.

The surface works on second-law efficiency, not on COP: COP falls steeply and in a curve with the lift, its
ratio to the thermodynamic limit hardly moves, so it can be carried between and beyond a few points.
Efficiency and capacity are each a smooth field over source and flow temperature, conditioned on the points
(Gaussian-process regression): with no point the field is its prior, with one it is shifted, with two or more
it is shifted and tilted, and it passes through points that agree.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import ClassVar, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldfare.analysis.expectation.part_load import USUAL_STRENGTH, part_load_gain
from fieldfare.analysis.physics.second_law import (
    PLAUSIBLE_SHARE_OF_CARNOT,
    ZERO_C_IN_K,
    carnot_cop,
    lorenz_cop,
    second_law_efficiency,
)

__all__ = [
    "PLAUSIBLE_SHARE_OF_CARNOT",
    "RatedPerformance",
    "RatingPoint",
    "Source",
    "carnot_cop",
    "generic_cop",
    "lorenz_cop",
    "second_law_efficiency",
]

Array = NDArray[np.float64]
Source = Literal["air", "brine", "water"]

HIGHEST_COP = 9.0  # reached by no rated unit at a usable flow temperature; common practice, no source


class RatingPoint(NamedTuple):
    """One EN 14511 test point. A COP or an output that is not known is None."""

    outdoor_c: float
    flow_c: float
    output_kw: float | None
    cop: float | None


_STAFFELL = {  # coefficients over the lift, and the lifts between which the regression holds
    "air": (6.81, -0.121, 0.000630, 15.0, 60.0),
    "brine": (8.77, -0.150, 0.000734, 20.0, 60.0),
}


def generic_cop(source_c: ArrayLike, flow_c: ArrayLike, *, source: Source = "air") -> Array:
    """COP of an average unit, for a site whose rating is not known.

    source_c, flow_c : float or array [C]
    source : str, default air. air, brine or water (taken as brine at the water's temperature)
    Returns the broadcast shape [-]. Below the regression's lowest lift its value there is held; above 60 K it
    falls as 1/lift. Raises ValueError for another source.
    Source: Staffell et al. (2012), Energy Environ. Sci. 5, 9291; extension beyond its range is ours.
    """
    constant, linear, square, lowest, highest = _STAFFELL[_known(source)]
    lift = np.asarray(flow_c, dtype=float) - np.asarray(source_c, dtype=float)
    held = np.clip(lift, lowest, highest)
    cop = constant + linear * held + square * held**2
    return np.maximum(cop * np.minimum(1.0, highest / np.maximum(lift, highest)), 1.0)[()]


def _known(source: str) -> str:
    if source not in ("air", "brine", "water"):
        raise ValueError(f"source must be air, brine or water, got {source!r}")
    return "air" if source == "air" else "brine"


class RatedPerformance:
    """COP and full-load output of one unit over source and flow temperature.

    `coldest_output_c` is the coldest source with a rated output, inf without one.
    `source_c` is the outdoor air for an air source and the entering brine or water otherwise. EN 14511 points
    include the unit's own defrosts, so the surface does too. More than 5 K beyond the rated temperatures what
    the points taught is held and only the prior slopes act; COP does not rise further below a lift of 15 K
    (or the smallest rated), and nothing exceeds 0.65 of Carnot or 9. COP never falls as the source warms nor
    rises with the flow; nor does the output.

    Many units are rated at A7 with the compressor at part speed and at A2 or A-7 near full speed. Output and
    COP are meant at full speed, so a point that gives less than another one with a colder source and no
    cooler flow is not used for the output, and its COP is taken without the usual gain of part load.
    """

    # Evaporating below the air and condensing above the water: keeps the limit finite at small lifts. Common
    # practice.
    _APPROACH_COLD_K: ClassVar = {"air": 8.0, "brine": 5.0}
    _APPROACH_HOT_K = 2.0
    # Prior slopes per 10 K of ln(efficiency) and ln(output) over source and flow. Efficiency: between
    # Staffell et al. (2012) and the unit of EN 14825:2018 Annex H; output over source: that unit; over flow:
    # common practice, no source.
    _SLOPES: ClassVar = {"efficiency": (0.05, -0.05), "output": (0.28, -0.05)}
    _SLOPE_SPREAD = (0.15, 0.10)  # one standard deviation of the above, so that points can bend them
    _LEVEL_SPREAD, _LOCAL_SPREAD, _NOISE = 0.30, 0.08, 0.004
    _LOCAL_LENGTH_K = (6.0, 10.0)
    _EFFICIENCY_PRIOR: ClassVar = {"air": 0.52, "brine": 0.50}
    _BEYOND_K = 5.0
    _SOURCE_GRID = np.arange(-30.0, 46.0, 1.0)
    _FLOW_GRID = np.arange(15.0, 86.0, 1.0)

    def __init__(
        self,
        points: Iterable[RatingPoint | tuple[float, float, float | None, float | None]] = (),
        source: Source = "air",
        *,
        nominal_kw: float | None = None,
    ) -> None:
        """Condition the surface on rating points.

        points : of RatingPoint or 4-tuples (outdoor or source C, flow C, output kW, COP). None, one or many,
            any order
        source : str, default air. air, brine or water
        nominal_kw : float [kW], default None. Rated output where no point gives one, taken at A7/W35 (B0/W35,
            W10/W35)
        Raises ValueError for another source, or a point that is not finite, not positive, or above Carnot.
        """
        self.source = source
        self._kind = _known(source)
        self.points: tuple[RatingPoint, ...] = tuple(RatingPoint(*p) for p in points)
        for p in self.points:
            self._check(p)
        with_output = _full_speed(
            [(p.outdoor_c, p.flow_c, p.output_kw) for p in self.points if p.output_kw is not None]
        )
        if not with_output and nominal_kw is not None:
            reference = {"air": 7.0, "brine": 0.0, "water": 10.0}[source]
            with_output = [(reference, 35.0, float(nominal_kw))]
        self.coldest_output_c = min((o for o, _, _ in with_output), default=math.inf)
        self._output_grid = self._output_surface(with_output) if with_output else None
        with_cop = [
            (p.outdoor_c, p.flow_c, p.cop / self._gain_of(p, with_output))
            for p in self.points
            if p.cop is not None
        ]
        self._lowest_lift = min([15.0] + [f - o for o, f, _ in with_cop])
        self._cop_grid = self._cop_surface(with_cop)
        if with_cop:
            n = len(with_cop)
            self.basis: str = f"{n} rating point{'s' if n > 1 else ''} carried by second-law efficiency"
        else:
            self.basis = (
                "generic curve of an average unit (Staffell et al. 2012): the site file has no rating"
            )

    def cop(self, source_c: ArrayLike, flow_c: ArrayLike) -> Array:
        """Expected COP at full load, defrosts included.

        source_c, flow_c : float or array [C]
        Returns the broadcast shape [-]; NaN where an input is.
        """
        return self._read(self._cop_grid, source_c, flow_c)

    def unrated_spread(self, below_k: float) -> float:
        """Relative standard uncertainty of an output so far below the coldest source known [-].

        below_k : float [K], at least 0. It is the spread of the prior slope, which alone carries it there.
        """
        return self._SLOPE_SPREAD[0] * max(below_k, 0.0) / 10.0

    def capacity_kw(self, source_c: ArrayLike, flow_c: ArrayLike) -> Array:
        """Output at full load, defrosts included.

        source_c, flow_c : float or array [C]
        Returns the broadcast shape [kW]; NaN where an input is, and everywhere if no output is known.
        """
        if self._output_grid is None:
            missing = np.asarray(source_c, dtype=float) + np.asarray(flow_c, dtype=float)
            return np.full_like(missing, np.nan)[()]
        return self._read(self._output_grid, source_c, flow_c)

    def _check(self, p: RatingPoint) -> None:
        given = [v for v in (p.output_kw, p.cop) if v is not None]
        if not np.all(np.isfinite([p.outdoor_c, p.flow_c, *given])) or any(v <= 0.0 for v in given):
            raise ValueError(f"a rating point needs finite temperatures and positive output and COP, got {p}")
        if p.cop is not None and (p.flow_c <= p.outdoor_c or p.cop > carnot_cop(p.outdoor_c, p.flow_c)):
            raise ValueError(
                f"COP {p.cop} at {p.outdoor_c:g}/{p.flow_c:g} C is above the thermodynamic limit"
            )

    def _gain_of(self, p: RatingPoint, full_speed: list[tuple[float, float, float]]) -> float:
        """Usual gain of part load in a point's COP [-]; 1 for a point at full speed."""
        if p.output_kw is None or (p.outdoor_c, p.flow_c, p.output_kw) in full_speed:
            return 1.0
        share = min(p.output_kw / float(self.capacity_kw(p.outdoor_c, p.flow_c)), 1.0)
        return float(part_load_gain(share, p.outdoor_c, p.flow_c)) ** USUAL_STRENGTH.middle

    def _limit(self, source_c: ArrayLike, flow_c: ArrayLike) -> Array:
        """Carnot between evaporation and condensation, held below the lowest lift."""
        lift = np.maximum(
            np.asarray(flow_c, dtype=float) - np.asarray(source_c, dtype=float), self._lowest_lift
        )
        hot = np.asarray(flow_c, dtype=float) + self._APPROACH_HOT_K + ZERO_C_IN_K
        return hot / (lift + self._APPROACH_HOT_K + self._APPROACH_COLD_K[self._kind])

    def _cop_surface(self, known: list[tuple[float, float, float]]) -> Array:
        s, f = np.meshgrid(self._SOURCE_GRID, self._FLOW_GRID, indexing="ij")
        if known:
            short = (
                np.maximum(self._lowest_lift - (f - s), 0.0) / 2.0
            )  # a lift below the lowest is read at the lowest
            low_s, low_f = s - short, f + short
            o, w, cop = np.array(known).T
            level = self._EFFICIENCY_PRIOR[self._kind]
            field = self._field("efficiency", o, w, np.log(cop / self._limit(o, w) / level), low_s, low_f)
            surface = self._limit(low_s, low_f) * level * np.exp(field)
        else:
            surface = np.asarray(generic_cop(s, f, source=self.source))
        highest = HIGHEST_COP if not known else max(HIGHEST_COP, max(c for _, _, c in known))
        surface = np.minimum(surface, np.minimum(PLAUSIBLE_SHARE_OF_CARNOT * carnot_cop(s, f), highest))
        return _monotone(np.maximum(surface, 1.0))

    def _output_surface(self, known: list[tuple[float, float, float]]) -> Array:
        s, f = np.meshgrid(self._SOURCE_GRID, self._FLOW_GRID, indexing="ij")
        o, w, output = np.array(known).T
        middle = float(np.exp(np.mean(np.log(output) - self._slope("output", o, w))))
        field = self._field("output", o, w, np.log(output / middle), s, f)
        return _monotone(middle * np.exp(field))

    def _slope(self, which: str, source_c: Array, flow_c: Array) -> Array:
        over_source, over_flow = self._SLOPES[which]
        return over_source * (source_c - 7.0) / 10.0 + over_flow * (flow_c - 35.0) / 10.0

    def _field(self, which: str, o: Array, w: Array, known: Array, s: Array, f: Array) -> Array:
        """Gaussian-process mean at (s, f) of a field known at (o, w), with a prior plane."""
        plane = self._slope(which, s, f)
        far_s = np.clip(s, o.min() - self._BEYOND_K, o.max() + self._BEYOND_K)
        far_f = np.clip(f, w.min() - self._BEYOND_K, w.max() + self._BEYOND_K)
        near_s, near_f = np.clip(s, o.min(), o.max()), np.clip(f, w.min(), w.max())

        def covariance(far: tuple[Array, Array], near: tuple[Array, Array]) -> Array:
            tilt = self._SLOPE_SPREAD[0] ** 2 * (far[0][..., None] - 7.0) * (o - 7.0) / 100.0
            tilt = tilt + self._SLOPE_SPREAD[1] ** 2 * (far[1][..., None] - 35.0) * (w - 35.0) / 100.0
            across = ((near[0][..., None] - o) / self._LOCAL_LENGTH_K[0]) ** 2
            along = ((near[1][..., None] - w) / self._LOCAL_LENGTH_K[1]) ** 2
            return self._LEVEL_SPREAD**2 + tilt + self._LOCAL_SPREAD**2 * np.exp(-(across + along) / 2.0)

        own = covariance((o, w), (o, w)) + self._NOISE**2 * np.eye(len(o))
        weights = np.linalg.solve(own, known - self._slope(which, o, w))
        return plane + covariance((far_s, far_f), (near_s, near_f)) @ weights

    def _read(self, grid: Array, source_c: ArrayLike, flow_c: ArrayLike) -> Array:
        """Bilinear reading of a grid with steps of 1 K, held at its edges."""
        s, f = np.broadcast_arrays(np.asarray(source_c, dtype=float), np.asarray(flow_c, dtype=float))
        gap = np.isnan(s) | np.isnan(f)
        x = np.clip(np.where(gap, 0.0, s) - self._SOURCE_GRID[0], 0.0, grid.shape[0] - 1.000001)
        y = np.clip(np.where(gap, 35.0, f) - self._FLOW_GRID[0], 0.0, grid.shape[1] - 1.000001)
        i, j = x.astype(int), y.astype(int)
        u, v = x - i, y - j
        known, row = grid.ravel(), grid.shape[1]
        at = i * row + j
        low = known[at] * (1.0 - u) + known[at + row] * u
        high = known[at + 1] * (1.0 - u) + known[at + row + 1] * u
        return np.where(gap, np.nan, low * (1.0 - v) + high * v)[()]


def _full_speed(known: list[tuple[float, float, float]]) -> list[tuple[float, float, float]]:
    """Points whose output no harder point exceeds by more than 2 %."""
    return [
        (o, f, q)
        for o, f, q in known
        if not any(o2 <= o and f2 >= f and q2 > 1.02 * q for o2, f2, q2 in known)
    ]


def _monotone(grid: Array) -> Array:
    """Surface that rises along the first axis and falls along the second, near the given one."""
    upper = np.maximum.accumulate(grid, axis=0)
    upper = np.maximum.accumulate(upper[:, ::-1], axis=1)[:, ::-1]
    lower = np.minimum.accumulate(grid[::-1], axis=0)[::-1]
    lower = np.minimum.accumulate(lower, axis=1)
    return (upper + lower) / 2.0
