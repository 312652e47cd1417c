"""A round of visits: places grouped by area, and each group in an order that is short to drive.

Distances are great-circle distances: no map is needed, and roads are longer by a factor that differs little
between stops.
The order comes from the nearest neighbour, improved by 2-opt and by moving single stops, which for the ten
or twenty stops of
a day ends within a few per cent of the shortest (Croes 1958, Oper. Res. 6, 791-812; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

EARTH_RADIUS_KM = 6371.0088
"""Mean radius R1 of the GRS 80 ellipsoid (IUGG; Moritz 2000, J. Geodesy 74, 128-133)."""
AREA_KM = 15.0
"""Homes of one area lie no further apart than this, some twenty minutes' drive (common practice, no
source)."""
MOST_ORDERED = 200
"""Stops of one group that are brought into an order; the time grows with their square."""

Position = tuple[float, float]
"""Latitude and longitude [degrees]."""
Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Place:
    """A stop. position : None where it is not known. area : the firm's own name for it, empty without one"""

    id: str
    name: str
    position: Position | None
    area: str = ""


@dataclass(frozen=True)
class Group:
    """Stops of one area, in the order in which to drive to them; those without a position come last.

    legs_km : to each stop from the one before, None where a position is missing. The first is from the start
    """

    name: str
    stops: tuple[Place, ...]
    legs_km: tuple[float | None, ...]

    @property
    def length_km(self) -> float:
        return sum(leg for leg in self.legs_km if leg is not None)


def distances_km(positions: Sequence[Position]) -> Array:
    """Great-circle distances between all pairs, by the haversine formula.

    positions : n pairs [degrees]. Returns n x n [km].
    """
    lat, lon = np.radians(np.asarray(positions, dtype=float).reshape(-1, 2)).T
    half_lat = np.sin((lat[:, None] - lat[None, :]) / 2.0) ** 2
    half_lon = np.sin((lon[:, None] - lon[None, :]) / 2.0) ** 2
    chord = half_lat + np.cos(lat)[:, None] * np.cos(lat)[None, :] * half_lon
    return 2.0 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.clip(chord, 0.0, 1.0)))


def drive_order(positions: Sequence[Position], start: Position | None = None) -> list[int]:
    """A short order through all positions.

    start : where the drive begins and ends. Without it the order is a path with free ends.
    Returns the indices of `positions`. Beyond MOST_ORDERED positions the nearest neighbour's order is not
    improved.
    """
    n = len(positions)
    if n < 2:
        return list(range(n))
    apart = np.zeros((n + 1, n + 1))  # the last row is the start; without one it is next to everywhere
    known = list(positions) if start is None else [*positions, start]
    apart[: len(known), : len(known)] = distances_km(known)
    first = n if start is not None else int(np.argmax(apart.sum(axis=1)))
    order = [i for i in _nearest_neighbour(apart[: len(known), : len(known)], first) if i < n]
    return _improved(order, apart) if n <= MOST_ORDERED else order


def _nearest_neighbour(apart: Array, first: int) -> list[int]:
    left = np.ones(len(apart), dtype=bool)
    order = [first]
    left[first] = False
    while left.any():
        order.append(int(np.argmin(np.where(left, apart[order[-1]], np.inf))))
        left[order[-1]] = False
    return order


def _improved(order: list[int], apart: Array) -> list[int]:
    """2-opt and moves of single stops, the best of each step, until nothing shortens the way from start to
    start."""
    n = len(order)
    way = np.array([n, *order, n])
    while True:
        d = apart[np.ix_(way, way)]
        leg = np.diagonal(d, 1)
        turned, (i, j) = _best_turn(d, leg)
        moved, (stop, after) = _best_move(d, leg)
        if min(turned, moved) > -1e-9:
            return [int(w) for w in way[1:-1]]
        if turned <= moved:
            way[i : j + 1] = way[i : j + 1][::-1].copy()
        else:
            rest = np.delete(way, stop)
            way = np.insert(rest, after + 1 if after < stop else after, way[stop])


def _best_turn(d: Array, leg: Array) -> tuple[float, tuple[int, int]]:
    """The reversal of places i to j that saves most, and its change of length [km].

    d : distances between places of the way, both ends among them. leg : from each place to the next
    """
    change = d[:-2, 1:-1] + d[1:-1, 2:] - leg[:-1, None] - leg[None, 1:]
    upper = np.where(np.triu(np.ones_like(change, dtype=bool), 1), change, np.inf)
    i, j = np.unravel_index(int(np.argmin(upper)), upper.shape)
    return float(upper[i, j]), (int(i) + 1, int(j) + 1)


def _best_move(d: Array, leg: Array) -> tuple[float, tuple[int, int]]:
    """The stop that saves most behind another place, and the change of length [km]."""
    places = np.arange(len(d))
    inner = places[1:-1]
    out = d[inner - 1, inner + 1] - leg[inner - 1] - leg[inner]
    into = d[inner][:, :-1] + d[inner][:, 1:] - leg[None, :]
    change = out[:, None] + into
    change[inner - 1, inner - 1] = change[inner - 1, inner] = np.inf
    stop, after = np.unravel_index(int(np.argmin(change)), change.shape)
    return float(change[stop, after]), (int(stop) + 1, int(after))


def by_area(places: Sequence[Place], start: Position | None = None) -> list[Group]:
    """Places in groups, each in its drive order, groups in the order in which their first place stands in
    `places`.

    A place's own area counts; places without one are clustered by their positions (complete linkage, so that
    no two of a
    group lie further apart than AREA_KM), and join a named area whose places they lie among. The rest has no
    position.
    """
    groups: dict[str, list[Place]] = {}
    clustered = _clusters(places)
    for place in places:
        name = place.area or clustered.get(place.id, "")
        groups.setdefault(name, []).append(place)
    return [_group(name, members, start) for name, members in groups.items()]


def _clusters(places: Sequence[Place]) -> dict[str, str]:
    """Id -> name of the cluster of each place that has a position and no area of its own."""
    # Takes long to load: only where something is clustered.
    from scipy.cluster.hierarchy import fcluster, linkage
    from scipy.spatial.distance import squareform

    located = [p for p in places if p.position is not None]
    if all(p.area for p in located):
        return {}
    apart = distances_km([p.position for p in located if p.position is not None])
    labels = [1]
    if len(located) > 1:
        labels = fcluster(linkage(squareform(apart, checks=False), "complete"), AREA_KM, "distance").tolist()
    names: dict[str, str] = {}
    for label in dict.fromkeys(labels):
        members = [i for i, own in enumerate(labels) if own == label]
        unnamed = [i for i in members if not located[i].area]
        named = [located[i].area for i in members if located[i].area]
        middle = min(unnamed, key=lambda i: apart[i, members].sum(), default=0)
        name = max(named, key=named.count) if named else f"Around {located[middle].name}"
        names |= {located[i].id: name for i in unnamed}
    return names


def _group(name: str, members: Sequence[Place], start: Position | None) -> Group:
    located = [p for p in members if p.position is not None]
    order = drive_order([p.position for p in located if p.position is not None], start)
    stops = [*(located[i] for i in order), *(p for p in members if p.position is None)]
    before = [start, *(p.position for p in stops[:-1])]
    legs = tuple(_leg(a, p.position) for a, p in zip(before, stops, strict=True))
    return Group(name, tuple(stops), legs)


def _leg(a: Position | None, b: Position | None) -> float | None:
    return None if a is None or b is None else float(distances_km([a, b])[0, 1])
