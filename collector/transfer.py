"""Moving readings from one store to another: a fleet to a server and back, with counts that must agree."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

import numpy as np

from analysis.errors import FieldfareError
from analysis.readings import MS_PER_DAY, Readings
from collector.store.protocol import PointSpan, Store

_STEP_MS = 31 * MS_PER_DAY
"""Read at once: a month holds a few hundred thousand readings of a site."""


class Moved(NamedTuple):
    """What was copied of one site.

    readings : read from the source. stored, replaced, duplicates : what the target made of them.
    different : points that do not agree afterwards, each with what is wrong; empty when all is well
    """

    site: str
    readings: int
    stored: int
    replaced: int
    duplicates: int
    different: tuple[str, ...]

    @property
    def agrees(self) -> bool:
        return not self.different


def move(
    source: Store,
    target: Store,
    sites: Iterable[str],
    *,
    settle: Callable[[], None] = lambda: None,
    progress: Callable[[Moved], None] = lambda _: None,
) -> list[Moved]:
    """Copy sites' readings, then compare both stores reading for reading. The source is left as it is.

    settle : called before the comparison; for a server store its `flush`
    progress : called with each site's result
    Safe to repeat: what is there already is not stored twice.
    """
    out: list[Moved] = []
    for site in sites:
        counts = [0, 0, 0, 0]
        for readings in _steps(source, site):
            done = target.append(site, readings)
            given = sum(len(s.time) for s in readings.values())
            counts = [a + b for a, b in zip(counts, (given, *done), strict=True)]
        settle()
        moved = Moved(
            site, counts[0], counts[1], counts[2], counts[3], tuple(_differences(source, target, site))
        )
        out.append(moved)
        progress(moved)
    return out


def checked(moved: Iterable[Moved]) -> list[Moved]:
    """The results, if every site agrees. Raises FieldfareError naming what does not."""
    out = list(moved)
    bad = [f"{m.site}: {'; '.join(m.different[:3])}" for m in out if not m.agrees]
    if bad:
        raise FieldfareError(f"not moved whole: {' | '.join(bad)}")
    return out


def _steps(source: Store, site: str) -> Iterable[Readings]:
    span = source.span(site)
    if span is None:
        return
    for start in range(span[0], span[1] + 1, _STEP_MS):
        readings = source.read(site, None, start, min(start + _STEP_MS, span[1] + 1))
        if readings:
            yield readings


def _differences(source: Store, target: Store, site: str) -> Iterable[str]:
    """Points of the source that the target does not hold as they are; a target may hold more."""
    wanted, held = source.points(site), target.points(site)
    for point, span in wanted.items():
        there = held.get(point)
        if there is None:
            yield f"{point} is missing"
        elif there.count < span.count or there.first > span.first or there.last < span.last:
            yield f"{point} has {_shown(there)}, not {_shown(span)}"
    for readings in _steps(source, site):
        start = min(int(s.time[0]) for s in readings.values())
        end = max(int(s.time[-1]) for s in readings.values()) + 1
        other = target.read(site, list(readings), start, end)
        for point, (times, values) in readings.items():
            copy = other.get(point)
            if copy is None:
                continue
            at = np.minimum(np.searchsorted(copy.time, times), len(copy.time) - 1)
            wrong = int(((copy.time[at] != times) | (copy.value[at] != values)).sum())
            if wrong:
                yield f"{point}: {wrong} readings differ"


def _shown(span: PointSpan) -> str:
    return f"{span.count} readings from {span.first} to {span.last} ms"
