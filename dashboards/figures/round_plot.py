"""Map of a round: homes in driving order, north up, to scale."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from html import escape
from typing import Any

from markupsafe import Markup

from fieldfare.analysis.visits.route import EARTH_RADIUS_KM, Position
from fieldfare.dashboards.text.words import count

_WIDTH, _HIGH, _SMALL, _EDGE, _FOOT, _RADIUS = 340.0, 270.0, 180.0, 20.0, 34.0, 11.0
_TONES = ("heat", "water", "room", "power", "design", "alert")
_STEPS_KM = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


def round_plot(
    areas: Sequence[dict[str, Any]], start: Position | None = None, *, small: bool = False
) -> Markup | None:
    """Numbered stops of all areas, a line for each area's drive, and a scale.

    The list beside it has the same content. Overlapping stops share a mark.
    areas : of `visit_list`. start : where drives begin. small : of one area, beside its stops
    Returns None where fewer than two places are known.
    """
    placed = [[s for s in area["stops"] if s["position"]] for area in areas]
    places = [s["position"] for stops in placed for s in stops] + ([start] if start else [])
    if len(places) < 2:
        return None
    at, km_px, high = _projection(places, _SMALL if small else _HIGH)
    drawn = []
    for n, stops in enumerate(placed):
        tone, dash = _TONES[n % len(_TONES)], ("", " dash", " dot")[n // len(_TONES) % 3]
        way = [start, *(s["position"] for s in stops), start] if start else [s["position"] for s in stops]
        if len(way) > 1:
            points = "L".join(f"{x:.1f} {y:.1f}" for x, y in map(at, way))
            drawn.append(f'<path class="line {tone}{dash}" d="M{points}"/>')
        drawn += [_mark(*place, together, tone) for place, together in _marks(stops, at)]
    if start:
        x, y = at(start)
        drawn.append(
            f'<path class="pts square design" d="M{x - 5:.1f} {y - 5:.1f}h10v10h-10z">'
            "<title>The firm</title></path>"
        )
    n_homes, n_areas = len(places) - bool(start), sum(bool(stops) for stops in placed)
    says = f"{count(n_homes, 'home')} to visit in {count(n_areas, 'area')}, numbered as in the list."
    return Markup(  # noqa: S704
        f'<svg class="fig round-plot" viewBox="0 0 {_WIDTH:g} {high:g}" role="img" '
        f'aria-label="{escape(says)}">'
        f"{''.join(drawn)}{_scale(km_px, high)}</svg>"
    )


def stands_apart(areas: Sequence[dict[str, Any]], start: Position | None = None) -> bool:
    """Whether one map of all areas shows each stop by itself: of areas far apart it shows only the way
    between them."""
    placed = [[s for s in area["stops"] if s["position"]] for area in areas]
    places = [s["position"] for stops in placed for s in stops] + ([start] if start else [])
    if len(places) < 2:
        return False
    at = _projection(places, _HIGH)[0]
    return all(len(_marks(stops, at)) == len(stops) for stops in placed)


def _marks(
    stops: Sequence[dict[str, Any]], at: Callable[[Position], tuple[float, float]]
) -> list[tuple[tuple[float, float], list[dict[str, Any]]]]:
    """Positions of marks and their stops: a stop that overlaps an earlier mark joins it."""
    out: list[tuple[tuple[float, float], list[dict[str, Any]]]] = []
    for stop in stops:
        here = at(stop["position"])
        near = next((together for place, together in out if math.dist(place, here) < 2 * _RADIUS), None)
        if near is None:
            out.append((here, [stop]))
        else:
            near.append(stop)
    return out


def _mark(x: float, y: float, stops: Sequence[dict[str, Any]], tone: str) -> str:
    numbers = [s["number"] for s in stops]
    in_a_row = len(numbers) > 2 and numbers == list(range(numbers[0], numbers[-1] + 1))
    label = f"{numbers[0]}–{numbers[-1]}" if in_a_row else ", ".join(map(str, numbers))
    wide = max(2 * _RADIUS, 8.0 * len(label) + 8.0)
    names = escape(", ".join(s["name"] for s in stops))
    return (
        f'<g><title>{names}</title><rect class="stop {tone}" x="{x - wide / 2:.1f}" y="{y - _RADIUS:.1f}" '
        f'width="{wide:.1f}" height="{2 * _RADIUS:g}" rx="{_RADIUS:g}"/>'
        f'<text class="key" x="{x:.1f}" y="{y + 4.5:.1f}" text-anchor="middle">{label}</text></g>'
    )


def _projection(
    places: Sequence[Position], most_high: float
) -> tuple[Callable[[Position], tuple[float, float]], float, float]:
    """Projection to the drawing, its scale [km/unit], and its height."""
    middle = math.radians(sum(p[0] for p in places) / len(places))
    per_degree = math.radians(1.0) * EARTH_RADIUS_KM
    east = [p[1] * per_degree * math.cos(middle) for p in places]
    north = [p[0] * per_degree for p in places]
    wide, high = max(max(east) - min(east), 0.2), max(max(north) - min(north), 0.2)
    scale = min((_WIDTH - 2 * _EDGE) / wide, (most_high - 2 * _EDGE - _FOOT) / high)
    left = (_WIDTH - scale * (max(east) - min(east))) / 2

    def at(p: Position) -> tuple[float, float]:
        x = left + scale * (p[1] * per_degree * math.cos(middle) - min(east))
        return x, _EDGE + scale * (max(north) - p[0] * per_degree)

    return at, 1.0 / scale, max(scale * (max(north) - min(north)), 30.0) + 2 * _EDGE + _FOOT


def _scale(km_px: float, high: float) -> str:
    """Scale bar of a round length, and north arrow."""
    length = next((s for s in _STEPS_KM if s / km_px >= 70.0), _STEPS_KM[-1])
    y, wide = high - 14.0, length / km_px
    return (
        f'<path class="axis" d="M{_EDGE:g} {y - 5:g}v5h{wide:.1f}v-5"/>'
        f'<text class="tick" x="{_EDGE + wide + 8:.1f}" y="{y + 3:g}">'
        f'{length:g} km</text><path class="axis" d="M{_WIDTH - 24:g} {y:g}v-24m-5 8l5-8 5 8"/>'
        f'<text class="tick" x="{_WIDTH - 34:g}" y="{y - 8:g}" text-anchor="end">north</text>'
    )
