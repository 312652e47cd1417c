"""Refuse an export of another home: readings that do not fit the stored ones."""

from __future__ import annotations

import csv
import re
from collections.abc import Collection, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import MS_PER_DAY, Readings, Samples
from fieldfare.collector.csv.layout import Layout
from fieldfare.collector.csv.source import Block
from fieldfare.collector.store.protocol import Store

NEAR_DAYS = 7
"""Days [d] of stored readings beside the file's that its running totals are held against."""
FASTER = 20.0
"""Times [-] the fastest day's rise: a running total may rise so much a day in a gap. A cold day needs about
ten times the energy of a summer's day with hot water alone (common practice); twice that."""
MOST = 0.5
"""Share [-] of what is compared that must not fit."""
_LOOKED_AT = 500
_SERIAL = re.compile(
    r"serial|serie?n?[ _.-]?(nummer|nr|no)|s/n\b|sn\b|(device|gateway|meter|unit)[ _.-]?(id|no|number)\b"
    r"|(ger[aä]te|z[aä]hler)[ _.-]?(nummer|nr|id)|num[eé]ro de s[eé]rie|n[º°o]? ?de s[eé]rie"
    r"|numero di (serie|matricola)|n[uú]mero de serie|matricola",
    re.IGNORECASE,
)


class AnotherHomesFile(InputError):
    """The file seems to be another home's; nothing of it was stored."""


def serials_of(block: Block, layout: Layout) -> dict[str, str]:
    """Column -> first value, of columns that name a device and that no point reads."""
    columns = [name for name in layout.ignored if _SERIAL.search(name)]
    if not columns:
        return {}
    line = block.data.lstrip().partition(b"\n")[0].decode("utf-8", "replace")
    try:
        cells = next(csv.reader([line], delimiter=layout.csv.delimiter, skipinitialspace=True))
    except (csv.Error, StopIteration):
        return {}
    row = dict(zip(layout.names, (cell.strip() for cell in cells), strict=False))
    return {name: row[name] for name in columns if row.get(name) and row[name] not in layout.blanks}


def check_serials(path: Path, found: Mapping[str, str], known: Mapping[str, Collection[str]]) -> None:
    """Raises OtherHome where a serial number is none of those that earlier files of the home had."""
    for column, serial in found.items():
        earlier = known.get(column, ())
        if earlier and serial not in earlier:
            raise _refused(
                path, f"its column {column!r} says {serial}, earlier files of this home say {max(earlier)}"
            )


def check_readings(site: Site, path: Path, new: Readings, store: Store) -> None:
    """Compare the running totals of a file with the stored ones.

    Other values at the same times are no sign: a corrected export replaces them. Raises OtherHome where most
    running totals do not go on from the stored ones
    """
    broken = _broken_totals(site, new, store)
    compared, bad = len(broken), [text for text in broken.values() if text]
    if len(bad) > MOST * compared:
        more = f", and {len(bad)} of {compared} running totals do not fit" if compared > 1 else ""
        raise _refused(path, f"{bad[0]}{more}")


def _refused(path: Path, sign: str) -> AnotherHomesFile:
    return AnotherHomesFile(f"{path}: looks like the file of another home: {sign}; nothing was stored")


def _broken_totals(site: Site, new: Readings, store: Store) -> dict[str, str]:
    """Running totals that can be held against stored ones: point -> what does not fit, or an empty text."""
    registers = [p for p in site.point if p.form == "register" and p.id in new]
    spans = store.points(site.id) if registers else {}
    out = {}
    for point in registers:
        span = spans.get(point.id)
        if span is None:
            continue
        mine = new[point.id]
        near = NEAR_DAYS * MS_PER_DAY
        start = min(int(mine.time[0]), span.last) - near
        end = max(int(mine.time[-1]), span.first) + near
        stored = store.read(site.id, [point.id], start, end + 1).get(point.id)
        if stored is None or object in (mine.value.dtype, stored.value.dtype):
            continue
        rate = max(_fastest_day(mine), _fastest_day(stored))
        if rate <= 0.0:  # a total that never moves tells nothing
            continue
        found = _misfit(mine, stored, rate)
        if found is not None:
            out[point.id] = found and f"{point.id} {found} {point.unit}".rstrip()
    return out


def _fastest_day(samples: Samples) -> float:
    """Largest rise within a day; of shorter series the whole rise."""
    time, value = samples.time, samples.value
    if len(time) < 2:
        return 0.0
    grid = np.arange(time[0], time[-1] + MS_PER_DAY, MS_PER_DAY)
    at: NDArray[Any] = value[np.minimum(np.searchsorted(time, grid), len(time) - 1)]
    return float(np.max(np.diff(at), initial=0.0))


def _misfit(mine: Samples, stored: Samples, rate: float) -> str | None:
    """What of a running total does not fit the stored one; empty where it does, None where nothing tells.

    A reading between two stored ones must lie between them; one before or after all of them must be reached
    in the time between, or have begun again at zero. rate : its fastest rise [unit/d]; a day of it is slack,
    as clocks and zones may be off.
    """
    pick = np.unique(np.linspace(0, len(mine.time) - 1, _LOOKED_AT).astype(int))
    time, value = mine.time[pick], mine.value[pick]
    after = np.searchsorted(stored.time, time)
    inside = (after > 0) & (after < len(stored.time))
    if inside.any():
        low, high = stored.value[after[inside] - 1], stored.value[after[inside]]
        is_rising = low <= high  # else it was reset in between
        if is_rising.any():
            v, low, high = value[inside][is_rising], low[is_rising], high[is_rising]
            off = (v < low - rate) | (v > high + rate)
            if off.mean() <= MOST:
                return ""
            at = int(np.flatnonzero(off)[0])
            day = _day(time[inside][is_rising][at])
            return f"is {v[at]:g} on {day} in the file, but {low[at]:g} in the store, in"
    if time[0] > stored.time[-1]:
        return _step(stored, -1, mine, 0, rate, "goes")
    if time[-1] < stored.time[0]:
        return _step(mine, -1, stored, 0, rate, "would go")
    return None


def _step(earlier: Samples, a: int, later: Samples, b: int, rate: float, verb: str) -> str:
    before, after = float(earlier.value[a]), float(later.value[b])
    days = float(later.time[b] - earlier.time[a]) / MS_PER_DAY
    could = rate * (FASTER * days + 1.0)
    if -rate <= after - before <= could or 0.0 <= after <= could < before:
        return ""
    return f"{verb} from {before:g} on {_day(earlier.time[a])} to {after:g} on {_day(later.time[b])}, in"


def _day(ms: int) -> str:
    return f"{datetime.fromtimestamp(int(ms) / 1000, UTC):%Y-%m-%d}"
