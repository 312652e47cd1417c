"""Which figures of two runs of the measurements got worse, at the same pace of the machine.

    python -m tests.benchmarks.compare OLD NEW     # each a folder of results, or one file of several
    python -m tests.benchmarks.compare tests/benchmarks/baseline.json bench-results
    python -m tests.benchmarks.compare --keep tests/benchmarks/baseline.json bench-results lists startup

Times are divided by the yardstick of their run, sizes and memory are taken as they are, rates the other way
round. Returns 1 where a figure got worse by more than WORSE. `--keep` writes named results as a baseline.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

WORSE = 0.15
"""Share: what a shared machine moves by itself stays below, measured beside the yardstick."""
TIMES = ("_s", "_ms", "_us")
SAME = ("_mb", "mb", "bytes", "paces", "ratio")
RATES = ("per_s", "_rate")
LABELS = ("name", "request", "list", "command", "what", "step", "sites", "rows")
LEAST_S = 0.002
"""Shorter times say more about the clock than about the work."""


class Worse(NamedTuple):
    """A figure that got worse. by : new over old, at the same pace; over 1 is worse"""

    bench: str
    figure: str
    by: float


def read(place: Path) -> dict[str, dict[str, Any]]:
    """Measurement -> {"pace_s", "figures"}, of a folder or a file. Raises ValueError where it holds none."""
    if place.is_dir():
        found = {p.stem: json.loads(p.read_text(encoding="utf-8")) for p in sorted(place.glob("*.json"))}
    else:
        found = json.loads(place.read_text(encoding="utf-8"))
    kept = {name: run for name, run in found.items() if isinstance(run, dict) and "pace_s" in run}
    if not kept:
        raise ValueError(f"{place}: holds no results with the machine's pace; run make bench first")
    return kept


def figures_of(contents: Any, path: str = "") -> Iterator[tuple[str, float]]:
    """Every number with the names that lead to it; rows of a list go by their label, not by their place."""
    if isinstance(contents, dict):
        for name, value in contents.items():
            yield from figures_of(value, f"{path}/{name}")
    elif isinstance(contents, list):
        for n, value in enumerate(contents):
            label = next((value[k] for k in LABELS if k in value), n) if isinstance(value, dict) else n
            yield from figures_of(value, f"{path}/{label}")
    elif isinstance(contents, (int, float)) and not isinstance(contents, bool):
        yield path, float(contents)


def comparable(run: dict[str, Any]) -> dict[str, float]:
    """Figure -> its cost: the greater, the worse."""
    out = {}
    for path, value in figures_of(run["figures"]):
        name = path.rsplit("/", 1)[-1]
        if value <= 0:
            continue
        if name.endswith(RATES):
            out[path] = 1.0 / (value * run["pace_s"])
        elif name == "s" or name.endswith(TIMES):
            seconds = value / {"_ms": 1e3, "_us": 1e6}.get(name[name.rfind("_") :], 1.0)
            if seconds >= LEAST_S:
                out[path] = value / run["pace_s"]
        elif name.endswith(SAME):
            out[path] = value
    return out


def worse(old: dict[str, dict[str, Any]], new: dict[str, dict[str, Any]]) -> list[Worse]:
    """Figures of both that got worse by more than WORSE, the worst first."""
    found = []
    for bench in sorted(old.keys() & new.keys()):
        before, after = comparable(old[bench]), comparable(new[bench])
        ratios = ((figure, after[figure] / before[figure]) for figure in before.keys() & after.keys())
        found += [Worse(bench, figure, by) for figure, by in ratios if by > 1.0 + WORSE]
    return sorted(found, key=lambda w: -w.by)


def main(arguments: list[str]) -> int:
    if len(arguments) >= 3 and arguments[0] == "--keep":
        runs = read(Path(arguments[2]))
        kept = {name: runs[name] for name in arguments[3:] or runs}
        Path(arguments[1]).write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
        return 0
    if len(arguments) != 2:
        print(__doc__, file=sys.stderr)
        return 2
    try:
        old, new = read(Path(arguments[0])), read(Path(arguments[1]))
    except (OSError, ValueError) as error:
        print(error, file=sys.stderr)
        return 2
    found = worse(old, new)
    for bench, figure, by in found:
        print(f"{bench}{figure}: {by:.2f} times as much")
    both = sorted(old.keys() & new.keys())
    print(f"{', '.join(both) or 'nothing in common'}: {len(found)} figures worse by more than {WORSE:.0%}")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
