"""Runs the measurements one after another and keeps their figures as JSON: `make bench`, or name some.

    python -m tests.benchmarks                 # all of them, slow; the soak and the largest fleets only in
        brief
    python -m tests.benchmarks line store      # bench_line and bench_store

Figures are ratios to work done in the same run; read those, not the seconds. Each file holds them with the
machine's pace about the run; `python -m tests.benchmarks.compare` tells what got worse.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import time
from pathlib import Path

from tests.benchmarks.yardstick import pace

HERE = Path(__file__).parent
KEPT = HERE.parent.parent / "bench-results"
JUDGED = ("accuracy", "confusion")
SHORT = {
    "soak": ("--minutes", "3", "--sites", "20", "--nightly-every", "1"),
    "sweep": ("--fleets", "10,30,100"),
    "fleets": ("--fleets", "100,1000"),
    "lists": ("--rows", "10000"),
}
"""How a measurement of hours is run among all the others; named, it takes its own time."""


def names() -> list[str]:
    """Every measurement, the quick ones of speed first."""
    speed = sorted(p.stem.removeprefix("bench_") for p in HERE.glob("bench_*.py"))
    return [*speed, *JUDGED]


def main(wanted: list[str]) -> int:
    """Run the wanted measurements, all by default. Returns 1 if one failed, 2 if a name is unknown."""
    known = names()
    if unknown := [w for w in wanted if w not in known]:
        print(f"no measurement called {unknown[0]}; there are: {', '.join(known)}", file=sys.stderr)
        return 2
    KEPT.mkdir(exist_ok=True)
    failed = []
    for name in wanted or known:
        brief = () if wanted else SHORT.get(name, ())
        module = f"tests.benchmarks.{name if name in JUDGED else f'bench_{name}'}"
        print(f"\n== {name}", flush=True)
        begin, before, kept = time.monotonic(), _pace(), KEPT / f"{name}.json"
        done = subprocess.run([sys.executable, "-m", module, "--json", str(kept), *brief], check=False)
        if done.returncode == 0 and kept.exists():
            figures = json.loads(kept.read_text(encoding="utf-8"))
            run = {"pace_s": (before + _pace()) / 2, "figures": figures}
            kept.write_text(json.dumps(run, indent=1), encoding="utf-8")
        print(
            f"== {name}: {'done' if done.returncode == 0 else 'failed'} after"
            f" {time.monotonic() - begin:.0f} s"
        )
        if done.returncode:
            failed.append(name)
    if failed:
        print(f"\nfailed: {', '.join(failed)}", file=sys.stderr)
    return 1 if failed else 0


def _pace() -> float:
    """The machine's pace just now: the middle one of some."""
    return statistics.median(pace() for _ in range(9))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
