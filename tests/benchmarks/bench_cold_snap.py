"""Cold spells of open weather replayed as forecasts: python -m tests.benchmarks.bench_cold_snap.

Each simulated home is read until a spell begins, is told the spell as a forecast, and then runs through it.
--seeds A:B of plants nobody tuned to; --json FILE keeps the figures. Returns 1 where fewer than nine in ten
homes that fell short were named, or more than one in ten that held were named as short.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.snap_cases import CASES, SPELLS, SnapOutcome, replayed

KINDS = ("named", "perhaps", "to_fix", "missed", "fine", "doubted", "false")


def _print(o: SnapOutcome) -> None:
    told, short = o.told, o.told.short_kw
    missing = f"{short['value']:5.1f} ({short['low']:.1f} to {short['high']:.1f})" if short else told.reason
    since = (told.since or "")[5:10] or "-"
    passed = f"{o.passed.since:%m-%d}" if o.passed.since else "-"
    print(
        f"{o.case:<27}{o.seed:>7} {o.spell:<14}{o.kind:<9}{missing:<21}{o.passed.missing_kw:>5.1f}"
        f"{told.room_fall_k or 0.0:>6.1f}{max(o.passed.fell_k, 0.0):>6.1f}  {since:<6}"
        f"{passed:<6}{told.hours_short:>5}{o.passed.hours:>5.0f}",
        flush=True,
    )


def summary(outcomes: list[SnapOutcome]) -> dict[str, Any]:
    """Counts by kind, and errors of those that fell short and were told of: kW, K, days, hours."""
    counts = Counter(o.kind for o in outcomes)
    short = [o for o in outcomes if o.kind in ("named", "perhaps")]
    named = [o for o in outcomes if o.kind == "named"]
    kw = np.array([o.kw_error for o in short], dtype=float)
    inside = [
        o.told.short_kw["low"] <= o.passed.missing_kw <= o.told.short_kw["high"]
        for o in short
        if o.told.short_kw
    ]
    fall = np.array([(o.told.room_fall_k or 0.0) - o.passed.fell_k for o in short])
    hours = np.array([o.told.hours_short - o.passed.hours for o in named])
    days = np.array([o.day_error for o in named if o.day_error is not None], dtype=float)
    return {
        **{kind: counts[kind] for kind in KINDS},
        "kw_mean": float(np.mean(kw)),
        "kw_mean_absolute": float(np.mean(np.abs(kw))),
        "kw_in_interval": float(np.mean(inside)),
        "fall_k_mean": float(np.mean(fall)),
        "fall_k_mean_absolute": float(np.mean(np.abs(fall))),
        "first_day_within_one": float(np.mean(np.abs(days) <= 1)),
        "hours_mean_absolute": float(np.mean(np.abs(hours))),
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="2301:2303", metavar="A:B")
    parser.add_argument("--json", type=Path, metavar="FILE")
    args = parser.parse_args()
    first, last = (int(text) for text in args.seeds.split(":"))
    print(f"{'home':<27}{'seed':>7} {'spell':<14}{'was':<9}{'told missing kW':<21}{'true':>5}", end="")
    print(f"{'fall K':>6}{'true':>6}  {'since':<6}{'true':<6}{'hours':>5}{'true':>5}")
    outcomes = []
    for spell in SPELLS:
        for n, case in enumerate(CASES):
            for seed in range(first + 1000 * n, last + 1000 * n):
                outcomes.append(replayed(case, seed, spell))
                _print(outcomes[-1])
    found = summary(outcomes)
    print("\n" + "\n".join(f"{name:<22}{value:g}" for name, value in found.items()))
    if args.json:
        args.json.write_text(json.dumps(found, indent=1))
    fell = sum(found[k] for k in ("named", "perhaps", "to_fix", "missed"))
    held = sum(found[k] for k in ("fine", "doubted", "false"))
    told = found["named"] + found["perhaps"]
    return 0 if told >= 0.9 * fell and found["false"] <= 0.1 * held else 1


if __name__ == "__main__":
    sys.exit(main())
