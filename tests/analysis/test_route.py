"""Distances, areas and drive orders, against published geodesics and every possible order."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fieldfare.analysis.visits.route import (
    AREA_KM,
    Place,
    Position,
    by_area,
    distances_km,
    drive_order,
)


def length(order: list[int], positions: list[Position], start: Position | None = None) -> float:
    way = [positions[i] for i in order]
    way = way if start is None else [start, *way, start]
    return float(np.diagonal(distances_km(way), 1).sum())


def scattered(n: int, seed: int, span: float = 0.5) -> list[Position]:
    draw = np.random.default_rng(seed)
    return [(52.0 + a, -2.0 + b) for a, b in draw.uniform(-span, span, (n, 2))]


@pytest.mark.parametrize(
    ("a", "b", "km"),
    [
        # One degree of latitude is 111.195 km on the mean sphere: 2 pi R1 / 360.
        ((51.0, 0.0), (52.0, 0.0), 111.195),
        # A quarter of the great circle, from the equator to the pole.
        ((0.0, 0.0), (90.0, 0.0), 10007.557),
        # The worked example of the haversine formula: 36.12 N 86.67 W to 33.94 N 118.40 W is 2,886.45 km with
        # R = 6,371.0 km up to rounding (Rosetta Code, "Haversine formula"; from memory).
        ((36.12, -86.67), (33.94, -118.40), 2886.45),
        # Across the date line the short way counts.
        ((0.0, 179.5), (0.0, -179.5), 111.195),
    ],
)
def test_distances_are_those_of_the_sphere(a: Position, b: Position, km: float) -> None:
    assert distances_km([a, b])[0, 1] == pytest.approx(km, rel=2e-5)
    assert distances_km([a, a]).tolist() == [[0.0, 0.0], [0.0, 0.0]]


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("start", [None, (52.0, -2.0)], ids=["open", "from the firm"])
def test_the_order_is_as_short_as_the_best_of_all_orders(seed: int, start: Position | None) -> None:
    positions = scattered(7, seed)
    best = min(length(list(o), positions, start) for o in itertools.permutations(range(7)))
    order = drive_order(positions, start)
    assert sorted(order) == list(range(7))
    assert length(order, positions, start) <= best * 1.05


def test_a_line_of_homes_is_driven_from_end_to_end() -> None:
    line = [(52.0, -2.0 + 0.01 * k) for k in (5, 0, 3, 1, 4, 2)]
    order = drive_order(line)
    assert [line[i][1] for i in order] in (
        sorted(p[1] for p in line),
        sorted((p[1] for p in line), reverse=True),
    )
    assert drive_order([]) == []
    assert drive_order(line[:1]) == [0]


def test_homes_that_stand_in_one_spot_are_all_visited() -> None:
    assert sorted(drive_order([(52.0, -2.0)] * 5, (51.0, -2.0))) == [0, 1, 2, 3, 4]


def test_a_large_round_is_ordered_in_bounded_time() -> None:
    positions = scattered(120, 3)
    order = drive_order(positions)
    assert sorted(order) == list(range(120))
    assert length(order, positions) < 0.5 * length(list(range(120)), positions)


def test_areas_hold_what_lies_together() -> None:
    north = [Place(f"n{i}", f"North {i}", (52.5 + 0.01 * i, -2.0)) for i in range(3)]
    south = [Place(f"s{i}", f"South {i}", (51.5 + 0.01 * i, -2.0)) for i in range(3)]
    lost = Place("lost", "Lost", None)
    groups = by_area([south[0], north[0], lost, *north[1:], *south[1:]])
    assert [{p.id for p in g.stops} for g in groups] == [{"s0", "s1", "s2"}, {"n0", "n1", "n2"}, {"lost"}]
    assert [g.name for g in groups] == ["Around South 1", "Around North 1", ""]
    assert groups[0].legs_km[0] is None, "no start was given"
    assert groups[0].length_km == pytest.approx(0.02 * 111.195, rel=1e-3)
    for group in groups[:2]:
        apart = distances_km([p.position for p in group.stops if p.position])
        assert apart.max() <= AREA_KM


def test_the_firm_s_own_areas_come_first() -> None:
    places = [
        Place("a", "A", (52.0, -2.0), "Valley"),
        Place("b", "B", (52.01, -2.0)),
        Place("c", "C", None, "Valley"),
        Place("d", "D", (52.0, -1.0)),
    ]
    groups = {g.name: [p.id for p in g.stops] for g in by_area(places, (52.02, -2.0))}
    assert groups == {"Valley": ["b", "a", "c"], "Around D": ["d"]}
